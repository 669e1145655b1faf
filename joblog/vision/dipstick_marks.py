"""Find a dipstick's two marks on its unrolled blade.

Three kinds are known: two round holes, two round dots (dimples), and a cross-hatched zone between
two notches. The rules:

* A round mark is a circle near the blade's middle all of whose rim steps the same way, darker or
  lighter. Drops, letters and scratches lack one of: roundness, place, or a twin of equal size.
* A hatched zone is a stretch with lines along both diagonals; its ends are where a line crosses
  the whole blade and, mostly, where a notch bites into one side or both.
* Each kind gives its best pair and how clearly it stands above the next one; the clearest wins,
  and where none is clear there are no marks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade

Array = NDArray[np.float64]

RADII = np.array([0.15, 0.19, 0.24, 0.30, 0.37, 0.45])  # of round marks, in half widths
OFF_AXIS = 0.3  # how far from the axis a round mark may lie, in half widths
BLADE_MM = (3.0, 12.0)  # widths of blades
USUAL_BLADE_MM = 6.3  # usual width (common practice, no source), and
BLADE_SPREAD = 0.27  # the spread of the logarithm of widths


@dataclass(frozen=True)
class Marks:
    """Two marks as columns of the strip, ``a`` < ``b``, not yet told lower from upper.

    ``spread`` is the standard uncertainty of either column; ``score`` 0..1 says how clear.
    ``places`` are their (column, row in half widths); ``radius`` of round ones, in half widths.
    """

    style: str
    a: float
    b: float
    score: float
    spread: float
    offset: float = 0.0
    radius: float = 0.0


def find_marks(blade: Blade, mark_distance_mm: float | None) -> list[Marks]:
    """Return possible pairs of marks, the clearest first."""
    allowed = _allowed_gap(blade, mark_distance_mm)
    pairs = [
        replace(
            pair,
            score=pair.score * (0.3 + 0.7 * _fits_blade(blade, pair.b - pair.a, mark_distance_mm)),
        )
        for pair in _round_pairs(blade, allowed) + _hatched_pairs(blade, allowed)
    ]
    return sorted(pairs, key=lambda marks: -marks.score)


def _allowed_gap(blade: Blade, mark_distance_mm: float | None) -> tuple[float, float]:
    """Return least and greatest distance between marks in columns."""
    width = 2 * _unit(blade)
    if mark_distance_mm is None:
        return 0.9 * width, 12.0 * width
    return mark_distance_mm / BLADE_MM[1] * width * 0.85, mark_distance_mm / BLADE_MM[0] * width


def _fits_blade(blade: Blade, gap: float, mark_distance_mm: float | None) -> float:
    """Return 0..1: how usual a blade's width would be with marks ``gap`` columns apart."""
    if mark_distance_mm is None:
        return 1.0
    width_mm = 2 * _unit(blade) / gap * mark_distance_mm
    return float(np.exp(-0.5 * (np.log(width_mm / USUAL_BLADE_MM) / BLADE_SPREAD) ** 2))


def _unit(blade: Blade) -> float:
    """Return the samples per half width."""
    return float(np.median(blade.strip.half_width)) / blade.strip.pitch


def _log_lightness(blade: Blade) -> NDArray[np.float32]:
    """Return 46 times the natural logarithm of the strip's lightness: 0..255."""
    pixels = blade.strip.pixels @ np.array([0.3, 0.5, 0.2], np.float32)
    return np.asarray(np.clip(np.log1p(pixels / 6.0) * 67.5, 0, 255), np.float32)


