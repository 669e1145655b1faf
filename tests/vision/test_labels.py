"""Bar codes in photos, written by the same open library's encoder and photographed by us."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import zxingcpp

from joblog.vision.labels import read_labels
from joblog.vision.types import Photo

VIN = "1M8GDM9AXKP042788"  # published example with a right check digit [49 CFR 565]


def photographed(text: str, code: str, turn: float = 0.0, flat: int = 0) -> Photo:
    """Draw a label, turned by degrees; ``flat``: the bars are so many times as wide as high."""
    made = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, code))
    image = np.array(made.to_image(scale=3))
    if flat:
        image = cv2.resize(image, (image.shape[1], image.shape[1] // flat))
    image = np.pad(image, 60, constant_values=255)
    side = int(1.2 * max(image.shape))
    canvas = np.full((side, side), 150, np.uint8)
    y, x = (side - image.shape[0]) // 2, (side - image.shape[1]) // 2
    canvas[y : y + image.shape[0], x : x + image.shape[1]] = image
    matrix = cv2.getRotationMatrix2D((side / 2, side / 2), turn, 1.0)
    canvas = cv2.warpAffine(canvas, matrix, (side, side), borderValue=150)
    canvas = cv2.GaussianBlur(canvas, (0, 0), 0.8)
    rgb = np.ascontiguousarray(np.repeat(canvas[..., None], 3, axis=2))
    return Photo(rgb=rgb, sha256="", size=(side, side))


@pytest.mark.parametrize(
    ("code", "name"),
    [
        ("Code39", "Code 39"),
        ("Code128", "Code 128"),
        ("DataMatrix", "Data Matrix"),
        ("QRCode", "QR Code"),
    ],
)
@pytest.mark.parametrize("turn", [0.0, 4.0, 180.0])
def test_vehicle_identification_number(code, name, turn):
    labels = read_labels(photographed(VIN, code, turn))
    assert [(label.format, label.text) for label in labels] == [(name, VIN)]


def test_bottle_code_and_where_it_is():
    (label,) = read_labels(photographed("4006381333931", "EAN13"))
    assert label.format == "EAN-13"
    assert label.to_json()["text"] == "4006381333931"
    assert len(label.outline_px) == 4


def test_nothing_to_read_is_an_empty_list():
    rgb = np.full((300, 300, 3), 128, np.uint8)
    assert read_labels(Photo(rgb=rgb, sha256="", size=(300, 300))) == []


@pytest.mark.parametrize("code", ["Code39", "Code128"])
@pytest.mark.parametrize(("turn", "flat"), [(8, 8), (-12, 8), (6, 12), (20, 5), (45, 12), (-70, 8)])
def test_low_bars_at_a_slant(code, turn, flat):
    photo = photographed(VIN, code, turn, flat)
    (label,) = read_labels(photo)
    assert label.text == VIN
    middle = np.mean(label.outline_px, axis=0)  # where it lies in the picture as it was taken
    assert np.abs(middle - np.array(photo.size) / 2).max() < 0.05 * photo.size[0]


@pytest.mark.parametrize("turn", [0, -35, -17, 10, 28, 55])
def test_itf_at_a_slant_is_never_cut_short(turn):
    labels = read_labels(photographed("10012345678902", "ITF", turn, 4))
    assert [label.text for label in labels] == ["10012345678902"]


def test_slanted_bars_beside_a_square_code_are_read_too():
    bars, square = photographed(VIN, "Code39", 12, 8), photographed("EX-18-AL", "QRCode")
    side = bars.size[0]
    rgb = np.full((side + square.size[1], side, 3), 150, np.uint8)
    rgb[:side] = bars.rgb
    rgb[side:, : square.size[0]] = square.rgb
    labels = read_labels(Photo(rgb=rgb, sha256="", size=(side, rgb.shape[0])))
    assert {label.text for label in labels} == {VIN, "EX-18-AL"}


@pytest.mark.parametrize("text", ["PN/A-12", "PN+A12", "H8RY40", "-12345678", "$5.00", "%ABC"])
def test_code_39_is_read_as_its_bars_say(text):
    """Not as other signs that a pair may stand for, nor as a medicine's number."""
    (label,) = read_labels(photographed(text, "Code39Std"))
    assert (label.format, label.text) == ("Code 39", text)


@pytest.mark.parametrize("code", ["Code39", "Code128"])
def test_light_bars_on_a_dark_plate(code):
    photo = photographed(VIN, code)
    negative = Photo(rgb=255 - photo.rgb, sha256="", size=photo.size)
    (label,) = read_labels(negative)
    assert label.text == VIN


@pytest.mark.parametrize("cut", [0, 200, 400])
def test_stripes_in_a_carton_code_are_no_second_code(cut):
    """Looked at from a slant its bars passed for an ITF of two figures, 16."""
    made = zxingcpp.create_barcode("15400141288763", zxingcpp.BarcodeFormat.ITF)
    carton = np.pad(np.array(made.to_image(scale=4)), 20, constant_values=255)
    high, wide = carton.shape
    picture = np.full((1200, 1600, 3), 150, np.uint8)
    y, x = (1200 - high) // 2, (1600 - wide) // 2
    picture[y : y + high, x : x + wide] = carton[..., None]
    rgb = np.ascontiguousarray(picture[cut : 1200 - cut])
    labels = read_labels(Photo(rgb=rgb, sha256="", size=(1600, 1200 - 2 * cut)))
    assert [label.text for label in labels] == ["15400141288763"]


def test_a_upc_has_the_twelve_figures_that_are_printed():
    (label,) = read_labels(photographed("036000291452", "UPCA"))
    assert (label.format, label.text) == ("UPC-A", "036000291452")
