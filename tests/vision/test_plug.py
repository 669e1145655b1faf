"""Plugs: draw, measure, compare.

``data/plug-*.jpg`` are rendered pictures with exact truth: the first twelve whole plugs that
tools/plug_render made (until commit e44c979) from seed 900000001 on with film on less than 0.9 of
the magnet. Nothing was trained on these seeds and none was picked. They are hard: dark flakes lie
on dark film, some under hairs. What the project asks for is a mean coverage error of 0.04, a magnet
within 3 % and an F1 of 0.90; the first is met here, with room to spare, the others are not, and
what is met is said below.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from joblog.errors import InputError, ModelError
from joblog.vision.ellipse import distance, from_map
from joblog.vision.load import load_photo
from joblog.vision.networks import nets_from
from joblog.vision.particles import feret_max, upright
from joblog.vision.plug import measure_plug
from joblog.vision.plug_nets import CIRCLES_SIDE, DEBRIS_SIDE, Crop, circles, debris
from joblog.vision.plug_scale import scale_of
from joblog.vision.types import Photo, PlugReading, reading_from_json

DATA = Path(__file__).parent / "data"
TRUTH = json.loads((DATA / "plugs.json").read_text())["photos"]


def photo_of(rgb: np.ndarray) -> Photo:
    pixels = np.ascontiguousarray(np.clip(rgb, 0, 255).astype(np.uint8))
    return Photo(rgb=pixels, sha256="", size=(pixels.shape[1], pixels.shape[0]))


@pytest.fixture(scope="module")
def readings() -> dict[str, PlugReading]:
    return {
        name: measure_plug(
            load_photo(DATA / name), plug_diameter_mm=truth["plug_outer_diameter_mm"]
        )
        for name, truth in TRUTH.items()
    }


@pytest.fixture(scope="module")
def measured(readings) -> dict[str, PlugReading]:
    return {name: reading for name, reading in readings.items() if reading.usable}


def test_nearly_every_rendered_plug_is_measured(readings):
    """Being unsure is allowed once in these twelve; being unsure for another reason isn't."""
    refused = {name: str(r.why) for name, r in readings.items() if not r.usable}
    assert len(refused) <= 1, refused
    assert all("clear enough" in why for why in refused.values()), refused


def test_rim_is_found_where_it_is(measured):
    for name, reading in measured.items():
        rim = TRUTH[name]["plug_rim_ellipse"]
        major = rim["semi_axes_px"][0]
        assert reading.rim.semi_axes == pytest.approx(rim["semi_axes_px"], rel=0.035), name
        assert reading.rim.center == pytest.approx(rim["center_px"], abs=0.03 * major), name


def test_mean_coverage_error_is_within_half_of_the_bar(measured):
    errors = {n: abs(r.film_coverage - TRUTH[n]["film_coverage"]) for n, r in measured.items()}
    assert np.mean(list(errors.values())) <= 0.02
    assert max(errors.values()) <= 0.06


def off_by(reading: PlugReading, truth: dict) -> float:
    return abs(reading.magnet_diameter_mm / truth["magnet_diameter_mm"] - 1)


def test_magnet_is_within_the_bar_in_most_pictures(measured):
    errors = [off_by(reading, TRUTH[name]) for name, reading in measured.items()]
    assert np.mean([error <= 0.03 for error in errors]) >= 0.8
    assert np.mean(errors) <= 0.02


def test_how_far_off_the_magnet_may_be_is_said(measured):
    """One in twelve may lie beyond it, by a little; film on its whole edge is the largest doubt."""
    beyond = {n: off_by(r, TRUTH[n]) - r.magnet_uncertainty for n, r in measured.items()}
    assert sum(by > 0 for by in beyond.values()) <= 1, beyond
    assert max(beyond.values()) <= 0.02, beyond
    assert measured["plug-900000014.jpg"].magnet_uncertainty == 0.10  # film all round


def test_how_far_off_the_coverage_may_be_is_said(measured):
    """And that isn't said of everything: where little is in doubt, it is little."""
    for name, reading in measured.items():
        off = abs(reading.film_coverage - TRUTH[name]["film_coverage"])
        assert off <= reading.film_uncertainty, name
    assert np.median([reading.film_uncertainty for reading in measured.values()]) <= 0.1


