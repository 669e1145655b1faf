"""How far readings are from a labelled folder's truth: plain arithmetic, no pictures.

A label that a folder doesn't give is no mistake: what hangs on it is left out of the figures.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from joblog.measure.colour import srgb_to_lab
from joblog.vision.types import DipstickReading, FluidReading, PlugReading, Reading

LEAST_FLAKE_MM = 0.3
KIND_OF_PREFIX = {
    "plug": "plug",
    "stick": "dipstick",
    "dipstick": "dipstick",
    "swatch": "fluid",
    "fluid": "fluid",
}
FIELDS = {
    "plug_outer_diameter_mm": "plug",
    "level_fraction": "dipstick",
    "mark_distance_mm": "dipstick",
    "fluid_lab_d65_relative_to_paper": "fluid",
    "fluid_srgb_d65_relative_to_paper": "fluid",
}


@dataclass
class Scores:
    """Everything counted over a folder; lists hold one number a photo."""

    decided_right: int = 0
    photos: int = 0
    wrongly: list[str] = field(default_factory=list)
    level_errors: list[float] = field(default_factory=list)
    level_covered: list[bool] = field(default_factory=list)
    film_errors: list[float] = field(default_factory=list)
    flakes_right: int = 0
    flakes_found: int = 0
    flakes_true: int = 0
    longest_right: list[bool] = field(default_factory=list)
    magnet_errors: list[float] = field(default_factory=list)
    colours: list[tuple[tuple[float, ...], tuple[float, ...]]] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    @property
    def f1(self) -> float | None:
        """F1 of flakes over all photos: 2 x right / (found + true)."""
        total = self.flakes_found + self.flakes_true
        return 2 * self.flakes_right / total if total else None


def kind_of(name: str, truth: Mapping[str, Any]) -> str | None:
    """Return which measurement a labelled photo is for, by its truth or else by its name."""
    stated = truth.get("kind")
    if isinstance(stated, str) and stated in KIND_OF_PREFIX:
        return KIND_OF_PREFIX[stated]
    for key, kind in FIELDS.items():
        if key in truth:
            return kind
    return KIND_OF_PREFIX.get(re.split(r"[-_. ]", name.rpartition("/")[2].lower(), maxsplit=1)[0])


def is_usable(truth: Mapping[str, Any]) -> bool:
    """Say whether the picture can be measured: so it is labelled, or nothing says it isn't."""
    return bool(truth.get("usable", True))


def number(truth: Mapping[str, Any], key: str) -> float | None:
    """Return a labelled number; None where there is none."""
    value = truth.get(key)
    return float(value) if isinstance(value, (int, float)) and np.isfinite(value) else None


def known_mm(kind: str, truth: Mapping[str, Any]) -> float | None:
    """Return the labelled size that a reading needs: a plug's diameter, a stick's mark distance."""
    key = {"plug": "plug_outer_diameter_mm", "dipstick": "mark_distance_mm"}.get(kind, "")
    value = number(truth, key)
    return value if value is not None and 0 < value < 1000 else None


def true_lab(truth: Mapping[str, Any]) -> tuple[float, ...] | None:
    """Return the labelled colour in CIELAB, the paper white; from 8-bit sRGB where only that is."""
    lab = _numbers(truth.get("fluid_lab_d65_relative_to_paper"), 3)
    codes = _numbers(truth.get("fluid_srgb_d65_relative_to_paper"), 3)
    if lab is not None or codes is None:
        return lab
    return srgb_to_lab(*(min(255.0, max(0.0, code)) for code in codes))


def true_flakes(truth: Mapping[str, Any]) -> tuple[list[tuple[float, ...]] | None, float | None]:
    """Return the boxes of the labelled flakes of 0.3 mm or more, and the longest's length in mm.

    None for the boxes where one has none, None for the length where no lengths are labelled.
    """
    rows = truth.get("flakes", truth.get("flakes_mm"))
    longest = number(truth, "longest_flake_mm")
    if not isinstance(rows, list):
        return None, longest
    plain = [row if isinstance(row, Mapping) else {"length_mm": row} for row in rows]
    lengths = [number(row, "length_mm") for row in plain]
    known = [length for length in lengths if length is not None]
    if len(known) < len(plain):
        return None, longest
    large = [row for row, length in zip(plain, known, strict=True) if length >= LEAST_FLAKE_MM]
    boxes = [box for row in large if (box := _numbers(row.get("bbox_px"), 4)) is not None]
    longest = max(known, default=0.0) if longest is None else longest
    return (boxes if len(boxes) == len(large) else None), longest


def _numbers(value: Any, count: int) -> tuple[float, ...] | None:
    """Return ``value`` where it is a list of so many numbers."""
    if not isinstance(value, (list, tuple)) or len(value) != count:
        return None
    plain = {str(place): each for place, each in enumerate(value)}
    found = [each for place in plain if (each := number(plain, place)) is not None]
    return tuple(found) if len(found) == count else None


def add_score(scores: Scores, name: str, truth: Mapping[str, Any], reading: Reading) -> None:
    """Add one photo's reading; numbers of photos wrongly called unusable count nowhere else."""
    scores.photos += 1
    if reading.usable == is_usable(truth):
        scores.decided_right += 1
    else:
        scores.wrongly.append(name)
    if not (reading.usable and is_usable(truth)):
        return
    if isinstance(reading, DipstickReading):
        level = number(truth, "level_fraction")
        if level is None or reading.level_fraction is None:
            return
        error = abs(reading.level_fraction - level)
        scores.level_errors.append(error)
        if reading.level_uncertainty is not None:
            scores.level_covered.append(error <= reading.level_uncertainty)
    elif isinstance(reading, FluidReading):
        lab = true_lab(truth)
        if lab is not None and reading.lab is not None:
            scores.colours.append((reading.lab, lab))
    elif isinstance(reading, PlugReading):
        _add_plug(scores, truth, reading)


def _add_plug(scores: Scores, truth: Mapping[str, Any], reading: PlugReading) -> None:
    film = number(truth, "film_coverage")
    if film is not None and reading.film_coverage is not None:
        scores.film_errors.append(abs(reading.film_coverage - film))
    if known_mm("plug", truth) is None:
        return  # nothing in the picture has a size
    magnet = number(truth, "magnet_diameter_mm")
    if magnet and reading.magnet_diameter_mm is not None:
        scores.magnet_errors.append(abs(reading.magnet_diameter_mm / magnet - 1))
    boxes, longest = true_flakes(truth)
    if boxes is not None:
        centres = [flake.center_px for flake in reading.flakes]
        scores.flakes_right += matched(boxes, centres)
        scores.flakes_found += len(centres)
        scores.flakes_true += len(boxes)
    if longest is not None:
        off = abs((reading.longest_flake_mm or 0.0) - longest)
        scores.longest_right.append(off <= max(0.08 * longest, 0.15))


def matched(
    boxes: Sequence[Sequence[float]], centres: Sequence[tuple[float, float]], slack: float = 4.0
) -> int:
    """Return how many boxes [x0, y0, x1, y1] have a centre of their own, ``slack`` pixels off."""
    free = list(centres)
    right = 0
    for x0, y0, x1, y1 in boxes:
        inside = [
            c for c in free if x0 - slack <= c[0] <= x1 + slack and y0 - slack <= c[1] <= y1 + slack
        ]
        if inside:
            middle = ((x0 + x1) / 2, (y0 + y1) / 2)
            best = min(inside, key=lambda c: float(np.hypot(c[0] - middle[0], c[1] - middle[1])))
            free.remove(best)
            right += 1
    return right
