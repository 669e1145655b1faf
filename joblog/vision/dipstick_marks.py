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

from dataclasses import replace

import numpy as np

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_hatch import hatched_pairs
from joblog.vision.dipstick_round import round_pairs
from joblog.vision.dipstick_signals import Marks, unit_of

BLADE_MM = (3.0, 12.0)  # widths of blades
USUAL_BLADE_MM = 6.3  # usual width (common practice, no source), and
BLADE_SPREAD = 0.27  # the spread of the logarithm of widths


def find_marks(blade: Blade, mark_distance_mm: float | None) -> list[Marks]:
    """Return possible pairs of marks, the clearest first."""
    allowed = _allowed_gap(blade, mark_distance_mm)
    pairs = [
        replace(
            pair,
            score=pair.score * (0.3 + 0.7 * _fits_blade(blade, pair.b - pair.a, mark_distance_mm)),
        )
        for pair in round_pairs(blade, allowed) + hatched_pairs(blade, allowed)
    ]
    return sorted(pairs, key=lambda marks: -marks.score)


def _allowed_gap(blade: Blade, mark_distance_mm: float | None) -> tuple[float, float]:
    """Return least and greatest distance between marks in columns."""
    width = 2 * unit_of(blade)
    if mark_distance_mm is None:
        return 0.9 * width, 12.0 * width
    return mark_distance_mm / BLADE_MM[1] * width * 0.85, mark_distance_mm / BLADE_MM[0] * width


def _fits_blade(blade: Blade, gap: float, mark_distance_mm: float | None) -> float:
    """Return 0..1: how usual a blade's width would be with marks ``gap`` columns apart."""
    if mark_distance_mm is None:
        return 1.0
    width_mm = 2 * unit_of(blade) / gap * mark_distance_mm
    return float(np.exp(-0.5 * (np.log(width_mm / USUAL_BLADE_MM) / BLADE_SPREAD) ** 2))
