"""What a dipstick says: from columns of its strip to a level, and from several shots to one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_level import WetEdge, tip_first
from joblog.vision.dipstick_signals import Marks
from joblog.vision.types import DipstickReading, Photo, Point

Array = NDArray[np.float64]


def reading_of(photo: Photo, blade: Blade, marks: Marks, edge: WetEdge) -> DipstickReading:
    """Turn columns into a level, with perspective and uncertainty."""
    lower_first = _lower_first(blade, marks, edge)
    lower, upper = (marks.a, marks.b) if lower_first else (marks.b, marks.a)
    metric = _metric(blade)
    places = np.interp([lower, upper, edge.column], np.arange(len(metric)), metric)
    level = float((places[2] - places[0]) / (places[1] - places[0]))
    straight = (edge.column - lower) / (upper - lower)
    gap = abs(marks.b - marks.a)
    marks_part = marks.spread / gap * np.hypot(1 - level, level)
    standard = np.sqrt(
        (edge.spread / gap) ** 2 + marks_part**2 + (0.4 * (level - straight)) ** 2 + 0.004**2
    )
    tip = blade.first if lower_first else blade.last
    ends = (blade.first, blade.last) if lower_first else (blade.last, blade.first)
    return DipstickReading(
        usable=True,
        level_fraction=level,
        level_uncertainty=float(2.0 * standard),
        mark_style=marks.style,
        lower_mark_px=_point(photo, blade, lower, marks.offset),
        upper_mark_px=_point(photo, blade, upper, marks.offset),
        wet_edge_px=_point(photo, blade, edge.column),
        tip_px=_point(photo, blade, tip),
        blade_edges_at_level_px=(
            _point(photo, blade, edge.column, -1.0),
            _point(photo, blade, edge.column, 1.0),
        ),
        axis_px=tuple(_point(photo, blade, float(c)) for c in np.linspace(*ends, 24)),
    )


def _lower_first(blade: Blade, marks: Marks, edge: WetEdge) -> bool:
    """Say whether the lower mark is the one at the lower column: the tip is wet, the grip dry."""
    odds = 4.0 * edge.wet_evidence * (1 if edge.wet_first else -1)
    odds += tip_first(blade, marks)
    return odds > 0


def _metric(blade: Blade) -> Array:
    """Return true distance along the blade at each column, up to a factor.

    A blade of constant width that leans away looks narrower as 1/distance and shorter along its
    length as 1/distance squared, so each column counts for 1/width squared. The width is taken as
    changing evenly: twist and edges badly seen must not bend the scale.
    """
    columns = np.arange(len(blade.strip.half_width))
    seen = slice(blade.first, blade.last + 1)
    line = np.polynomial.Polynomial.fit(columns[seen], blade.strip.half_width[seen], 1)
    width = np.maximum(line(columns), 0.3 * float(np.median(blade.strip.half_width)))
    return np.asarray(np.cumsum((float(np.median(width)) / width) ** 2))


def _point(photo: Photo, blade: Blade, column: float, across: float = 0.0) -> Point:
    strip = blade.strip
    columns = np.arange(len(strip.axis))
    place = [
        np.interp(
            column, columns, strip.axis[:, k] + across * strip.half_width * strip.normal[:, k]
        )
        for k in range(2)
    ]
    return photo.to_original(float(value) for value in place)


def combine_dipstick(readings: Sequence[DipstickReading]) -> DipstickReading:
    """Return one reading from two or more shots of the same stick.

    Levels are weighed by 1 / uncertainty squared. Where they lie further apart than their
    uncertainties allow, the uncertainty is widened to cover them and ``notes`` says so; where they
    differ by more than a fifth of the mark distance the result isn't usable.
    """
    used = [r for r in readings if r.usable and r.level_fraction is not None]
    if not used:
        return readings[0] if readings else DipstickReading(usable=False, why="no photo was given")
    if len(used) == 1:
        note = "only one of the shots could be used" if len(readings) > 1 else ""
        return replace(used[0], notes=(*used[0].notes, note) if note else used[0].notes)
    levels = np.array([r.level_fraction for r in used], np.float64)
    widths = np.maximum([r.level_uncertainty or 0.05 for r in used], 1e-3)
    weights = 1 / widths**2
    level = float(weights @ levels / weights.sum())
    width = float(1 / np.sqrt(weights.sum()))
    apart = float(levels.max() - levels.min())
    best = used[int(np.argmin(widths))]
    said = ", ".join(f"{value:.2f}" for value in levels)
    if apart > 0.2:
        why = f"the shots disagree (levels {said}): wipe, dip again and take both photos anew"
        return replace(best, usable=False, why=why, level_fraction=None, level_uncertainty=None)
    notes = best.notes
    if apart > float(np.hypot(*np.sort(widths)[-2:])):
        width = max(width, apart / 2 + float(widths.min()))
        notes = (*notes, f"the shots disagree (levels {said}); the uncertainty covers both")
    return replace(best, level_fraction=level, level_uncertainty=width, notes=notes)