def roundness(blade: Blade) -> tuple[NDArray[np.float32], Array]:
    """Return how clearly a circle lies at each place: scores 0..1, shape (radii, rows, columns).

    The second value holds the rows' offsets from the axis in half widths.

    Gradients of log lightness are compared with a ring's: pointing all outwards or all inwards (a
    disc), or at least along the radius (a hole with a bright and a dark rim).
    """
    strip, unit = blade.strip, _unit(blade)
    size = 2 * round(0.11 * unit) + 1
    # thin bright streaks along the blade go, discs stay
    calm = cv2.medianBlur(_log_lightness(blade).astype(np.uint8), max(3, size))
    image = np.asarray(
        cv2.GaussianBlur(calm.astype(np.float32), (0, 0), max(0.8, 0.04 * unit)), np.float32
    )
    dy, dx = np.gradient(image)
    length = np.hypot(dx, dy)
    inner = length[np.abs(strip.across) < 0.85]
    strength = length / (length + 1.0 + 0.6 * float(np.median(inner)))
    cos, sin = dx / (length + 1e-6), dy / (length + 1e-6)
    near = np.flatnonzero(np.abs(strip.across) <= OFF_AXIS)
    layers = []
    for radius in RADII:
        kx, ky, k2x, k2y = _ring(radius * unit)
        disc = _ring_sum(strength * cos, kx) + _ring_sum(strength * sin, ky)
        rim = _ring_sum(strength * (cos**2 - sin**2), k2x) + _ring_sum(
            strength * 2 * cos * sin, k2y
        )
        circle = 0.5 * np.abs(disc) + 0.5 * np.maximum(rim, 0)
        layers.append((circle * (0.4 + 0.6 * _evenness(image, radius * unit)))[near])
    # a large ring that fits all round is rarer by chance than a small one
    preference = (RADII / 0.3) ** 0.25
    return np.stack(layers) * preference[:, None, None].astype(np.float32), strip.across[near]


def _ring_sum(field: NDArray[np.float32], kernel: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(cv2.filter2D(field, cv2.CV_32F, kernel), np.float32)


def _ring(radius: float) -> tuple[NDArray[np.float32], ...]:
    """Return a ring's radial direction as kernels (cos, sin, cos 2, sin 2) of total weight 1."""
    reach = int(np.ceil(radius + 3))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float64)
    distance = np.hypot(x, y)
    weight = np.exp(-0.5 * ((distance - radius) / max(0.9, 0.14 * radius)) ** 2)
    weight /= weight.sum()
    distance[reach, reach] = 1.0
    cos, sin = x / distance, y / distance
    kernels = (cos, sin, cos**2 - sin**2, 2 * cos * sin)
    return tuple((weight * kernel).astype(np.float32) for kernel in kernels)


def _evenness(image: NDArray[np.float32], radius: float) -> NDArray[np.float32]:
    """Return 0..1: how much more even it is within a circle than in it and around it."""
    spread = []
    for reach in (0.75 * radius, 1.6 * radius):
        size = int(np.ceil(reach))
        y, x = np.mgrid[-size : size + 1, -size : size + 1]
        kernel = (np.hypot(x, y) <= reach).astype(np.float32)
        kernel /= kernel.sum()
        mean = _ring_sum(image, kernel)
        spread.append(np.sqrt(np.maximum(_ring_sum(image * image, kernel) - mean * mean, 0)))
    return np.asarray(np.clip(1.0 - spread[0] / (spread[1] + 0.7), 0, 1), np.float32)


def _round_pairs(blade: Blade, allowed: tuple[float, float]) -> list[Marks]:
    """Pair circles of about the same size and place across; the weaker of the two decides."""
    stack, offsets = roundness(blade)
    unit = _unit(blade)
    # twins may differ a little: by a step in radius, a tenth of the half width across
    lenient = np.stack([stack[max(0, k - 1) : k + 2].max(axis=0) for k in range(len(stack))])
    near_rows = np.flatnonzero(np.abs(blade.strip.across) <= OFF_AXIS)
    across = max(1, round(0.1 * unit))
    kernel = np.ones((2 * across + 1, 1), np.uint8)
    lenient = np.stack([cv2.dilate(layer, kernel) for layer in lenient])
    peaks = _peaks(stack.max(axis=(0, 1)).astype(np.float64), blade, round(0.2 * unit))
    # a drilled or punched mark sits on the axis, a drop anywhere
    central = np.exp(-0.5 * (offsets / 0.16) ** 2).astype(np.float32)
    logs = np.log(blade.strip.pixels + 6.0)
    pairs = []
    for i, a in enumerate(peaks):
        for b in peaks[i + 1 :]:
            if not allowed[0] <= b - a <= allowed[1]:
                continue
            low = np.minimum(lenient[:, :, a], lenient[:, :, b])
            high = np.maximum(lenient[:, :, a], lenient[:, :, b])
            value = (0.65 * low + 0.35 * high) * central[None, :]
            top = int(value.argmax())
            place = float(offsets[top % len(offsets)])
            ring = top // len(offsets)
            nearby = stack[max(0, ring - 1) : ring + 2].max(axis=0)
            row, reach = top % len(offsets), round(0.2 * unit)
            first, second = (_settled(nearby, c, row, across, reach) for c in (a, b))
            alike = _alike(logs, (first, second), near_rows[row], float(RADII[ring]) * unit)
            pairs.append(
                Marks(
                    "two round marks",
                    first,
                    second,
                    float(value.max()) * (0.55 + 0.45 * alike),
                    0.085 * unit,
                    place,
                    float(RADII[ring]),
                )
            )
    return sorted(pairs, key=lambda marks: -marks.score)[:12]


