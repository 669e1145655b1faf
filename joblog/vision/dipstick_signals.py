"""What both kinds of dipstick marks need: their type, and signals along an unrolled blade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade
from joblog.vision.tone import without_shoulder

Array = NDArray[np.float64]

MOST_OVER = 0.9  # share of the way from a camera's shoulder to white that is undone


@dataclass(frozen=True)
class Marks:
    """Two marks as columns of the strip, ``a`` < ``b``, not yet told lower from upper.

    ``spread`` is the standard uncertainty of either column; ``clearness`` (0 and up, about 1 at the
    clearest) says how clearly the two are seen, and ``score`` the same weighed by how well they fit
    a known distance. ``offset`` is their distance from the axis, ``radius`` that of round ones, 0
    of others, both in half widths.
    """

    style: str
    a: float
    b: float
    score: float
    spread: float
    offset: float = 0.0
    radius: float = 0.0
    clearness: float = 0.0


def unit_of(blade: Blade) -> float:
    """Return the columns of the strip per half width of the blade, the unit of all windows."""
    return float(np.median(blade.strip.half_width)) / blade.strip.pitch


def straightened(rgb: Array) -> Array:
    """Return encoded colours 0..255 with a camera's compression of highlights undone."""
    return 255.0 * without_shoulder(rgb / 255.0, MOST_OVER)


def log_lightness(blade: Blade) -> NDArray[np.float32]:
    """Return the logarithm of the strip's lightness (rows, length), scaled to 0..255.

    Light and shade multiply what is seen: in the logarithm a mark is as deep in the shade.
    """
    pixels = blade.strip.pixels @ np.array([0.3, 0.5, 0.2], np.float32)
    # 6 of 255 are added, for below them there is noise; 67.5 takes white to 255
    return np.asarray(np.clip(np.log1p(pixels / 6.0) * 67.5, 0, 255), np.float32)


def peaks_of(signal: Array, blade: Blade, apart: int) -> list[int]:
    """Return the columns, in order, of a signal's highest values within the blade, at most 12.

    Non-maximum suppression: each keeps others 2 x ``apart`` columns away.
    """
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


def box(signal: Array, width: float) -> Array:
    """Return a signal's running mean over about ``width`` columns, same length, ends carried on."""
    window = max(3, round(width))
    padded = np.pad(signal, (window // 2, window - 1 - window // 2), mode="edge")
    return np.convolve(padded, np.ones(window) / window, "valid")