def test_one_magnet_in_two_photos_agrees_within_what_is_said():
    """The demo's, filmed over and wiped; another program than the networks' rendered it."""
    samples = Path(__file__).parents[2] / "sample_images"
    truths = json.loads((samples / "truth.json").read_text())
    said = {}
    for name in ("plug-before.jpg", "plug-after.jpg"):
        truth = truths[name]
        reading = measure_plug(
            load_photo(samples / name), plug_diameter_mm=truth["plug_outer_diameter_mm"]
        )
        assert off_by(reading, truth) <= reading.magnet_uncertainty
        said[name] = reading.magnet_uncertainty, reading.film_uncertainty >= 0.1
    assert said == {"plug-before.jpg": (0.10, True), "plug-after.jpg": (0.03, False)}


def is_at(box: list[float], place: tuple[float, float], slack: float = 3.0) -> bool:
    x0, y0, x1, y1 = box
    return x0 - slack <= place[0] <= x1 + slack and y0 - slack <= place[1] <= y1 + slack


def test_flakes_that_are_counted_are_there(measured):
    """Wrong is worse than absent: of twelve plugs' flakes at most one may be made up."""
    made_up = right = 0
    for name, reading in measured.items():
        boxes = [flake["bbox_px"] for flake in TRUTH[name]["flakes"]]
        hits = [any(is_at(box, flake.center_px) for box in boxes) for flake in reading.flakes]
        right += sum(hits)
        made_up += len(hits) - sum(hits)
    assert made_up <= 1
    assert right >= 5


def test_bright_flakes_on_an_open_magnet_are_found(measured):
    """Where little film is, at least half of the bright flakes are found, and sized."""
    found = missed = 0
    for name, reading in measured.items():
        if TRUTH[name]["film_coverage"] > 0.25:
            continue
        for flake in TRUTH[name]["flakes"]:
            if flake["tone"] != "bright" or flake["length_mm"] < 0.8:
                continue
            here = [f for f in reading.flakes if is_at(flake["bbox_px"], f.center_px)]
            found += bool(here)
            missed += not here
    assert found + missed >= 4
    assert found >= missed


def test_the_reading_goes_through_json_and_is_the_same_each_time(readings):
    name = "plug-900000004.jpg"
    first = readings[name]
    data = json.loads(json.dumps(first.to_json()))
    for key in ("film_coverage", "flakes", "flake_count", "longest_flake_mm", "magnet_diameter_mm"):
        assert key in data
    back = reading_from_json(data)
    assert back.to_json() == data
    diameter = TRUTH[name]["plug_outer_diameter_mm"]
    again = measure_plug(load_photo(DATA / name), plug_diameter_mm=diameter)
    assert replace(again, seconds=0.0) == replace(first, seconds=0.0)


def test_a_larger_copy_of_the_photo_gives_the_same_sizes(readings):
    name = "plug-900000003.jpg"
    small = cv2.imread(str(DATA / name))
    large = cv2.resize(small, None, fx=5, fy=5, interpolation=cv2.INTER_CUBIC)
    data = cv2.imencode(".jpg", large)[1].tobytes()
    diameter = TRUTH[name]["plug_outer_diameter_mm"]
    reading = measure_plug(load_photo(data), plug_diameter_mm=diameter)
    assert reading.usable, reading.why
    assert reading.magnet_diameter_mm == pytest.approx(readings[name].magnet_diameter_mm, rel=0.02)
    assert reading.film_coverage == pytest.approx(readings[name].film_coverage, abs=0.04)
    assert reading.rim.center == pytest.approx(np.array(readings[name].rim.center) * 5, abs=12)


