"""Find the wet edge along an unrolled blade: a change point, with how sure it is.

The rules:

* Colour is compared as ratios of channels (log-chromaticity), which light and shade don't change,
  and lightness only where colour doesn't tell (clear fluid).
* The blade is cut into lanes along its length. What counts at a column is the middle lane of the
  change there: a streak, a drop or a row of highlights lies in a few lanes only and is outvoted.
* The evidence at a column is how abruptly the colour changes there, weighted by how well a cut
  there splits the whole blade in two (two-segment likelihood). Where colour hardly changes at all,
  the fine streaks on wet metal say which side is wet (``dipstick_streaks``). The peaks, weighed
  against each other and against no edge at all (a softmax), give the probability that the best is
  the edge.
* At the winning place each row finds its own crossing, held together by a smooth path; the level
  is where that path crosses the axis, and the rows' disagreement is part of the uncertainty.

Windows and limits without another source are our own, set on rendered sticks (docs/eye.md).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade
from joblog.vision.dipstick_path import smooth_path
from joblog.vision.dipstick_signals import Marks, straightened, unit_of
from joblog.vision.dipstick_streaks import streakier_before, streaks

Array = NDArray[np.float64]

LANES = 15
LANE_SPAN = 0.84  # lanes cover this much of the half width
FAINT = 0.13  # log ratio: below it the fluid is as good as clear (the faintest coloured: 0.16)
STREAKS = 2.0  # evidence from the most that streaks can tell, and
SURE_OF_TIP = 0.5  # odds of where the tip is, below which they tell nothing
NOTHING = 1.5  # evidence that a blade without any edge shows somewhere
SAME = 0.55  # half widths within which two places are one
EDGE_STEP = 0.15  # what a step of the edge by a column costs from row to row, beside scores of 0.5
_DARK = 5.0  # added to channels before ratios: below it there is only noise


@dataclass(frozen=True)
class WetEdge:
    """The wet edge found: the strip's ``column``, and ``spread``, the standard uncertainty of that.

    ``probability`` is that of this place against all others; ``wet_first`` says that the wet side
    lies towards column 0, as far as colour tells, with ``wet_evidence`` from 0 (none) to 1;
    ``contrast`` is the colour change in log ratio. ``path`` is the column at which each row of the
    lanes crosses the edge.
    """

    column: float
    spread: float
    probability: float
    wet_first: bool
    wet_evidence: float
    contrast: float
    path: Array


def find_wet_edge(blade: Blade, marks: Marks) -> WetEdge | None:
    """Return the wet edge, or None where nothing changes along the blade.

    The marks' own edges don't count in full, and what lies inside a round mark not at all.
    """
    unit = unit_of(blade)
    blade = _with_marks(blade, marks, unit)
    lanes = _lanes(blade)
    avoid = ((marks.a, 0.4 * unit), (marks.b, 0.4 * unit))
    evidence = _evidence(lanes, blade, unit, avoid)
    if _contrast(_step(lanes, unit, 0.8)[:, int(evidence.argmax())]) <= FAINT:
        evidence = evidence + _by_streaks(blade, marks, unit)
    peaks = _peaks(evidence, round(0.3 * unit))
    if not peaks:
        return None
    values = np.array([evidence[peak] for peak in peaks])
    best = peaks[int(values.argmax())]
    weight = np.exp(values)
    weight /= weight.sum() + np.exp(NOTHING)
    # what lies beside the best place is the same one, seen twice
    same = np.abs(np.array(peaks) - best) < SAME * unit
    path, column, spread = _crossing(blade, best, marks)
    change = _step(lanes, unit, 0.8)[:, best]
    if _contrast(change) <= FAINT:
        # a faint edge is rough, and what the other places are worth adds to the uncertainty
        elsewhere = float(np.sqrt(weight @ (np.array(peaks) - best) ** 2))
        spread = float(np.hypot(2.5 * spread + 0.05 * unit, elsewhere))
    return _edge(column, spread, float(weight[same].sum()), change, path)


def edge_at(blade: Blade, marks: Marks, column: float) -> WetEdge | None:
    """Return the wet edge that is known to lie near a column; None where nothing changes there."""
    unit = unit_of(blade)
    blade = _with_marks(blade, marks, unit)
    if not blade.first < column < blade.last:
        return None
    path, crossing, spread = _crossing(blade, round(column), marks)
    if abs(crossing - column) > SAME * unit:
        crossing, spread = column, 0.2 * unit
    change = _step(_lanes(blade), unit, 0.8)[:, round(column)]
    return _edge(crossing, spread, 1.0, change, path)


def _edge(column: float, spread: float, probability: float, change: Array, path: Array) -> WetEdge:
    """Return the wet edge at which colour changes by ``change`` (light, R/G, B/G: log ratios)."""
    redder = float(change[1] - change[2])  # fluids are yellow to red: the redder side is wet
    return WetEdge(
        column=column,
        spread=spread,
        probability=probability,
        wet_first=redder < 0,
        wet_evidence=float(np.clip(abs(redder) / 0.12, 0, 1)),
        contrast=_contrast(change),
        path=path,
    )


def _contrast(change: Array) -> float:
    """Return how much the colour changes, in log ratio, lightness left out."""
    return float(np.hypot(change[1], change[2]))


def _by_streaks(blade: Blade, marks: Marks, unit: float) -> Array:
    """Return what streaks say for or against each column (length,), in nats.

    Towards the tip there must be more.
    """
    told = np.zeros(len(blade.strip.axis))
    side = tip_first(blade, marks)
    if abs(side) < SURE_OF_TIP:
        return told
    found = streaks(blade, marks)
    columns = np.arange(blade.first, blade.last, max(1, round(unit / 10)))
    more = [streakier_before(found, int(column), unit) for column in columns]
    return np.asarray(np.interp(np.arange(len(told)), columns, more) * STREAKS * np.sign(side))


def tip_first(blade: Blade, marks: Marks) -> float:
    """Return the log odds that the tip lies towards column 0, above 0 for yes, by shape alone."""
    inside = np.flatnonzero(blade.strip.inside)
    margin = 0.8 * unit_of(blade)
    # an end seen in the picture is the tip, the grip mostly lies outside
    head, tail = int(inside[0]) + margin, int(inside[-1]) - margin
    odds = 1.5 * (int(blade.first > head) - int(blade.last < tail))
    # and the longer side beyond the marks is the grip's
    before, after = marks.a - blade.first, blade.last - marks.b
    return odds + float(np.tanh((after - before) / max(1.0, 0.3 * (marks.b - marks.a))))


def _with_marks(blade: Blade, marks: Marks, unit: float) -> Blade:
    """Return the blade seen at least as far as its marks and a little more."""
    length = len(blade.strip.axis)
    first = max(0, min(blade.first, round(marks.a - 1.2 * unit)))
    last = min(length - 1, max(blade.last, round(marks.b + 1.2 * unit)))
    return replace(blade, first=first, last=last)


def _lanes(blade: Blade) -> Array:
    """Return log lightness, log R/G and log B/G of each lane, shape (3, LANES, length)."""
    strip = blade.strip
    pixels = strip.pixels[np.abs(strip.across) < LANE_SPAN]
    parts = np.array_split(np.arange(pixels.shape[0]), LANES)
    mean = np.stack([pixels[part].mean(axis=0) for part in parts]).astype(np.float64)
    # beyond the blade's ends there is background: carry the blade's own colour on
    mean[:, : blade.first + 2] = mean[:, blade.first + 2][:, None]
    mean[:, max(0, blade.last - 1) :] = mean[:, blade.last - 2][:, None]
    return _features(mean)


def _features(rgb: Array) -> Array:
    """Return log lightness, log R/G and log B/G of encoded colours 0..255.

    Where a camera compresses highlights a brighter place looks less coloured: that is undone.
    """
    straight = straightened(rgb)
    red, green, blue = (straight[..., k] + _DARK for k in range(3))
    light = np.log(rgb @ np.array([0.3, 0.5, 0.2]) + _DARK)
    return np.stack([light, np.log(red / green), np.log(blue / green)])


def _step(lanes: Array, unit: float, reach: float) -> Array:
    """Return the middle lane's change at each column, after minus before, shape (3, length)."""
    window, gap = max(2, round(reach * unit)), max(1, round(0.12 * unit))
    kernel = np.concatenate([np.ones(window), np.zeros(2 * gap + 1), -np.ones(window)]) / window
    half = window + gap
    padded = np.pad(lanes, ((0, 0), (0, 0), (half, half)), mode="edge")
    flat = padded.reshape(-1, padded.shape[2])
    steps = np.stack([np.convolve(row, kernel, "valid") for row in flat])
    return np.asarray(np.median(steps.reshape(*lanes.shape[:2], -1), axis=1))


