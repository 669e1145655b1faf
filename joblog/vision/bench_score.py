"""How far readings are from a labelled folder's truth: plain arithmetic, no pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from joblog.vision.types import DipstickReading, FluidReading, PlugReading, Reading

LEAST_FLAKE_MM = 0.3
KIND_OF_PREFIX = {"plug": "plug", "stick": "dipstick", "swatch": "fluid"}


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
    fields = {
        "plug": "plug_outer_diameter_mm",
        "dipstick": "level_fraction",
        "fluid": "fluid_lab_d65_relative_to_paper",
    }
    for kind, key in fields.items():
        if key in truth:
            return kind
    return KIND_OF_PREFIX.get(name.split("-", maxsplit=1)[0].split(".", maxsplit=1)[0])


def add_score(scores: Scores, name: str, truth: Mapping[str, Any], reading: Reading) -> None:
    """Add one photo's reading; numbers of photos wrongly called unusable count nowhere else."""
    scores.photos += 1
    if reading.usable == bool(truth["usable"]):
        scores.decided_right += 1
    else:
        scores.wrongly.append(name)
    if not (reading.usable and truth["usable"]):
        return
    if isinstance(reading, DipstickReading) and reading.level_fraction is not None:
        error = abs(reading.level_fraction - truth["level_fraction"])
        scores.level_errors.append(error)
        if reading.level_uncertainty is not None:
            scores.level_covered.append(error <= reading.level_uncertainty)
    elif isinstance(reading, FluidReading) and reading.lab is not None:
        scores.colours.append((reading.lab, tuple(truth["fluid_lab_d65_relative_to_paper"])))
    elif isinstance(reading, PlugReading):
        _add_plug(scores, truth, reading)


def _add_plug(scores: Scores, truth: Mapping[str, Any], reading: PlugReading) -> None:
    if reading.film_coverage is not None:
        scores.film_errors.append(abs(reading.film_coverage - truth["film_coverage"]))
    if reading.magnet_diameter_mm is not None:
        true = truth["magnet_diameter_mm"]
        scores.magnet_errors.append(abs(reading.magnet_diameter_mm / true - 1))
    boxes = [f["bbox_px"] for f in truth["flakes"] if f["length_mm"] >= LEAST_FLAKE_MM]
    centres = [flake.center_px for flake in reading.flakes]
    scores.flakes_right += matched(boxes, centres)
    scores.flakes_found += len(centres)
    scores.flakes_true += len(boxes)
    longest = truth["longest_flake_mm"] or 0.0
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