def spoiled(rgb: np.ndarray, how: str) -> np.ndarray:  # noqa: PLR0911 -- one return a way to spoil
    height, width = rgb.shape[:2]
    linear = (rgb / 255.0) ** 2.2
    if how == "too dark":
        return 255 * (linear / 40) ** (1 / 2.2)
    if how == "washed out":
        return 255 * np.minimum(linear * 14, 1) ** (1 / 2.2)
    if how == "shaken":
        box = np.zeros((31, 31), np.float32)
        box[:, 15] = 1 / 31
        return cv2.filter2D(rgb, -1, box)
    if how == "blurred":
        return cv2.GaussianBlur(rgb, (0, 0), 6)
    if how == "cut off":
        x = int(TRUTH["plug-900000003.jpg"]["magnet_ellipse"]["center_px"][0])
        return rgb[:, x:]
    if how == "glare":
        x, y = TRUTH["plug-900000003.jpg"]["magnet_ellipse"]["center_px"]
        rows, columns = np.mgrid[:height, :width]
        far = ((columns - x) ** 2 + (rows - y) ** 2) / (0.15 * width) ** 2
        return 255 * np.minimum(linear + 3 * np.exp(-far)[..., None], 1) ** (1 / 2.2)
    cloth = np.random.default_rng(3).normal(120, 12, (height, width, 3))
    return cv2.GaussianBlur(cloth, (0, 0), 1.0)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("too dark", "too dark"),
        ("washed out", "washed out|glare"),
        ("blurred", "blurred"),
        ("shaken", "blurred"),
        ("cut off", "cut off"),
        ("glare", "glare"),
        ("nothing there", "no plug"),
    ],
)
def test_what_can_not_be_measured_is_refused_with_what_to_do(how, said):
    rgb = spoiled(load_photo(DATA / "plug-900000003.jpg").rgb, how)
    reading = measure_plug(photo_of(rgb), plug_diameter_mm=20)
    assert not reading.usable
    assert reading.film_coverage is reading.magnet_diameter_mm is reading.flake_count is None
    assert any(part in str(reading.why) for part in said.split("|")), reading.why


def test_glare_beside_the_middle_of_the_magnet_is_refused():
    """It hides film; before, it was measured, and film was up to 0.6 less than there was."""
    truth = TRUTH["plug-900000004.jpg"]
    rgb = load_photo(DATA / "plug-900000004.jpg").rgb
    (x, y), a = truth["magnet_ellipse"]["center_px"], truth["magnet_ellipse"]["semi_axes_px"][0]
    rows, columns = np.indices(rgb.shape[:2])
    far = ((rows - y) ** 2 + (columns - x + 0.4 * a) ** 2) / (0.35 * a) ** 2
    linear = np.minimum((rgb / 255.0) ** 2.2 + 2 * np.exp(-far)[..., None], 1)
    reading = measure_plug(
        photo_of(255 * linear ** (1 / 2.2)), plug_diameter_mm=truth["plug_outer_diameter_mm"]
    )
    assert str(reading.why).startswith("glare hides the plug: light it from the side,")


def test_a_plug_too_small_to_show_flakes_is_refused():
    rgb = load_photo(DATA / "plug-900000003.jpg").rgb
    diameter = TRUTH["plug-900000003.jpg"]["plug_outer_diameter_mm"]
    small = cv2.resize(rgb, None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA)
    reading = measure_plug(photo_of(small), plug_diameter_mm=diameter)
    assert not reading.usable


@pytest.mark.parametrize("diameter", [0.0, -3.0, float("nan"), 1000.0])
def test_a_plug_diameter_that_can_not_be_is_refused(diameter):
    with pytest.raises(InputError, match="plug diameter"):
        measure_plug(photo_of(np.zeros((64, 64, 3))), plug_diameter_mm=diameter)


@pytest.mark.parametrize("stored", [None, b"", b"no network"])
def test_a_missing_or_altered_network_is_said_so(tmp_path, stored):
    if stored is not None:
        (tmp_path / "plug-circles.onnx").write_bytes(stored)
    rgb = load_photo(DATA / "plug-900000003.jpg").rgb
    crop = Crop(512.0, 384.0, 1024.0, CIRCLES_SIDE)
    with nets_from(tmp_path), pytest.raises(ModelError, match="plug-circles is missing or altered"):
        circles(rgb, crop)
    assert circles(rgb, crop).shape == (2, CIRCLES_SIDE, CIRCLES_SIDE)  # the shipped one again


