"""The cross-hatched zone of a dipstick, between two notches or two lines across."""

from __future__ import annotations

import cv2
import numpy as np

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_signals import Array, Marks, box, log_lightness, peaks_of, unit_of


def hatched_pairs(blade: Blade, allowed: tuple[float, float]) -> list[Marks]:
    """Return pairs of ends of a hatched zone, ``allowed`` columns apart, the clearest first."""
    hatch, rise, line, notch = hatch_signals(blade)
    unit = unit_of(blade)
    ends = [
        peaks_of(0.4 * np.clip(sign * rise, 0, 1) + 0.9 * line + notch, blade, round(0.12 * unit))
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
            # hatching must begin at both ends: the wet edge beyond a zone is a line across, too
            reach = min(around, (b - a) // 2)
            within = min(total[a + reach] - total[a], total[b] - total[b - reach]) / reach
            inside = 0.5 * inside + 0.5 * min(inside, within)
            # and it must stop at both
            outside = max(beside)
            # where it is only seen less well there is no line and no notch
            end = [
                0.25 * min(1.0, max(0.0, sign * rise[c])) + 0.9 * line[c] + notch[c]
                for c, sign in ((a, 1), (b, -1))
            ]
            value = 0.6 * (inside - outside) + 0.5 * (min(end) * 0.8 + max(end) * 0.2)
            style = "cross-hatched zone between two notches"
            first, second = (_end_of_zone(c, notch, line, unit) for c in (a, b))
            pairs.append(Marks(style, first, second, float(value), 0.08 * unit))
    return sorted(pairs, key=lambda marks: -marks.score)


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
    """Return along the blade, each (length,): hatching, its rise, lines straight across, notches.

    Hatching is 0 to about 1 where gradients stand on both diagonals, judged by their doubled angle,
    which tells a line's direction from either side; its rise is what lies behind a column less what
    lies before. Lines reach 0.8 and notches 1. Factors are our own, set on rendered sticks.
    """
    unit = unit_of(blade)
    rows = np.abs(blade.strip.across) < 0.82
    image = cv2.GaussianBlur(log_lightness(blade), (0, 0), max(0.9, 0.03 * unit))
    dy, dx = np.gradient(image)
    dx, dy = dx[rows], dy[rows]
    length = np.hypot(dx, dy)
    strength = length / (length + 2.0 + 0.7 * float(np.median(length)))
    # sin 2a of the gradient's direction: +1 on one diagonal, -1 on the other, 0 along and across
    diagonal = 2 * dx * dy / (length + 1e-6) ** 2
    weight = strength * np.abs(diagonal)
    both = [box((weight * (diagonal * sign > 0.4)).mean(axis=0), 0.5 * unit) for sign in (1, -1)]
    share = np.minimum(*both) / (box(strength.mean(axis=0), 0.5 * unit) + 0.03)
    hatch = np.minimum(*both) * 5 * np.clip(share / 0.25, 0, 1.2)
    reach = max(2, round(0.6 * unit))
    padded = np.pad(hatch, reach, mode="edge")
    rise = padded[2 * reach :] - padded[: -2 * reach]
    across = (dx / (length + 1e-6) * strength).mean(axis=0)
    line = np.abs(across) - box(np.abs(across), 1.2 * unit)
    # two witnesses of a notch: the followed side bends in, and the ground shows inside the side
    bent, seen = np.clip(blade.inset, 0, 0.4).sum(axis=0), _bites(blade)
    notch = 2.5 * _bump(bent, unit) + 1.2 * np.clip(_bump(seen, unit), 0, 0.5)
    line = cv2.GaussianBlur(line[None], (0, 0), max(1.0, 0.05 * unit))[0]
    return hatch, rise, np.clip(line * 2, 0, 0.8), np.clip(notch, 0, 1)


def _bump(signal: Array, unit: float) -> Array:
    """Return how far a signal stands above its surroundings on both sides, as a notch does."""
    inner = box(signal, 0.4 * unit)
    shift = round(0.8 * unit)
    side = np.pad(box(signal, 0.4 * unit), shift, mode="edge")
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
