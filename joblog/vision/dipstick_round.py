"""Round marks of a dipstick: two holes, or two dimples, on the blade's axis."""

from __future__ import annotations

from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_signals import Array, Marks, log_lightness, peaks_of, unit_of

RADII = np.array([0.15, 0.19, 0.24, 0.30, 0.37, 0.45])  # of round marks, in half widths
OFF_AXIS = 0.3  # how far from the axis a round mark may lie, in half widths


def roundness(blade: Blade) -> tuple[NDArray[np.float32], Array]:
    """Return how clearly a circle lies at each place: scores 0..1, shape (radii, rows, columns).

    The second value, (rows,), holds the rows' offsets from the axis in half widths.

    A matched filter on directions, as in radial symmetry transforms: gradients of log lightness are
    compared with a ring's, pointing all outwards or all inwards (a disc), or at least along the
    radius (a hole with a bright and a dark rim: the same with doubled angles).
    """
    strip, unit = blade.strip, unit_of(blade)
    size = 2 * round(0.11 * unit) + 1
    # thin bright streaks along the blade go, discs stay
    calm = cv2.medianBlur(log_lightness(blade).astype(np.uint8), max(3, size))
    image = np.asarray(
        cv2.GaussianBlur(calm.astype(np.float32), (0, 0), max(0.8, 0.04 * unit)), np.float32
    )
    # rings around the axis reach no further than this
    rows = np.abs(strip.across) < OFF_AXIS + float(RADII[-1]) + 0.2
    image, across = np.ascontiguousarray(image[rows]), strip.across[rows]
    dy, dx = np.gradient(image)
    length = np.hypot(dx, dy)
    inner = length[np.abs(across) < 0.85]
    strength = length / (length + 1.0 + 0.6 * float(np.median(inner)))
    cos, sin = dx / (length + 1e-6), dy / (length + 1e-6)
    near = np.flatnonzero(np.abs(across) <= OFF_AXIS)
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
    return np.stack(layers) * preference[:, None, None].astype(np.float32), across[near]


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


def round_pairs(blade: Blade, allowed: tuple[float, float]) -> list[Marks]:
    """Pair circles of about the same size and place across; the weaker of the two decides.

    ``allowed`` is the least and the most distance of a pair in columns. The clearest come first.
    """
    stack, offsets = roundness(blade)
    unit = unit_of(blade)
    # twins may differ a little: by a step in radius, a tenth of the half width across
    lenient = np.stack([stack[max(0, k - 1) : k + 2].max(axis=0) for k in range(len(stack))])
    near_rows = np.flatnonzero(np.abs(blade.strip.across) <= OFF_AXIS)
    across = max(1, round(0.1 * unit))
    kernel = np.ones((2 * across + 1, 1), np.uint8)
    lenient = np.stack([cv2.dilate(layer, kernel) for layer in lenient])
    peaks = peaks_of(stack.max(axis=(0, 1)).astype(np.float64), blade, round(0.2 * unit))
    # a drilled or punched mark sits on the axis, a drop anywhere
    central = np.exp(-0.5 * (offsets / 0.16) ** 2).astype(np.float32)
    logs = np.log(blade.strip.pixels + 6.0)
    pairs = []
    for a, b in combinations(peaks, 2):
        if not allowed[0] <= b - a <= allowed[1]:
            continue
        low = np.minimum(lenient[:, :, a], lenient[:, :, b])
        high = np.maximum(lenient[:, :, a], lenient[:, :, b])
        value = (0.65 * low + 0.35 * high) * central[None, :]
        ring, row = divmod(int(value.argmax()), len(offsets))
        nearby, radius = stack[max(0, ring - 1) : ring + 2].max(axis=0), float(RADII[ring])
        first, second = (_settled(nearby, c, row, across, round(0.2 * unit)) for c in (a, b))
        alike = _alike(logs, (first, second), near_rows[row], radius * unit)
        pairs.append(
            Marks(
                style="two round marks",
                a=first,
                b=second,
                score=float(value.max()) * (0.55 + 0.45 * alike),
                spread=0.085 * unit,
                offset=float(offsets[row]),
                radius=radius,
            )
        )
    return sorted(pairs, key=lambda marks: -marks.score)


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
