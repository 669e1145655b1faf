"""Large pictures of every kind: in bounded memory, and the same as small ones."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from joblog.vision import load
from joblog.vision.load import load_photo

KINDS = {  # mode: how it is kept
    "RGB": ("png", {}),
    "RGBA": ("png", {}),
    "L": ("png", {}),
    "LA": ("png", {}),
    "P": ("png", {}),
    "1": ("png", {}),
    "I;16": ("png", {}),
    "I": ("tif", {"compression": "tiff_lzw"}),
    "F": ("tif", {"compression": "tiff_lzw"}),
    "CMYK": ("tif", {"compression": "tiff_lzw"}),
}
# VmHWM begins anew in a new program; ru_maxrss would count what its parent had, too
PEAK = """
import sys
from pathlib import Path
from joblog.vision.load import load_photo
load_photo(sys.argv[1])
status = Path("/proc/self/status").read_text()
print(status.split("VmHWM:")[1].split()[0])
"""


def scene(mode: str, size: tuple[int, int]) -> Image.Image:
    """Return a smooth picture that shows where it was turned, with some noise."""
    width, height = size
    y, x = np.mgrid[0:height, 0:width]
    grey = 40 + 120 * x / width + 60 * y / height
    grey = grey + np.random.default_rng(5).normal(0, 6, grey.shape)
    if mode == "I;16":
        return Image.fromarray((grey * 257).astype(np.uint16))
    if mode == "I":
        return Image.fromarray((grey * 257).astype(np.int32))
    if mode == "F":
        return Image.fromarray((grey / 255).astype(np.float32))
    bright = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))
    if mode == "RGBA":
        alpha = np.where(x < width // 3, 90, 255).astype(np.uint8)
        return Image.merge("RGBA", (bright, bright.rotate(180), bright, Image.fromarray(alpha)))
    return bright.convert(mode)


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("mode", KINDS)
def test_made_smaller_in_bands_a_picture_is_the_same(mode, orientation, tmp_path, monkeypatch):
    ending, options = KINDS[mode]
    path = tmp_path / f"photo.{ending}"
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    scene(mode, (1203, 901)).save(path, exif=exif, **options)
    whole = load_photo(path, working_side=300)
    monkeypatch.setattr(load, "LARGE", 1000)
    banded = load_photo(path, working_side=300)
    assert (banded.size, banded.scale) == (whole.size, whole.scale)
    assert banded.rgb.shape == whole.rgb.shape
    assert banded.size == ((901, 1203) if orientation == 6 else (1203, 901))
    one, other = (cv2.blur(photo.rgb, (5, 5)).astype(int) for photo in (banded, whole))
    assert np.abs(one - other).mean() < 1  # beneath the noise


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells VmHWM")
@pytest.mark.parametrize("mode", ["RGBA", "I;16", "CMYK", "F"])
def test_memory_is_bounded_for_every_kind(mode: str, tmp_path: Path) -> None:
    ending, options = KINDS[mode]
    path = tmp_path / f"large.{ending}"
    Image.new(mode, (7000, 7000)).save(path, **options)
    run = [sys.executable, "-c", PEAK, str(path)]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) < 450_000
