"""A second reader of dipsticks: small networks that look at the unrolled blade as a whole.

The rules (``dipstick_marks``, ``dipstick_level``) know what marks and a wet edge look like and find
them to a fraction of a millimetre; on a blade that looks otherwise they see marks where there are
none, and clear fluid they hardly see at all. Five networks learnt from thousands of blades
(tools/stick_strip) where the lower mark, the upper mark and the wet edge lie; the mean of what they
say counts, so where they differ nothing is sure. What is hidden they learnt to call unsure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import HALF_SPAN, Blade
from joblog.vision.dipstick_level import FAINT, WetEdge, edge_at
from joblog.vision.dipstick_marks import fits_width
from joblog.vision.dipstick_signals import Marks, unit_of
from joblog.vision.networks import network

ROWS = 60  # across the blade, from -HALF_SEEN to +HALF_SEEN half widths
HALF_SEEN = 1.2
UNIT = ROWS / (2 * HALF_SEEN)  # samples to a half width, along as across
LONGEST = 2048  # columns; longer strips are taken coarser
COARSER = 2  # columns of the strip to one of the networks' answer
INNER = slice(9, 51)  # rows that surely lie on the blade
REACH = 4  # columns of the answer to either side that count as one place
# Share of a place in all columns; of 210 coloured sticks not learnt from all were right.
SURE = 0.55
SURE_OF_CLEAR = 0.85  # the same where the fluid has no colour that would tell wet from dry
FAIRLY_SURE = 0.5  # the same, where the rules see the same places
OF_THE_MEAN = 0.82  # standard uncertainty of rules and networks together, to that of the rules
NEAR = 0.08  # of the marks' distance, within which what the rules see is the same
PALE = 0.25  # log ratio of colours; an edge of more is no reflection
LIKELY = 0.3  # probability by the networks below which a pale edge is none
UNLIKELY = 0.15  # the same of marks and other edges; 316 right ones had 0.23 and more
CLEAR = 0.2  # how clearly the rules must see them there: no marks come of the networks alone
LEAST_EVIDENCE = 0.5  # of colour for a wet side, which the networks must not contradict
UNCOLOURED_SPREAD = 0.1  # half widths: standard deviation of an edge that the networks place


@dataclass(frozen=True)
class StripReading:
    """Columns of the blade's strip for both marks and the edge, and the least certainty (0..1).

    ``chances`` is the probability of each column of the networks' answer to hold the lower mark,
    the upper mark and the edge, shape (3, columns); ``per_column`` is how many of these there are
    to a column of the blade's strip.
    """

    lower: float
    upper: float
    edge: float
    certainty: float
    chances: NDArray[np.float64]
    per_column: float

    def doubts_marks(self, marks: Marks) -> bool:
        """Say whether one of the marks lies where the networks expect none."""
        a, b = marks.a, marks.b
        either = [min(self._near(0, low), self._near(1, high)) for low, high in ((a, b), (b, a))]
        return max(either) < UNLIKELY

    def doubts_edge(self, marks: Marks, edge: WetEdge) -> bool:
        """Say whether the edge lies where the networks expect none; of a pale one more is asked."""
        if edge.contrast >= PALE:
            return self._near(2, edge.column) < UNLIKELY
        apart = abs(edge.column - self.edge) > NEAR * (marks.b - marks.a)
        return apart or self._near(2, edge.column) < LIKELY

    def told_by(self, edge: WetEdge, unit: float) -> WetEdge | None:
        """Return an edge as its colour tells it, and as the networks do where it has none.

        None where it has none and the networks are not sure. ``unit`` is the samples per half
        width.
        """
        if edge.contrast > FAINT:
            return edge
        if self.certainty < SURE_OF_CLEAR:
            return None
        return replace(
            edge,
            column=self.edge,
            spread=UNCOLOURED_SPREAD * unit,
            wet_first=self.lower < self.upper,
            wet_evidence=1.0,
        )

    def refined(self, marks: Marks, edge: WetEdge) -> tuple[Marks, WetEdge]:
        """Return marks and edge midway between the rules' places and the networks'.

        Only where the networks are fairly sure and see the same ones; their errors have little in
        common with the rules', so the mean is nearer than either.
        """
        gap = marks.b - marks.a
        a, b = sorted((self.lower, self.upper))
        apart = max(abs(a - marks.a), abs(b - marks.b), abs(self.edge - edge.column))
        if self.certainty < FAIRLY_SURE or apart > NEAR * gap:
            return marks, edge
        middle = replace(
            marks,
            a=(marks.a + a) / 2,
            b=(marks.b + b) / 2,
            spread=marks.spread * OF_THE_MEAN,
        )
        column = (edge.column + self.edge) / 2
        return middle, replace(edge, column=column, spread=edge.spread * OF_THE_MEAN)

    def _near(self, which: int, column: float) -> float:
        """Return the probability, by the networks, that mark or edge lies around a column."""
        place = (column + 0.5) * self.per_column - 0.5
        near = np.abs(np.arange(self.chances.shape[1]) - place) <= 2 * REACH
        return float(self.chances[which, near].sum())


def strip_of(blade: Blade) -> tuple[NDArray[np.uint8], float]:
    """Return the strip, RGB (ROWS, columns, 3), and its columns to a column of the blade's."""
    rows = blade.strip.pixels.shape[0]
    outer = round(rows * (1 - HALF_SEEN / HALF_SPAN) / 2)
    pixels = blade.strip.pixels[outer : rows - outer]
    factor = UNIT / unit_of(blade)
    columns = COARSER * round(pixels.shape[1] * factor / COARSER)
    columns = min(LONGEST, max(2 * ROWS, columns))
    eight = np.clip(pixels, 0, 255).astype(np.uint8)
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    small = cv2.resize(eight, (columns, ROWS), interpolation=way)
    return np.asarray(small, np.uint8), columns / pixels.shape[1]


