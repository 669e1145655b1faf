"""The same measurements written plainly with scikit-image's stock functions, for comparison.

Each is what a tutorial would do: threshold by Otsu, label, look for lines and circles. They are
not made bad on purpose and not tuned either. scikit-image is a development dependency only.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joblog.vision.types import DipstickReading, Flake, FluidReading, PlugReading, Reading

WORK_PX = 1024


def compare(data: bytes, kind: str, known_mm: float | None) -> Reading:
    """Measure an encoded picture; ``known_mm`` is the plug's diameter or the mark distance.

    A picture on which one of the stock functions gives up is unusable.
    """
    try:
        return _measured(data, kind, known_mm)
    except Exception as error:  # noqa: BLE001 - each function has errors of its own
        return PlugReading(usable=False, why=str(error))


def _measured(data: bytes, kind: str, known_mm: float | None) -> Reading:
    from skimage.color import rgb2gray
    from skimage.io import imread
    from skimage.transform import rescale

    picture = imread(io.BytesIO(data))
    picture = (np.stack([picture] * 3, axis=2) if picture.ndim == 2 else picture[..., :3]) / 255.0
    factor = min(1.0, WORK_PX / max(picture.shape[:2]))
    if factor < 1:
        picture = rescale(picture, factor, anti_aliasing=True, channel_axis=2)
    grey = rgb2gray(picture)
    if kind == "dipstick":
        return _dipstick(picture, grey)
    if kind == "fluid":
        return _fluid(picture, grey)
    return _plug(grey, known_mm or 20.0, 1 / factor)


def _dipstick(picture: NDArray[Any], grey: NDArray[Any]) -> Reading:
    """Turn by the longest straight edge, cut the brightest band, cut its saturation in two."""
    from skimage.color import rgb2hsv
    from skimage.feature import blob_log, canny
    from skimage.filters import threshold_otsu
    from skimage.transform import probabilistic_hough_line, rotate

    lines = probabilistic_hough_line(canny(grey, sigma=2), line_length=80, line_gap=5, rng=1)
    if not lines:
        return DipstickReading(usable=False, why="no lines")
    (x0, y0), (x1, y1) = max(lines, key=lambda ends: np.hypot(*np.subtract(ends[1], ends[0])))
    angle = np.degrees(np.arctan2(y1 - y0, x1 - x0))
    level = rotate(grey, angle, resize=True)
    saturation = rotate(rgb2hsv(picture)[..., 1], angle, resize=True)
    step = np.abs(np.diff(level.mean(axis=1)))
    first, second = sorted(np.argsort(step)[-2:])
    if second - first < 20:
        first, second = max(0, first - 40), min(level.shape[0], second + 40)
    band = level[first:second]
    blobs = blob_log(1 - band, min_sigma=3, max_sigma=20, num_sigma=6, threshold=0.1)
    if len(blobs) < 2:
        return DipstickReading(usable=False, why="no two blobs")
    marks = sorted(blobs[np.argsort(blobs[:, 2])[-2:], 1])
    wet = saturation[first:second].mean(axis=0)
    change = int(np.argmax(np.abs(np.diff((wet > threshold_otsu(wet)).astype(float)))))
    fraction = (change - marks[0]) / max(1.0, marks[1] - marks[0])
    if wet[change:].mean() > wet[:change].mean():
        fraction = 1 - fraction
    return DipstickReading(usable=True, level_fraction=float(fraction))


def _fluid(picture: NDArray[Any], grey: NDArray[Any]) -> Reading:
    """Otsu's darker class against the median of the brighter one."""
    from skimage.color import rgb2lab
    from skimage.filters import threshold_otsu

    dark = grey < threshold_otsu(grey)
    if not dark.any() or dark.all():
        return FluidReading(usable=False, why="no two classes")
    ratio = np.median(picture[dark], axis=0) / np.median(picture[~dark], axis=0)
    lab = rgb2lab(np.clip(ratio, 0, 1)[None, None])[0, 0]
    return FluidReading(usable=True, lab=(float(lab[0]), float(lab[1]), float(lab[2])))


def _plug(grey: NDArray[Any], diameter_mm: float, unscale: float) -> Reading:
    """The strongest circle is the plug, the strongest in it the magnet; Otsu parts film."""
    from skimage.feature import canny
    from skimage.filters import threshold_otsu
    from skimage.measure import label, regionprops
    from skimage.transform import hough_circle, hough_circle_peaks, rescale

    half = rescale(grey, 0.5, anti_aliasing=True)
    radii = np.arange(20, min(half.shape) // 2, 3)
    votes = hough_circle(canny(half, sigma=2), radii)
    _, xs, ys, found = hough_circle_peaks(votes, radii, total_num_peaks=6)
    outer = int(np.argmax(found))
    inner = [k for k in range(len(found)) if found[k] < 0.8 * found[outer]] or [outer]
    rim, (x, y, r) = 2 * float(found[outer]), (2 * v[inner[0]] for v in (xs, ys, found))
    mm = diameter_mm / (2 * rim)
    rows, columns = np.indices(grey.shape)
    disc = np.hypot(columns - x, rows - y) < r
    inside = grey[disc]
    if inside.size < 50:
        return PlugReading(usable=False, why="no circle")
    film = disc & (grey < threshold_otsu(inside))
    bright = disc & (grey > np.percentile(inside, 97))
    flakes = [
        Flake(length, (p.centroid[1] * unscale, p.centroid[0] * unscale), ())
        for p in regionprops(label(bright))
        if p.area > 3 and (length := float(p.feret_diameter_max) * mm) >= 0.3
    ]
    return PlugReading(
        usable=True,
        film_coverage=float(film.sum() / disc.sum()),
        flakes=tuple(flakes),
        magnet_diameter_mm=2 * float(r) * mm,
    )