def _alike(
    logs: NDArray[np.float32], columns: tuple[float, float], row: int, radius: float
) -> float:
    """Return 0..1: how alike two circles look, by what is in them or by how it differs from around.

    Two holes show the same ground; two dots darken the blade by as much, wet or dry. A drop next
    to a hole does neither.
    """
    size = int(np.ceil(1.7 * radius))
    y, x = np.mgrid[-size : size + 1, -size : size + 1]
    distance = np.hypot(x, y)
    inner, ring = distance <= 0.7 * radius, (distance > 1.25 * radius) & (distance <= 1.7 * radius)
    padded = np.pad(logs, ((size, size), (size, size), (0, 0)), mode="edge")
    within, change = [], []
    for column in columns:
        c = round(column)
        part = padded[row : row + 2 * size + 1, c : c + 2 * size + 1]
        inside = np.median(part[inner], axis=0)
        within.append(inside)
        change.append(inside - np.median(part[ring], axis=0))
    apart = min(
        float(np.abs(within[0] - within[1]).max()), float(np.abs(change[0] - change[1]).max())
    )
    return float(np.exp(-((apart / 0.4) ** 2)))


def _settled(layer: NDArray[np.float32], column: int, row: int, across: int, along: int) -> float:
    """Return the column, to a fraction, around which a circle's score is heaped."""
    low, high = max(0, column - along), column + along + 1
    part = layer[max(0, row - across) : row + across + 1, low:high].max(axis=0).astype(np.float64)
    weight = np.clip(part - 0.7 * part.max(), 0, None) ** 2
    return float(low + (weight @ np.arange(len(part))) / max(weight.sum(), 1e-12))


def _peaks(signal: Array, blade: Blade, apart: int) -> list[int]:
    """Return the columns of the highest well separated values within the blade."""
    work = signal.copy()
    low, high = min(blade.first, blade.reach[0]), max(blade.last, blade.reach[1])
    work[: low + apart] = 0
    work[max(0, high - apart) :] = 0
    found: list[int] = []
    while len(found) < 12:
        top = int(work.argmax())
        if work[top] < 0.12:
            break
        found.append(top)
        work[max(0, top - 2 * apart) : top + 2 * apart + 1] = 0
    return sorted(found)


def _hatched_pairs(blade: Blade, allowed: tuple[float, float]) -> list[Marks]:
    hatch, rise, line, notch = hatch_signals(blade)
    unit = _unit(blade)
    ends = [
        _peaks(0.4 * np.clip(sign * rise, 0, 1) + 0.9 * line + notch, blade, round(0.12 * unit))
        for sign in (1, -1)
    ]
    total = np.concatenate([[0], np.cumsum(hatch)])
    around = round(0.8 * unit)
    pairs = []
    for a in ends[0]:
        for b in ends[1]:
            if not allowed[0] <= b - a <= allowed[1]:
                continue
            inside = (total[b] - total[a]) / (b - a)
            low, high = max(0, a - around), min(len(hatch), b + around)
            beside = (
                (total[a] - total[low]) / max(1, a - low),
                (total[high] - total[b]) / max(1, high - b),
            )
            # hatching must stop at both ends
            outside = 0.42 * min(beside) + 0.58 * max(beside)
            end = [
                0.4 * min(1.0, max(0.0, sign * rise[c])) + 0.9 * line[c] + notch[c]
                for c, sign in ((a, 1), (b, -1))
            ]
            value = 0.8 * (inside - outside) + 0.35 * (min(end) * 0.65 + max(end) * 0.35)
            style = "cross-hatched zone between two notches"
            first, second = (_end_of_zone(c, notch, line, unit) for c in (a, b))
            pairs.append(Marks(style, first, second, float(value), 0.08 * unit))
    return sorted(pairs, key=lambda marks: -marks.score)[:8]