def _evidence(
    lanes: Array, blade: Blade, unit: float, avoid: tuple[tuple[float, float], ...]
) -> Array:
    """Return log evidence (nats) for the wet edge at each column, shape (length,).

    ``avoid`` are (column, width) of places that count less: the marks' own edges.
    """
    near, far = _step(lanes, unit, 0.35), _step(lanes, unit, 1.0)
    colour = np.minimum(np.hypot(near[1], near[2]), 1.3 * np.hypot(far[1], far[2]))
    agree = (near[1] * far[1] + near[2] * far[2]) > 0
    colour = np.where(agree, colour, 0.0)
    light = np.minimum(np.abs(near[0]), 1.3 * np.abs(far[0])) * (near[0] * far[0] > 0)
    noise_colour = 0.012 + 1.5 * float(np.median(colour[blade.first : blade.last]))
    noise_light = 0.05 + 1.5 * float(np.median(light[blade.first : blade.last]))
    split = _split_gain(np.median(lanes, axis=1)[1:], blade, unit)
    damp = np.ones_like(colour)
    columns = np.arange(len(colour))
    for place, width in avoid:
        damp = np.minimum(damp, 1 - 0.6 * np.exp(-0.5 * ((columns - place) / width) ** 2))
    value = (colour / noise_colour * (0.4 + 0.6 * split) + 0.35 * light / noise_light) * damp
    edge = round(0.2 * unit)
    value[: blade.first + edge] = 0
    value[max(0, blade.last - edge) :] = 0
    return np.asarray(1.5 * value)


