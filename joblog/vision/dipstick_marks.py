"""Find a dipstick's two marks on its unrolled blade.

Three kinds are known: two round holes, two round dots (dimples), and a cross-hatched zone between
two notches. The rules:

* A round mark is a circle near the blade's middle all of whose rim steps the same way, darker or
  lighter. Drops, letters and scratches lack one of: roundness, place, or a twin of equal size.
* A hatched zone is a stretch with lines along both diagonals; its ends are where a line crosses
  the whole blade and, mostly, where a notch bites into one side or both.
* Each kind gives its pairs and how clearly they are seen; the clearest wins, and where none is
  clear there are no marks.
* A known distance only weighs pairs by the blade's width that it implies. It can't make up for
  marks that are seen less clearly: ``fits_distance`` says whether what is seen agrees with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_hatch import hatched_pairs
from joblog.vision.dipstick_round import round_pairs
from joblog.vision.dipstick_signals import Marks, unit_of

BLADE_MM = (3.0, 12.0)  # widths of blades
USUAL_BLADE_MM = 6.3  # usual width (common practice, no source), and
BLADE_SPREAD = 0.35  # the spread of the logarithm of widths
# 5 to 8 mm (common practice, no source), and as much wider or narrower as a tilt makes them look.
SURE_BLADE_MM = (4.5, 9.0)
CLEARER = 0.05  # a pair elsewhere that is clearer by more than this contradicts the distance


def find_marks(blade: Blade, mark_distance_mm: float | None) -> list[Marks]:
    """Return possible pairs of marks, the best first.

    Those that a known distance rules out are among them with score 0: what is seen clearly tells,
    too.
    """
    width = 2 * unit_of(blade)
    allowed = 0.9 * width, 12.0 * width
    pairs = [
        replace(
            pair, clearness=pair.score, score=pair.score * _weight(blade, pair, mark_distance_mm)
        )
        for pair in round_pairs(blade, allowed) + hatched_pairs(blade, allowed)
    ]
    return sorted(pairs, key=lambda marks: -marks.score)


def fits_distance(blade: Blade, pairs: Sequence[Marks], mark_distance_mm: float) -> bool:
    """Say whether the first of ``pairs`` fits the distance and nothing clearer lies elsewhere.

    Without the distance the clearest pair would be taken: where that is another one, either the
    distance is wrong or a drop or the wet edge passes for a mark. Which, nobody can tell.
    """
    clearest = max((pair.clearness for pair in elsewhere(pairs)), default=0.0)
    usual = fits_width(blade, pairs[0], mark_distance_mm)
    return usual and clearest <= pairs[0].clearness + CLEARER


def fits_width(blade: Blade, pair: Marks, mark_distance_mm: float) -> bool:
    """Say whether the blade would be as wide as blades are, were these the marks."""
    low, high = SURE_BLADE_MM
    return low <= _width_mm(blade, pair, mark_distance_mm) <= high


def elsewhere(pairs: Sequence[Marks]) -> list[Marks]:
    """Return the pairs that lie elsewhere than the first."""
    best = pairs[0]
    apart = 0.06 * (best.b - best.a)
    return [pair for pair in pairs if max(abs(pair.a - best.a), abs(pair.b - best.b)) > apart]


def _weight(blade: Blade, pair: Marks, mark_distance_mm: float | None) -> float:
    """Return 0..1: how usual the blade's width would be if these were the marks."""
    if mark_distance_mm is None:
        return 1.0
    width_mm = _width_mm(blade, pair, mark_distance_mm)
    if not BLADE_MM[0] <= width_mm <= BLADE_MM[1] / 0.85:
        return 0.0
    usual = np.exp(-0.5 * (np.log(width_mm / USUAL_BLADE_MM) / BLADE_SPREAD) ** 2)
    return float(0.3 + 0.7 * usual)


def _width_mm(blade: Blade, pair: Marks, mark_distance_mm: float) -> float:
    """Return the blade's width in mm if these marks lay as far apart as is known."""
    return 2 * unit_of(blade) / (pair.b - pair.a) * mark_distance_mm
