"""Photos made small: upright, without location data."""

from __future__ import annotations

import gc
import hashlib
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from joblog.report import images
from joblog.report.images import shown_pictures, shrink

GPS, ORIENTATION = 0x8825, 0x0112  # EXIF tags: CIPA DC-008


def photo(size: tuple[int, int] = (2400, 1800), orientation: int = 1) -> bytes:
    image = Image.new("RGB", size, (180, 180, 170))
    image.paste((20, 20, 20), (0, 0, size[0] // 4, size[1] // 4))  # dark corner, top left
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif.get_ifd(GPS)[2] = (52.0, 13.0, 5.0)
    out = BytesIO()
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_no_location_and_no_other_notes_leave_the_shop() -> None:
    shown = shrink(photo())
    assert shown is not None
    with Image.open(BytesIO(shown.data)) as image:
        assert not dict(image.getexif())
    assert b"Exif" not in shown.data


def test_a_phone_photo_stands_upright_and_is_small() -> None:
    # Orientation 6: row 0 of the file is the right side, so it is turned 90° clockwise (EXIF).
    shown = shrink(photo(orientation=6))
    assert shown is not None
    assert (shown.width, shown.height) == (750, 1000)
    with Image.open(BytesIO(shown.data)) as image:
        assert image.convert("L").getpixel((700, 50)) < 60  # the dark corner is top right now
        assert image.convert("L").getpixel((50, 950)) > 150


def test_the_same_photo_gives_the_same_bytes() -> None:
    first, second = shrink(photo()), shrink(photo())
    assert first is not None
    assert first == second
    assert first.key == hashlib.sha256(first.data).hexdigest()


def test_what_was_made_small_is_kept_without_the_photo_it_was_made_of() -> None:
    """A server makes reports for months: a few hundred photos of a phone would fill its memory."""
    images.forget()
    data = photo()
    shown = shrink(data)
    assert shown is not None
    gc.collect()
    kept = [one for one in gc.get_objects() if isinstance(one, images._Bytes)]
    assert [one.sha256 for one in kept] == [hashlib.sha256(data).hexdigest()]
    assert not any(one.data for one in kept)
    assert shrink(data) is shown  # and is found again


def test_a_picture_with_alpha_lies_on_white_paper() -> None:
    out = BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(out, "PNG")
    shown = shrink(out.getvalue())
    assert shown is not None
    with Image.open(BytesIO(shown.data)) as image:
        assert image.getpixel((20, 20)) == (255, 255, 255)


def test_what_is_no_photo_or_not_at_hand_is_left_out() -> None:
    good = photo((40, 30))
    blobs = {"a": good, "b": b"not a photo", "c": good[: len(good) // 3]}
    shown = shown_pictures(["a", "b", "c", "missing"], blobs.__getitem__)
    assert set(shown) == {"a"}


HEIC = Path(__file__).parents[1] / "vision" / "data" / "upright.heic"  # dark corner, top right
SHOW = """
import sys
from pathlib import Path
from joblog.report.images import shown_pictures
shown = shown_pictures(["photo"], lambda _: Path(sys.argv[1]).read_bytes())["photo"]
sys.stdout.buffer.write(shown.data)
"""


def test_a_kept_heic_photo_is_shown_by_a_program_that_took_none() -> None:
    pytest.importorskip("pi_heif")
    # A fresh program: in this one another test may have made the reader known.
    run = [sys.executable, "-c", SHOW, str(HEIC)]
    done = subprocess.run(run, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    with Image.open(BytesIO(done.stdout)) as image:
        assert image.size == (64, 96)
        assert image.convert("L").getpixel((60, 4)) < 60
        assert image.convert("L").getpixel((4, 90)) > 150
        assert not dict(image.getexif())