def _end_of_zone(column: int, notch: Array, line: Array, unit: float) -> float:
    """Return where a zone ends: the middle of its notches and of the line across."""
    reach = round(0.6 * unit)
    low = max(0, column - reach)
    part = (notch + 0.7 * line)[low : column + reach + 1]
    if part.max() < 0.1:
        return float(column)
    weight = np.clip(part - 0.4 * part.max(), 0, None)
    return float(low + weight @ np.arange(len(weight)) / weight.sum())


def hatch_signals(blade: Blade) -> tuple[Array, Array, Array, Array]:
    """Return along the blade: hatching 0..1, its rise, lines straight across, notches."""
    unit = _unit(blade)
    rows = np.abs(blade.strip.across) < 0.82
    image = cv2.GaussianBlur(_log_lightness(blade), (0, 0), max(0.9, 0.03 * unit))
    dy, dx = np.gradient(image)
    dx, dy = dx[rows], dy[rows]
    length = np.hypot(dx, dy)
    strength = length / (length + 2.0 + 0.7 * float(np.median(length)))
    # sin 2a of the gradient's direction: +1 on one diagonal, -1 on the other, 0 along and across
    diagonal = 2 * dx * dy / (length + 1e-6) ** 2
    weight = strength * np.abs(diagonal)
    both = [_box((weight * (diagonal * sign > 0.4)).mean(axis=0), 0.5 * unit) for sign in (1, -1)]
    share = np.minimum(*both) / (_box(strength.mean(axis=0), 0.5 * unit) + 0.03)
    hatch = np.minimum(*both) * 5 * np.clip(share / 0.25, 0, 1.2)
    reach = max(2, round(0.6 * unit))
    padded = np.pad(hatch, reach, mode="edge")
    rise = padded[2 * reach :] - padded[: -2 * reach]
    across = (dx / (length + 1e-6) * strength).mean(axis=0)
    line = np.abs(across) - _box(np.abs(across), 1.2 * unit)
    # two witnesses of a notch: the followed side bends in, and the ground shows inside the side
    bent, seen = np.clip(blade.inset, 0, 0.4).sum(axis=0), _bites(blade)
    notch = 2.5 * _bump(bent, unit) + 1.2 * np.clip(_bump(seen, unit), 0, 0.5)
    line = cv2.GaussianBlur(line[None], (0, 0), max(1.0, 0.05 * unit))[0]
    return hatch, rise, np.clip(line * 2, 0, 0.8), np.clip(notch, 0, 1)


def _bump(signal: Array, unit: float) -> Array:
    """Return how far a signal stands above its surroundings on both sides, as a notch does."""
    inner = _box(signal, 0.4 * unit)
    shift = round(0.8 * unit)
    side = np.pad(_box(signal, 0.4 * unit), shift, mode="edge")
    return np.asarray(inner - np.maximum(side[: -2 * shift], side[2 * shift :]))


def _bites(blade: Blade) -> Array:
    """Return how much the background shows just inside the sides, summed over both, 0..2."""
    strip = blade.strip
    total = np.zeros(strip.pixels.shape[1])
    for sign in (-1, 1):
        rows = strip.across * sign
        band = strip.pixels[(rows > 0.82) & (rows < 0.95)].mean(axis=0)
        inside = strip.pixels[(rows > 0.5) & (rows < 0.7)].mean(axis=0)
        outside = strip.pixels[(rows > 1.1) & (rows < 1.3)].mean(axis=0)
        own, other = np.abs(band - inside).sum(axis=1), np.abs(band - outside).sum(axis=1)
        total += own / (own + other + 15.0)
    return total


def _box(signal: Array, width: float) -> Array:
    window = max(3, round(width))
    padded = np.pad(signal, (window // 2, window - 1 - window // 2), mode="edge")
    return np.convolve(padded, np.ones(window) / window, "valid")