def _split_gain(colour: Array, blade: Blade, unit: float) -> Array:
    """Return 0..1: how well a cut at each column splits the blade's colour in two.

    Laplace-like two-segment log likelihood against no cut, colour shape (2, length).
    """
    step = max(1, round(unit / 6))
    columns = np.arange(blade.first + step, blade.last - step, step)
    gain = np.zeros(len(columns))
    if len(columns) < 9:
        return np.zeros(colour.shape[1])
    points = colour[:, columns].T
    for cut in range(3, len(columns) - 3):
        gain[cut] = -(_spread(points[:cut]) + _spread(points[cut:])) / len(columns)
    gain[3:-3] += _spread(points) / len(columns)
    gain = np.maximum(gain, 0)
    full = np.interp(np.arange(colour.shape[1]), columns, gain / max(float(gain.max()), 0.05))
    return np.asarray(full)


def _spread(points: Array) -> float:
    """Return the summed log distance of points from their middle."""
    off = np.hypot(*(points - np.median(points, axis=0)).T)
    return float(0.5 * np.log(0.012**2 + off**2).sum())


def _peaks(signal: Array, apart: int) -> list[int]:
    work = signal.copy()
    found: list[int] = []
    while len(found) < 8:
        top = int(work.argmax())
        if work[top] < 1.5:
            break
        found.append(top)
        work[max(0, top - apart) : top + apart + 1] = 0
    return found


