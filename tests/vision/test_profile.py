"""A colour profile leaves the shop with its colours and without its words."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms

from joblog.vision.load import strip_location
from joblog.vision.profile import without_words

NAME = "Imani's phone at 14 Harrow Lane"
COLOURS = np.random.default_rng(3).integers(0, 256, (64, 64, 3), np.uint8)


def named(version: int, *extra: tuple[bytes, bytes]) -> bytes:
    """Return a profile of other primaries than sRGB's that says ``NAME`` in four places."""
    base = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    (count,) = struct.unpack_from(">I", base, 128)
    rows = [struct.unpack_from(">4sII", base, 132 + 12 * row) for row in range(count)]
    tags = {name: base[at : at + size] for name, at, size in rows}
    tags[b"rXYZ"], tags[b"bXYZ"] = tags[b"bXYZ"], tags[b"rXYZ"]
    wide, plain = NAME.encode("utf-16-be"), NAME.encode()
    if version == 4:
        text = struct.pack(">4sIIIHHII", b"mluc", 0, 1, 12, 0x656E, 0x5553, len(wide), 28) + wide
        tags[b"desc"] = tags[b"cprt"] = text
    else:
        head = struct.pack(">4sII", b"desc", 0, len(plain) + 1)
        tags[b"desc"] = head + plain + bytes(79)
        tags[b"cprt"] = b"text" + bytes(4) + plain + b"\0"
    tags |= {b"dmdd": tags[b"desc"], b"priv": b"text" + bytes(4) + plain + b"\0", **dict(extra)}
    data, table = b"", b""
    for key, content in tags.items():
        table += struct.pack(">4sII", key, 132 + 12 * len(tags) + len(data), len(content))
        data += content + bytes(-len(content) % 4)
    size = 132 + len(table) + len(data)
    header = struct.pack(">I", size) + base[4:8] + bytes((version, 0x20)) + base[10:48]
    header += b"ImanOkaf" + base[56:128]
    return header + struct.pack(">I", len(tags)) + table + data


def seen(profile: bytes) -> np.ndarray:
    """Return what COLOURS are under a profile, in sRGB."""
    opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    target = ImageCms.createProfile("sRGB")
    shown = ImageCms.profileToProfile(Image.fromarray(COLOURS), opened, target)
    return np.asarray(shown)


def tells(data: bytes) -> bool:
    return any(word in data for word in (NAME.encode(), NAME.encode("utf-16-be"), b"ImanOkaf"))


def profile_of(picture: bytes) -> bytes:
    with Image.open(io.BytesIO(picture)) as image:
        return image.info.get("icc_profile", b"")


@pytest.mark.parametrize("version", [2, 4])
def test_the_colours_stay_and_the_words_go(version):
    profile = named(version)
    assert tells(profile)
    plain = without_words(profile)
    assert not tells(plain)
    assert (seen(plain) == seen(profile)).all()
    assert not (seen(profile) == COLOURS).all()  # it does turn colours
    assert without_words(plain) == plain
    assert ImageCms.getProfileDescription(io.BytesIO(plain)).strip() == ""


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_every_kind_of_picture_loses_the_words_and_no_colour(kind):
    profile = named(4)
    out = io.BytesIO()
    Image.fromarray(COLOURS).save(out, kind, icc_profile=profile)
    cleared = strip_location(out.getvalue())
    assert profile_of(out.getvalue()) == profile
    assert profile_of(cleared) == without_words(profile)
    assert not tells(cleared)
    assert strip_location(cleared) == cleared
    if kind != "WEBP":  # that is saved anew
        with Image.open(io.BytesIO(cleared)) as one, Image.open(out) as other:
            assert one.tobytes() == other.tobytes()


def test_the_name_that_a_png_itself_gives_its_profile_goes_too():
    out = io.BytesIO()
    Image.fromarray(COLOURS).save(out, "PNG", icc_profile=named(4))
    data = out.getvalue()
    at = data.index(b"iCCP")
    (length,) = struct.unpack_from(">I", data, at - 4)
    body = NAME.encode() + data[data.index(b"\0", at + 4) : at + 4 + length]
    chunk = struct.pack(">I", len(body)) + b"iCCP" + body
    chunk += struct.pack(">I", zlib.crc32(b"iCCP" + body))
    data = data[: at - 4] + chunk + data[at + 8 + length :]
    assert tells(data)
    cleared = strip_location(data)
    assert not tells(cleared)
    assert profile_of(cleared) == without_words(named(4))


def test_a_profile_of_several_segments_stays_whole():
    curve = np.random.default_rng(1).integers(0, 65536, 90_000)
    large = b"curv" + bytes(4) + struct.pack(">I", len(curve)) + curve.astype(">u2").tobytes()
    profile = named(4, (b"gamt", large))
    out = io.BytesIO()
    Image.fromarray(COLOURS).save(out, "JPEG", icc_profile=profile)
    cleared = strip_location(out.getvalue())
    assert cleared.count(b"ICC_PROFILE\0") == 3
    assert profile_of(cleared) == without_words(profile)


@pytest.mark.parametrize("junk", [b"", b"no profile " + NAME.encode() * 20, bytes(200)])
def test_what_is_no_profile_goes_as_a_whole(junk):
    assert without_words(junk) == b""
    out = io.BytesIO()
    Image.fromarray(COLOURS).save(out, "JPEG", icc_profile=junk or None)
    assert not tells(strip_location(out.getvalue()))
