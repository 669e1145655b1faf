"""Fine streaks on a dipstick's blade: fluid that runs off it shines in thin lines along the blade.

They tell which side of a place is wet where the fluid's colour does not (clear fluid). On 19 of 21
labelled sticks, of any fluid, the wet part shows more of them than the dry one. They are no
evidence for a place by themselves: a lamp's reflection that burns out the blade hides them.
"""

from __future__ import annotations

import cv2
import numpy as np

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_signals import Array, Marks, unit_of

SPAN = 0.8  # half widths to either side of the axis that are looked at
REACH = 2.0  # half widths along the blade that are compared on either side of a place
LEAST = 0.5  # half widths of it that must be seen
UNEVEN = 0.4  # log ratio by which light alone makes one part streakier than another
BURNT = 235.0  # 8-bit: what is brighter in all channels shows no streaks
LEAST_LIGHT = 0.002  # log ratio added: weaker lines are noise


def streaks(blade: Blade, marks: Marks) -> Array:
    """Return log how streaky each column is (length,), NaN where marks, glare or ends hide it.

    Streaks are ridges along the blade: what is lighter than its neighbours across on both sides
    (second difference of log lightness).
    """
    strip, unit = blade.strip, unit_of(blade)
    light = np.log(strip.pixels @ np.array([0.3, 0.5, 0.2], np.float32) + 6.0)
    along = cv2.GaussianBlur(light, (0, 0), sigmaX=max(1.0, 0.1 * unit), sigmaY=0.6)
    step = max(1, round(0.05 * unit))
    ridge = along - (np.roll(along, step, 0) + np.roll(along, -step, 0)) / 2
    shown = np.maximum(ridge, 0.0)[np.abs(strip.across) < SPAN].mean(axis=0)
    found = np.asarray(np.log(shown + LEAST_LIGHT), np.float64)
    columns = np.arange(len(found))
    if marks.radius > 0:
        hidden = np.minimum(np.abs(columns - marks.a), np.abs(columns - marks.b)) < 0.45 * unit
    else:
        hidden = (columns > marks.a - 0.35 * unit) & (columns < marks.b + 0.35 * unit)
    inner = strip.pixels[np.abs(strip.across) < SPAN]
    hidden |= (inner.min(axis=2) > BURNT).mean(axis=0) > 0.2
    hidden |= (columns < blade.first + 0.3 * unit) | (columns > blade.last - 0.3 * unit)
    found[hidden] = np.nan
    return found


def streakier_before(found: Array, column: int, unit: float) -> float:
    """Return by how much the blade is streakier before a column than after it, -1 to 1; 0: unknown.

    ``found`` is what :func:`streaks` gave, ``unit`` samples per half width.
    """
    gap, reach = round(0.15 * unit), round(REACH * unit)
    sides = (found[max(0, column - reach) : max(0, column - gap)], found[column + gap :][:reach])
    seen = [side[~np.isnan(side)] for side in sides]
    if min(len(side) for side in seen) < LEAST * unit:
        return 0.0
    more = float(np.median(seen[0]) - np.median(seen[1]))
    return float(np.sign(more) * np.clip((abs(more) - UNEVEN) / (1.0 - UNEVEN), 0.0, 1.0))