def test_threads_share_the_networks():
    rgb = load_photo(DATA / "plug-900000003.jpg").rgb
    crops = [Crop(400.0 + 30 * k, 380.0, 400.0, DEBRIS_SIDE) for k in range(4)]
    alone = [debris(rgb, crop) for crop in crops]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda crop: debris(rgb, crop), crops))
    for one, other in zip(alone, together, strict=True):
        assert one == pytest.approx(other, abs=1e-4)
    assert np.abs(alone[0] - alone[1]).max() > 0.5


# Maximum Feret diameter, ISO 13322-1:2014 and ISO 9276-6:2008; the numbers follow from geometry.
@pytest.mark.parametrize(
    ("outline", "longest"),
    [
        ([(0, 0), (400, 0), (400, 300), (0, 300)], 500.0),
        ([(0, 0), (100, 0), (100, 100), (0, 100)], 141.4214),
        ([(0, 0), (400, 0), (0, 300)], 500.0),
    ],
)
def test_maximum_feret_diameter(outline, longest):
    points = np.array(outline, float)
    assert feret_max(points) == pytest.approx(longest, abs=1e-3)
    assert feret_max(upright(points, (1.0, 0.7))) == pytest.approx(longest, abs=1e-3)


def test_upright_undoes_a_tilt():
    turn = np.linspace(0, 2 * np.pi, 200)
    angle, aspect = 0.6, 0.85
    u, v = 100 * np.cos(turn), 100 * aspect * np.sin(turn)
    seen = np.stack(
        [u * np.cos(angle) - v * np.sin(angle), u * np.sin(angle) + v * np.cos(angle)], axis=1
    )
    radii = np.hypot(*upright(seen, (aspect, angle)).T)
    assert radii == pytest.approx(np.full(200, 100.0))


@pytest.mark.parametrize("angle", [0.2, 1.4, 2.8])
def test_an_ellipse_drawn_is_an_ellipse_found(angle):
    true = np.array([130.3, 121.8, 71.5, 60.2, angle])
    rows, columns = np.mgrid[:256, :256]
    places = np.stack([columns.ravel(), rows.ravel()], axis=1).astype(float)
    soft = np.clip(0.5 - distance(true, places), 0, 1).reshape(256, 256).astype(np.float32)
    found = from_map(soft)
    assert found is not None
    ellipse, misfit = found
    assert ellipse[:4] == pytest.approx(true[:4], abs=0.15)
    assert ellipse[4] == pytest.approx(angle, abs=0.02)
    assert misfit < 0.003
    assert from_map(np.zeros((64, 64), np.float32)) is None


def seen_circle(radius: float, height: float, tilt: float, distance_mm: float) -> np.ndarray:
    """Return the ellipse of a circle at a height over the rim, through a pinhole of 1500 px."""
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    x, y = radius * np.cos(turn), radius * np.sin(turn)
    across = y * np.cos(tilt) + height * np.sin(tilt)
    depth = distance_mm - (height * np.cos(tilt) - y * np.sin(tilt))
    points = np.stack([1500 * x / depth, 1500 * across / depth], axis=1).astype(np.float32)
    (cx, cy), (d1, d2), _ = cv2.fitEllipseDirect(points)
    return np.array([cx, cy, max(d1, d2) / 2, min(d1, d2) / 2, 0.0])


@pytest.mark.parametrize("height", [0.0, 1.0, 2.5])
@pytest.mark.parametrize("tilt_deg", [15.0, 28.0])
def test_scale_at_the_magnet_allows_for_its_height(tilt_deg, height):
    tilt, away = np.deg2rad(tilt_deg), 60.0
    rim, magnet = seen_circle(9, 0, tilt, away), seen_circle(5, height, tilt, away)
    scale = scale_of(rim, magnet, 18.0, 1000, focal=1.5)
    assert 2 * magnet[2] * scale.magnet == pytest.approx(10.0, rel=0.008)
    assert 2 * rim[2] * scale.rim == pytest.approx(18.0)