def read_strip(blade: Blade) -> StripReading:
    """Return where the networks see the marks and the edge: the mean of two looks, one turned.

    Each place is the centroid of the likeliest peak. ModelError where the networks' file is missing
    or altered.
    """
    pixels, per_column = strip_of(blade)
    log = np.log(pixels.astype(np.float32) + 6).transpose(2, 0, 1)
    log -= log[:, INNER].mean(axis=(1, 2))[:, None, None]
    look = np.concatenate([log, np.ones_like(log[:1])])
    chance = network("stick-strip")(np.stack([look, look[:, ::-1, ::-1]])).astype(np.float64)
    mean = (chance[0] + chance[1, :, ::-1]) / 2
    per_column /= COARSER
    window = np.ones(2 * REACH + 1)
    near = np.stack([np.convolve(row, window, "same") for row in mean])
    columns = np.arange(mean.shape[1])
    inside = np.abs(columns - near.argmax(axis=1)[:, None]) <= REACH
    places = (mean * inside @ columns) / (mean * inside).sum(axis=1)
    lower, upper, edge = (places + 0.5) / per_column - 0.5
    return StripReading(lower, upper, edge, float(near.max(axis=1).min()), mean, per_column)


def marks_and_edge(
    blade: Blade, seen: StripReading, pairs: list[Marks], mark_distance_mm: float | None
) -> tuple[Marks, WetEdge] | None:
    """Return what the networks are sure of and the rules see, too; else None.

    ``pairs`` are what the rules may take for marks. Nothing is returned where none of them lies
    there, or where the marks don't fit a known distance. An edge without colour is taken as the
    networks place it.
    """
    if seen.certainty < SURE:
        return None
    marks = _marks(pairs, seen)
    if marks is None:
        return None
    if mark_distance_mm is not None and not fits_width(blade, marks, mark_distance_mm):
        return None
    found = edge_at(blade, marks, seen.edge)
    edge = None if found is None else seen.told_by(found, unit_of(blade))
    if edge is None:
        return None
    tip_first = seen.lower < seen.upper
    if edge.wet_first != tip_first and edge.wet_evidence > LEAST_EVIDENCE:
        return None  # colour says that the other side is wet
    marks, edge = seen.refined(marks, edge)
    return marks, replace(edge, wet_first=tip_first, wet_evidence=1.0, probability=seen.certainty)


def _marks(pairs: list[Marks], seen: StripReading) -> Marks | None:
    """Return the clearest pair of the rules that lies where the networks see the marks."""
    a, b = sorted((seen.lower, seen.upper))
    same = [p for p in pairs if max(abs(p.a - a), abs(p.b - b)) < NEAR * (b - a)]
    best = max(same, key=lambda pair: pair.clearness, default=None)
    return best if best is not None and best.clearness >= CLEAR else None
