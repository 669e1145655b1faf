"""A second reader of dipsticks: a small network that looks at the unrolled blade as a whole.

The rules (``dipstick_marks``, ``dipstick_level``) know what marks and a wet edge look like and find
them to a fraction of a millimetre; on a blade that looks otherwise they see marks where there are
none. The network learnt from thousands of blades (tools/stick_strip) where the lower mark, the
upper mark and the edge of a coloured fluid lie. On sticks that it had never seen, what it is sure
of was right; clear fluid it can't tell, and says nothing about.
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

ROWS = 40  # across the blade, from -HALF_SPAN to +HALF_SPAN half widths
UNIT = ROWS / (2 * HALF_SPAN)  # samples to a half width, along as across
LONGEST = 1024  # columns; longer strips are taken coarser
INNER = slice(9, 31)  # rows that surely lie on the blade
REACH = 4  # columns to either side that count as one place
SURE = (
    0.7  # share of a place in all columns; of 159 blades not learnt from, all were right above it
)
NEAR = 0.08  # of the marks' distance, within which the rules' marks are the same ones, and finer
PALE = 0.25  # log ratio of colours; an edge of more is no reflection
LIKELY = 0.3  # probability by the network below which a pale edge may be one
CLEAR = 0.2  # how clearly the rules must see them there: no marks come of the network alone


@dataclass(frozen=True)
class StripReading:
    """Columns of the blade's strip, and the least certainty (0..1) of the three.

    ``edges`` is the probability of each column of the network's strip to hold the edge, and
    ``per_column`` how many of these there are to a column of the blade's.
    """

    lower: float
    upper: float
    edge: float
    certainty: float
    edges: NDArray[np.float64]
    per_column: float

    def doubts(self, edge: WetEdge) -> bool:
        """Say whether an edge of little colour lies where the network expects none."""
        place = (edge.column + 0.5) * self.per_column - 0.5
        near = np.abs(np.arange(len(self.edges)) - place) <= 2 * REACH
        return edge.contrast < PALE and float(self.edges[near].sum()) < LIKELY


def strip_of(blade: Blade) -> tuple[NDArray[np.uint8], float]:
    """Return the strip, RGB (ROWS, columns, 3), and its columns to a column of the blade's."""
    pixels = blade.strip.pixels
    columns = min(LONGEST, max(ROWS, round(pixels.shape[1] * UNIT / unit_of(blade))))
    eight = np.clip(pixels, 0, 255).astype(np.uint8)
    small = cv2.resize(eight, (columns, ROWS), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), columns / pixels.shape[1]


def read_strip(blade: Blade) -> StripReading:
    """Return where the network sees the marks and the edge: the mean of four looks, mirrored."""
    pixels, per_column = strip_of(blade)
    log = np.log(pixels.astype(np.float32) + 6).transpose(2, 0, 1)
    log -= log[:, INNER].mean(axis=(1, 2))[:, None, None]
    look = np.concatenate([log, np.ones_like(log[:1])])
    looks = np.stack([look, look[:, :, ::-1], look[:, ::-1], look[:, ::-1, ::-1]])
    logits = network("stick-strip")(looks)[:, :3].astype(np.float64)
    chance = np.exp(logits - logits.max(axis=2, keepdims=True))
    chance /= chance.sum(axis=2, keepdims=True)
    chance[1::2] = chance[1::2, :, ::-1]
    mean = chance.mean(axis=0)
    window = np.ones(2 * REACH + 1)
    near = np.stack([np.convolve(row, window, "same") for row in mean])
    columns = np.arange(mean.shape[1])
    inside = np.abs(columns - near.argmax(axis=1)[:, None]) <= REACH
    places = (mean * inside @ columns) / (mean * inside).sum(axis=1)
    lower, upper, edge = (places + 0.5) / per_column - 0.5
    return StripReading(lower, upper, edge, float(near.max(axis=1).min()), mean[2], per_column)


def marks_and_edge(
    blade: Blade, seen: StripReading, pairs: list[Marks], mark_distance_mm: float | None
) -> tuple[Marks, WetEdge] | None:
    """Return what the network is sure of, as exactly as the rules can place it; else None.

    ``pairs`` are what the rules may take for marks. Nothing is returned where none of them lies
    there, where the fluid has no colour, or where the marks don't fit a known distance.
    """
    if seen.certainty < SURE:
        return None
    marks = _marks(pairs, seen)
    if marks is None:
        return None
    if mark_distance_mm is not None and not fits_width(blade, marks, mark_distance_mm):
        return None
    edge = edge_at(blade, marks, seen.edge)
    if edge is None or edge.contrast <= FAINT:
        return None
    tip_first = seen.lower < seen.upper
    return marks, replace(edge, wet_first=tip_first, wet_evidence=1.0, probability=seen.certainty)


def _marks(pairs: list[Marks], seen: StripReading) -> Marks | None:
    """Return the clearest pair of the rules that lies where the network sees the marks."""
    a, b = sorted((seen.lower, seen.upper))
    same = [p for p in pairs if max(abs(p.a - a), abs(p.b - b)) < NEAR * (b - a)]
    best = max(same, key=lambda pair: pair.clearness, default=None)
    return best if best is not None and best.clearness >= CLEAR else None