def _crossing(blade: Blade, column: int, marks: Marks) -> tuple[Array, float, float]:
    """Return where each row crosses the edge, where the axis does, and its standard uncertainty."""
    strip = blade.strip
    unit = unit_of(blade)
    rows = np.flatnonzero(np.abs(strip.across) < LANE_SPAN)
    reach = round(0.9 * unit)
    low = max(blade.first, column - 2 * reach)
    high = min(blade.last, column + 2 * reach)
    pixels = cv2.GaussianBlur(strip.pixels, (0, 0), sigmaX=0.8, sigmaY=max(0.8, 0.05 * unit))
    part = _features(pixels[rows, low : high + 1].astype(np.float64))
    open_ = ~_inside_marks(strip.across[rows], np.arange(low, high + 1), marks, unit)
    score = _side_score(part, open_, column - low, reach, round(0.2 * unit))
    if score is None:
        return np.full(len(rows), float(column)), float(column), 0.3 * unit
    gain = -np.cumsum(score * open_, axis=1)  # highest where before ends and after starts
    at = column - low
    window = np.arange(max(1, at - reach), min(gain.shape[1] - 1, at + reach))
    path = window[smooth_path(gain[:, window], 3, EDGE_STEP)]
    fine = _fractions(score, path) + low
    clear = open_[np.arange(len(path)), path]
    crossing, spread = _at_axis(strip.across[rows], fine, clear)
    return fine, crossing, float(np.hypot(spread, 0.06 * unit))


def _inside_marks(
    rows: Array, columns: NDArray[np.intp], marks: Marks, unit: float
) -> NDArray[np.bool_]:
    """Say which samples lie inside a round mark or its rim."""
    within = np.zeros((len(rows), len(columns)), bool)
    if marks.radius <= 0:
        return within
    for mark in (marks.a, marks.b):
        across = rows[:, None] - marks.offset
        along = (columns[None, :] - mark) / unit
        within |= np.hypot(across, along) < 1.35 * marks.radius
    return within


def _side_score(
    part: Array, open_: NDArray[np.bool_], at: int, reach: int, gap: int
) -> Array | None:
    """Return -0.5 where a sample looks as before the edge, +0.5 as after; None without contrast."""
    shown = np.where(open_, part, np.nan)
    sides = (shown[:, :, max(0, at - reach) : max(1, at - gap)], shown[:, :, at + gap : at + reach])
    if any(side.size == 0 or np.isnan(side).all() for side in sides):
        return None
    before, after = (np.nanmedian(side, axis=(1, 2)) for side in sides)
    tells = float(np.hypot(after[1] - before[1], after[2] - before[2])) > FAINT
    weight = np.array([0.15 if tells else 0.6, 1.0, 1.0])
    change = (after - before) * weight
    size = float(change @ change)
    if size < 1e-9:
        return None
    middle = (after + before) / 2
    score = np.tensordot(change, (part - middle[:, None, None]) * weight[:, None, None], 1) / size
    return np.asarray(np.clip(score, -0.7, 0.7))  # highlights count no more than the fluid


def _at_axis(rows: Array, fine: Array, clear: NDArray[np.bool_]) -> tuple[float, float]:
    """Return the crossing at the axis and its spread: near rows where they show, else a line."""
    near = clear & (np.abs(rows) < 0.3)
    if near.sum() >= 0.5 * (np.abs(rows) < 0.3).sum():
        around = fine[near]
        middle = float(np.median(around))
        return middle, 0.6 * 1.4826 * float(np.median(np.abs(around - middle)))
    chosen = clear if clear.sum() > 4 else np.ones_like(clear)
    line = np.polynomial.Polynomial.fit(rows[chosen], fine[chosen], 1)
    off = np.abs(fine[chosen] - line(rows[chosen]))
    return float(line(0.0)), 1.4826 * float(np.median(off))


def _fractions(score: Array, path: NDArray[np.intp]) -> Array:
    """Return the crossings between columns, where the score passes through zero."""
    rows = np.arange(len(path))
    after = np.clip(path + 1, 0, score.shape[1] - 1)
    low, high = score[rows, path], score[rows, after]
    share = np.where(high - low > 1e-6, -low / np.where(high - low > 1e-6, high - low, 1), 0.5)
    return np.asarray(path + np.clip(share, 0, 1))
