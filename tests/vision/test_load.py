"""Pictures of every kind become one upright kind, or are refused with one sentence."""

from __future__ import annotations

import contextlib
import io
import os
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageCms

from joblog.errors import PhotoError
from joblog.vision.load import load_photo, strip_location

# The eight values of EXIF's Orientation (CIPA DC-008, Exif 2.3 table 6): what has to be done to
# an upright picture so that a reader who obeys the tag sees it upright again.
TURNS = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, 1),
    7: lambda a: a.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda a: np.rot90(a, -1),
}


def picture(width: int = 96, height: int = 64) -> np.ndarray:
    rgb = np.zeros((height, width, 3), np.uint8)
    rgb[: height // 2, : width // 2] = (220, 30, 30)
    rgb[: height // 2, width // 2 :] = (30, 200, 30)
    rgb[height // 2 :, : width // 2] = (30, 30, 210)
    rgb[height // 2 :, width // 2 :] = (230, 230, 40)
    return rgb


def saved(image: Image.Image, kind: str = "PNG", **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def close(one: np.ndarray, other: np.ndarray, most: float = 12) -> bool:
    return one.shape == other.shape and float(np.abs(one.astype(int) - other).mean()) < most


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("orientation", TURNS)
def test_orientation_is_applied_once(orientation, kind):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    turned = Image.fromarray(np.ascontiguousarray(TURNS[orientation](picture())))
    photo = load_photo(saved(turned, kind, exif=exif))
    assert photo.size == (96, 64)
    assert close(photo.rgb, picture())
    assert photo.rgb.flags.c_contiguous


@pytest.mark.parametrize("orientation", [1, 6])
def test_a_large_photo_is_reduced_and_says_by_how_much(orientation):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    turned = Image.fromarray(np.ascontiguousarray(TURNS[orientation](picture(4000, 3000))))
    photo = load_photo(saved(turned, "JPEG", exif=exif))
    assert photo.size == (4000, 3000)
    assert photo.rgb.shape == (1050, 1400, 3)
    assert photo.scale == pytest.approx(4000 / 1400)
    assert photo.to_original((699.5, 524.5)) == pytest.approx((1999.5, 1499.5))


def test_kinds_of_pixel_all_become_8_bit_srgb():
    rgb = Image.fromarray(picture())
    assert close(load_photo(saved(rgb.convert("CMYK"), "JPEG", quality=95)).rgb, picture(), 30)
    assert close(load_photo(saved(rgb.convert("RGBA"))).rgb, picture())
    assert close(load_photo(saved(rgb.quantize(16))).rgb, picture())
    grey = np.repeat(np.asarray(rgb.convert("L"))[..., None], 3, axis=2)
    assert close(load_photo(saved(rgb.convert("L"))).rgb, grey)
    deep = Image.fromarray(grey[..., 0].astype(np.uint16) * 257)
    assert close(load_photo(saved(deep)).rgb, grey)


def test_transparent_parts_lie_on_white():
    clear = np.dstack([picture(), np.zeros((64, 96), np.uint8)])
    assert (load_photo(saved(Image.fromarray(clear))).rgb == 255).all()


def test_an_animated_picture_gives_its_first_frame_and_says_so():
    frames = [Image.fromarray(picture()), Image.fromarray(255 - picture())]
    photo = load_photo(saved(frames[0], "GIF", save_all=True, append_images=frames[1:]))
    assert close(photo.rgb, picture())
    assert photo.note == "the first of 2 frames was measured"


def test_a_colour_profile_is_turned_into_srgb():
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    data = saved(Image.fromarray(picture()), "PNG", icc_profile=profile)
    assert close(load_photo(data).rgb, picture())  # a profile that can't fit is left aside
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = saved(Image.fromarray(picture()), "PNG", icc_profile=srgb)
    assert close(load_photo(data).rgb, picture(), 1.5)


def refused(data: bytes) -> str:
    with pytest.raises(PhotoError) as caught:
        load_photo(data)
    text = str(caught.value)
    assert "\n" not in text
    assert text.endswith(".")
    return text


def test_what_is_no_picture_is_refused(tmp_path):
    assert "empty" in refused(b"")
    assert "no picture" in refused(b"Dear customer,\n your van is ready.\n" * 50)
    assert "1 x 1" in refused(saved(Image.new("RGB", (1, 1))))
    noise = np.random.default_rng(1).integers(0, 255, (400, 400, 3), dtype=np.uint8)
    whole = saved(Image.fromarray(noise), "JPEG")
    assert "cut short" in refused(whole[: len(whole) // 2])
    text = tmp_path / "plug.jpg"
    text.write_text("not a photo")
    with pytest.raises(PhotoError, match=r"plug\.jpg is no picture"):
        load_photo(text)
    with pytest.raises(PhotoError, match="can't be opened"):
        load_photo(tmp_path / "missing.jpg")
    if os.name == "posix":  # /dev/zero would be read for ever, and a pipe waited for
        with pytest.raises(PhotoError, match="no file but a device"):
            load_photo(os.devnull)
    with pytest.raises(PhotoError, match="can't be opened"):
        load_photo(tmp_path)


def png_of_zeros(width: int, height: int) -> bytes:
    """Return a small file that says it is a huge picture."""

    def part(name: bytes, body: bytes) -> bytes:
        crc = struct.pack(">I", zlib.crc32(name + body))
        return struct.pack(">I", len(body)) + name + body + crc

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\x00" * 100_000, 9)
    end = part(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", rows) + end


@pytest.mark.parametrize("side", [8_000, 14_000, 50_000])
def test_a_decompression_bomb_is_refused_unopened(side):
    assert "too many pixels" in refused(png_of_zeros(side, side))


def test_a_panorama_is_read_reduced():
    panorama = Image.new("L", (12_500, 8_000), 128)
    photo = load_photo(saved(panorama, "JPEG", quality=30))
    assert photo.size == (12_500, 8_000)
    assert photo.rgb.shape == (896, 1400, 3)


@settings(max_examples=60)
@given(st.binary(max_size=300), st.integers(0, 400), st.sampled_from(["JPEG", "PNG", "GIF"]))
def test_damage_is_refused_or_read_but_never_crashes(noise, at, kind):
    data = bytearray(saved(Image.fromarray(picture()), kind))
    data[at : at + len(noise)] = noise
    with contextlib.suppress(PhotoError):
        assert load_photo(bytes(data)).rgb.dtype == np.uint8


def with_place(kind: str) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.Make] = "Example"
    exif.get_ifd(0x8769)[ExifTags.Base.DateTimeOriginal] = "2026:11:25 09:30:00"
    exif.get_ifd(0x8769)[ExifTags.Base.OffsetTimeOriginal] = "+01:00"
    gps = exif.get_ifd(0x8825)
    gps[ExifTags.GPS.GPSLatitudeRef] = "N"
    gps[ExifTags.GPS.GPSLatitude] = (51.0, 28.0, 40.12)
    gps[ExifTags.GPS.GPSAreaInformation] = b"GREENWICH"
    return saved(Image.fromarray(picture()), kind, exif=exif, **_more(kind))


def _more(kind: str) -> dict[str, object]:
    xmp = b"<x:xmpmeta>GREENWICH exif:GPSLatitude=51</x:xmpmeta>"
    return {"xmp": xmp, "comment": b"GREENWICH"} if kind == "JPEG" else {}


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_place_is_taken_out_and_the_picture_stays(kind):
    data = with_place(kind)
    assert b"GREENWICH" in data
    stripped = strip_location(data + (data if kind == "JPEG" else b""))  # a second one behind
    assert b"GREENWICH" not in stripped
    with Image.open(io.BytesIO(stripped)) as image:
        assert not image.getexif().get_ifd(0x8825)
        image.load()
    before, after = load_photo(data), load_photo(stripped)
    assert before.size == after.size == (64, 96)
    if kind != "WEBP":
        assert (before.rgb == after.rgb).all()
        assert strip_location(stripped) == stripped


@pytest.mark.parametrize("kind", ["GIF", "JPEG2000", "TIFF"])
def test_a_comment_does_not_move_into_the_new_file(kind):
    note = {"tiffinfo": {270: "GREENWICH"}} if kind == "TIFF" else {"comment": b"GREENWICH"}
    data = saved(Image.fromarray(picture()), kind, **note)
    assert b"GREENWICH" in data
    stripped = strip_location(data)
    assert b"GREENWICH" not in stripped
    assert close(load_photo(stripped).rgb, picture())


@pytest.mark.parametrize(
    "segment",
    [
        b"\xff\xe0\x00\x19JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00GREENWICH",
        b"\xff\xee\x00\x17Adobe\x00d\x00\x00\x00\x00\x01GREENWICH",
        b"\xff\xe0\x00\x10JFXX\x00GREENWICH",
    ],
)
def test_no_text_stays_behind_the_headers_that_are_kept(segment):
    plain = saved(Image.fromarray(picture()), "JPEG")
    data = plain[:2] + segment + plain[2:]
    assert (load_photo(data).rgb == load_photo(plain).rgb).all()
    stripped = strip_location(data)
    assert b"GREENWICH" not in stripped
    assert (load_photo(stripped).rgb == load_photo(plain).rgb).all()
    assert strip_location(stripped) == stripped


@pytest.mark.parametrize("options", [{"progressive": True}, {"restart_marker_blocks": 1}])
def test_a_picture_of_several_scans_or_pieces_stays_as_it_is(options):
    data = saved(Image.fromarray(picture()), "JPEG", quality=90, **options)
    assert strip_location(data) == data


def test_only_harmless_notes_go_on():
    photo = load_photo(with_place("JPEG"))
    assert photo.taken_at == "2026-11-25T09:30:00+01:00"
    assert photo.exif["Make"] == "Example"
    assert not any("GPS" in key for key in photo.exif)
    assert len(photo.sha256) == 64


def test_what_can_not_be_cleared_is_not_sent():
    whole = with_place("JPEG")
    for data in (b"", b"text", whole[:300], with_place("PNG")[:60]):
        with pytest.raises(PhotoError, match="location notes"):
            strip_location(data)


def test_heic_is_refused_or_read():
    data = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00heicmif1" + b"\x00" * 64
    assert refused(data)
