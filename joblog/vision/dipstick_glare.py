"""Does the wet edge lie under glare?

A lamp's haze across the blade has an edge of its own, and where it is burnt out nothing of the
fluid's is left: the edge may be anywhere under it. Dry steel can be burnt out as well and ends at
the fluid, but sharply. Lengths are in half widths of the blade; limits were set on rendered sticks
(docs/eye.md).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_level import WetEdge
from joblog.vision.dipstick_signals import unit_of

_BURNT = 245  # least channel, 8-bit
_LEAST_RUN = 0.8  # of columns burnt out across the blade
_SOFT = 0.2  # least length over which glare fades into the fluid
# Of what the glare adds to the fluid so much is left where it begins to fade and where it is gone.
# Dry steel that is as bright as what counts for burnt ends there by chance, its edge lies further.
_FADING, _FADED = 0.9, 0.25
_SEEN = 4.0  # how far beyond the glare the blade is looked at
_PLATEAU = 2.0  # from where on it is taken for free of glare


def in_glare(blade: Blade, edge: WetEdge) -> bool:
    """Say whether a burnt piece lies at the wet edge that fades softly into the fluid."""
    strip, unit = blade.strip, unit_of(blade)
    inner = strip.pixels[np.abs(strip.across) < 0.7]
    least = np.median(inner.min(axis=2), axis=0)
    run = _burnt_run(least, edge.column, unit)
    if run is None or run[1] - run[0] < _LEAST_RUN * unit:
        return False
    sides = [least[: run[0]][::-1], least[run[1] :]]
    wet, dry = (side[: int(_SEEN * unit)] for side in (sides if edge.wet_first else sides[::-1]))
    if min(len(wet), len(dry)) < unit:  # it goes on to the end: dry steel
        return False
    return _fading(wet, unit) >= _SOFT


def _burnt_run(least: NDArray[np.floating], at: float, unit: float) -> tuple[int, int] | None:
    """Return begin and end of the burnt columns nearest to ``at``; None for none within a unit."""
    burnt = np.flatnonzero(least >= _BURNT)
    if not len(burnt) or np.abs(burnt - at).min() > unit:
        return None
    middle = int(burnt[np.abs(burnt - at).argmin()])
    seen = np.flatnonzero(least < _BURNT)
    before, behind = seen[seen < middle], seen[seen > middle]
    begin = int(before[-1]) + 1 if len(before) else 0
    return begin, int(behind[0]) if len(behind) else len(least)


def _fading(side: NDArray[np.floating], unit: float) -> float:
    """Return over what length the light beside glare fades to what lies beyond it."""
    beyond = float(np.median(side[int(min(_PLATEAU * unit, 0.6 * len(side))) :]))
    added = (side - beyond) / max(250 - beyond, 1.0)
    faded = np.flatnonzero(added <= _FADED)
    if not len(faded):
        return 0.0
    bright = np.flatnonzero(added[: faded[0]] > _FADING)
    begin = int(bright[-1]) + 1 if len(bright) else 0
    return float(faded[0] - begin) / unit
