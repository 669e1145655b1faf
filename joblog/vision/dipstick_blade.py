"""Find a dipstick's blade: the long narrow strip with two sharp, nearly parallel sides.

The rules:

* Pairs of straight edges give guesses (see ``dipstick_lines``).
* Each side of a guess is then followed pixel by pixel (dynamic programming) and smoothed by a
  robust polynomial (iteratively reweighted least squares), which gives bend, twist and perspective
  as a smooth axis and width.
* Along these the picture is unrolled into a straight strip, on which all else is measured.

Limits are our own, set on rendered sticks; docs/eye.md says on which.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_lines import guesses, segments
from joblog.vision.dipstick_path import smooth_path

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

FIND_PX = 640  # longest side in which straight pieces are looked for
HALF_SPAN = 1.6  # a strip is sampled this many half widths to either side of the axis
LEAST_PX = 60  # a shorter stretch of two sides is no blade
LEAST_ROWS = 33  # a narrower blade shows neither marks nor edge
FOLLOW_ROWS = 81  # samples across the strip in which the sides are followed
FOLLOW_STEP = 2.0  # its columns, pixels apart
SIDE_STEP = 0.25  # what a step of a side by one sample across costs, beside strengths of 0..1


@dataclass(frozen=True)
class Strip:
    """A picture unrolled along a blade.

    ``pixels`` is float32 RGB 0..255, shape (rows, length, 3): rows go across the blade from
    -HALF_SPAN to +HALF_SPAN half widths, columns along it, ``pitch`` picture pixels apart.
    ``axis`` and ``normal`` have shape (length, 2), ``half_width`` (length,), in pixels of the
    picture. ``inside`` says which columns lie within the picture.
    """

    pixels: NDArray[np.float32]
    axis: Array
    normal: Array
    half_width: Array
    inside: NDArray[np.bool_]
    pitch: float

    @property
    def across(self) -> Array:
        """Positions of the rows in half widths."""
        return np.linspace(-HALF_SPAN, HALF_SPAN, self.pixels.shape[0])


@dataclass(frozen=True)
class Blade:
    """A blade found: its strip (rows and columns equally far apart) and where it is seen.

    ``first`` and ``last`` are the columns between which both sides are seen, ``support`` how
    clearly (0..1); ``reach`` is the same with less asked, for what shows by itself. ``inset`` says
    how far each side departs inwards (+) from the smooth side, in half widths, shape (2, length).
    """

    strip: Strip
    first: int
    last: int
    support: float
    inset: Array
    reach: tuple[int, int]


def find_blades(rgb: Image, limit: int = 2) -> Iterator[Blade]:
    """Yield up to ``limit`` possible blades in 8-bit ``rgb`` (h, w, 3), the most likely first."""
    scale = max(1.0, max(rgb.shape[:2]) / FIND_PX)
    size = (round(rgb.shape[1] / scale), round(rgb.shape[0] / scale))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    for line in guesses(segments(small), size, limit):
        blade = _follow(rgb, (line + 0.5) * scale - 0.5)
        if blade is not None:
            yield blade


def looks_like_a_blade(blade: Blade) -> bool:
    """Say whether both sides are seen all along a strip that is long, and even in width.

    Its limits were set on rendered pictures of other things, too.
    """
    seen = slice(blade.first, blade.last + 1)
    width = blade.strip.half_width[seen]
    long_enough = len(width) * blade.strip.pitch > 6.0 * float(np.median(width))
    level = standing_out(blade.strip)[seen]
    clear = float(level.mean()) > 0.27 and float((level > 0.2).mean()) > 0.75
    return bool(long_enough and clear and float(width.max()) < 1.75 * float(width.min()))


def _follow(rgb: Image, line: Array) -> Blade | None:
    """Follow both sides of a guess (2 sides, 2 points, x and y) and return the smooth blade."""
    start, end = line.mean(axis=0)
    along = (end - start) / np.linalg.norm(end - start)
    span = _span_in_picture(start, along, rgb)
    if span is None:
        return None
    axis = start + along * np.arange(span[0], span[1], FOLLOW_STEP)[:, None]
    side0, side1 = (_across_line(axis, along, side) for side in line)
    half = np.abs(side1 - side0) / 2
    axis = axis + ((side0 + side1) / 2)[:, None] * _normals(axis)
    for degree in (2, 3, 3):  # a parabola while the guess is coarse, then cubics
        if half.min() < 3 or half.max() > 0.3 * max(rgb.shape[:2]):
            return None
        strip = _unroll(rgb, axis, half, FOLLOW_ROWS, FOLLOW_STEP)
        path, strength = _sides(strip)
        first, last = _extent(strip)
        if (last - first) * FOLLOW_STEP < LEAST_PX or strength[:, first : last + 1].max() <= 0:
            return None
        smooth = [
            _robust_polynomial(side, weight, (first, last), degree)
            for side, weight in zip(path, strength, strict=True)
        ]
        middle, relative = (smooth[0] + smooth[1]) / 2, (smooth[1] - smooth[0]) / 2
        axis = strip.axis + (middle * strip.half_width)[:, None] * strip.normal
        half = strip.half_width * np.maximum(relative, 0.2)
        axis, half = _evenly_spaced(axis, half, rgb)
    return _finished(rgb, axis, half)


def _finished(rgb: Image, axis: Array, half: Array) -> Blade | None:
    """Return the blade with its final strip, square in its sampling."""
    pitch = float(np.clip(np.median(half) / 30, 0.8, 2.5))
    places = np.arange(0, (len(axis) - 1) * FOLLOW_STEP, pitch) / FOLLOW_STEP
    grid = np.arange(len(axis))
    axis = np.stack([np.interp(places, grid, axis[:, k]) for k in range(2)], axis=1)
    half = np.interp(places, grid, half)
    rows = 2 * round(HALF_SPAN * float(np.median(half)) / pitch) + 1
    if rows < LEAST_ROWS:
        return None
    strip = _unroll(rgb, axis, half, rows, pitch)
    if len(axis) < rows:
        return None
    path, _ = _sides(strip)
    inset = np.stack([path[0] + 1, 1 - path[1]])
    first, last = _extent(strip)
    reach = _extent(strip, 0.28)
    return Blade(strip, first, last, _support(strip, first, last), inset, reach)


def _span_in_picture(start: Array, along: Array, rgb: Image) -> tuple[float, float] | None:
    """Return from where to where a line runs within the picture."""
    low, high = -np.inf, np.inf
    for k, size in enumerate((rgb.shape[1], rgb.shape[0])):
        if abs(along[k]) < 1e-9:
            if not 0 <= start[k] < size:
                return None
            continue
        a, b = sorted(((0 - start[k]) / along[k], (size - 1 - start[k]) / along[k]))
        low, high = max(low, a), min(high, b)
    return (float(low), float(high)) if high - low > 60 else None


def _evenly_spaced(axis: Array, half: Array, rgb: Image) -> tuple[Array, Array]:
    """Return the axis at even steps, cut to the picture and carried on straight to its rim."""
    reach = 400
    head = (
        axis[0] + (axis[0] - axis[min(10, len(axis) - 1)]) / 10 * np.arange(reach, 0, -1)[:, None]
    )
    tail = axis[-1] + (axis[-1] - axis[-min(11, len(axis))]) / 10 * np.arange(1, reach + 1)[:, None]
    whole = np.concatenate([head, axis, tail])
    width = np.concatenate([np.full(reach, half[0]), half, np.full(reach, half[-1])])
    inside = _inside(whole, rgb)
    middle = reach + len(axis) // 2
    if not inside[middle]:
        return axis, half
    outside = np.flatnonzero(~inside)
    first = int(outside[outside < middle].max(initial=-1)) + 1
    last = int(outside[outside > middle].min(initial=len(whole)))
    whole, width = whole[first:last], width[first:last]
    run = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(whole, axis=0), axis=1))])
    places = np.arange(0, run[-1], FOLLOW_STEP)
    even = np.stack([np.interp(places, run, whole[:, k]) for k in range(2)], axis=1)
    return even, np.interp(places, run, width)


def _inside(axis: Array, rgb: Image) -> NDArray[np.bool_]:
    height, width = rgb.shape[:2]
    return np.asarray(
        (axis >= 0).all(axis=1) & (axis[:, 0] <= width - 1) & (axis[:, 1] <= height - 1)
    )


def _across_line(axis: Array, along: Array, side: Array) -> Array:
    """Return the signed distance across the axis at which a side lies, for each axis point."""
    normal = np.array([-along[1], along[0]])
    t = (side - axis[0]) @ along
    d = (side - axis[0]) @ normal
    position = (axis - axis[0]) @ along
    return np.asarray(d[0] + (position - t[0]) * (d[1] - d[0]) / (t[1] - t[0]))


def _normals(axis: Array) -> Array:
    tangent = np.gradient(axis, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)


def _unroll(rgb: Image, axis: Array, half: Array, rows: int, pitch: float) -> Strip:
    """Return the picture sampled (bilinear) along and across an axis."""
    normal = _normals(axis)
    across = np.linspace(-HALF_SPAN, HALF_SPAN, rows)
    at = axis[None] + across[:, None, None] * half[None, :, None] * normal[None]
    x, y = at[..., 0].astype(np.float32), at[..., 1].astype(np.float32)
    pixels = cv2.remap(rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return Strip(pixels.astype(np.float32), axis, normal, half, _inside(axis, rgb), pitch)


def _sides(strip: Strip) -> tuple[Array, Array]:
    """Return where both sides run, in half widths, and how strong they are, each (2, length)."""
    edge = _edge_strength(strip)
    rows = strip.across
    columns = np.arange(edge.shape[1])
    paths, strengths = [], []
    for sign in (-1, 1):
        band = np.flatnonzero((rows * sign > 0.55) & (rows * sign < 1.45))
        path = smooth_path(np.ascontiguousarray(edge[band].T), 1, SIDE_STEP)
        paths.append(rows[band][path])
        strengths.append(edge[band][path, columns])
    return np.stack(paths), np.stack(strengths)


def _edge_strength(strip: Strip) -> Array:
    """Return how strong an edge along the blade passes through each sample, 0..1.

    The step s per row of the channel that steps most, as s / (s + 4): beyond a few 8-bit steps more
    contrast is no surer an edge.
    """
    pixels = cv2.GaussianBlur(strip.pixels, (0, 0), sigmaX=2.0, sigmaY=1.0)
    step = np.abs(np.gradient(pixels, axis=0)).max(axis=2)
    return np.asarray(step / (step + 4.0), np.float64)


def standing_out(strip: Strip) -> Array:
    """Return how much the two sides stand out from their surroundings in each column: (length,).

    A difference of edge strengths, at most 1; -1 outside the picture.
    """
    edge = _edge_strength(strip)
    rows = np.abs(strip.across)
    at_side = [
        edge[(np.abs(rows - 1) < 0.1) & (strip.across * sign > 0)].max(axis=0) for sign in (-1, 1)
    ]
    around = edge[rows > 1.2].mean(axis=0)
    low, high = np.sort(np.stack(at_side), axis=0)
    excess = 0.6 * low + 0.4 * high - around
    window = max(3, round(0.6 * strip.half_width.mean() / strip.pitch))
    level = np.convolve(excess, np.ones(window) / window, "same")
    return np.where(strip.inside, level, -1.0)


def _extent(strip: Strip, share: float = 0.5) -> tuple[int, int]:
    """Return first and last column of the stretch where the sides stand out, gaps allowed.

    It is the run of columns with the largest sum above the threshold (maximum subarray).
    ``share`` of the usual strength is enough: a lower one bridges stretches where blade and ground
    look alike, and may reach beyond the tip on a coarse ground.
    """
    level = standing_out(strip)
    gain = np.maximum(level - share * float(np.percentile(level, 80)), -0.25)
    total = np.concatenate([[0], np.cumsum(gain)])
    lowest = np.minimum.accumulate(total)
    last = int(np.argmax(total - lowest))
    first = int(np.argmin(total[: last + 1]))
    return first, max(first + 1, last - 1)


def _support(strip: Strip, first: int, last: int) -> float:
    return float(np.clip(standing_out(strip)[first : last + 1].mean() / 0.4, 0, 1))


def _robust_polynomial(path: Array, weight: Array, extent: tuple[int, int], degree: int) -> Array:
    """Return the smooth side: a polynomial that notches and stray edges don't pull.

    Iteratively reweighted least squares with the weights of Geman and McClure (1985), scaled by the
    median absolute deviation.
    """
    first, last = extent
    columns = np.arange(len(path))
    x = (columns - first) / max(1, last - first) * 2 - 1
    use = (columns >= first) & (columns <= last)
    base = np.where(use, weight, 0.0) ** 2
    weights = base + 1e-9 * use
    fit = np.polynomial.Polynomial([float(np.median(path[use]))])
    for _ in range(8):
        fit = np.polynomial.Polynomial.fit(x, path, degree, domain=[-1, 1], w=np.sqrt(weights))
        off = path - fit(x)
        spread = max(0.015, 1.4826 * float(np.median(np.abs(off[use]))))
        weights = (base + 1e-9 * use) / (1 + (off / (1.5 * spread)) ** 2) ** 2
    # beyond the seen stretch the side goes on straight: a cubic would run away
    near = np.clip(x, -1, 1)
    return np.asarray(fit(near) + fit.deriv()(near) * (x - near))
