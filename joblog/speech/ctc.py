"""Connectionist temporal classification: how likely signs are, and which way to learn them.

After Graves, Fernandez, Gomez and Schmidhuber (2006), "Connectionist temporal classification:
labelling unsegmented sequence data with recurrent neural networks". A network says for each frame
how likely each sign is, or none (the blank). A row of signs can be laid out in time in many ways;
its probability is the sum over all of them. What :func:`loss_and_slope` returns is the negative
logarithm of that, and its derivative by the network's outputs before the softmax.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from joblog.speech.second_ear import layouts

Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]


def loss_and_slope(
    heard: Floats, lengths: Sequence[int], rows: Sequence[Sequence[int]]
) -> tuple[Doubles, Floats]:
    """Return for each row its loss, shape (rows,), and the slope, shaped like ``heard``.

    ``heard``: log probabilities (rows, time, signs and blank), of which row k counts up to
    ``lengths[k]``; behind it the slope is zero. A row that is too long for its sound has an
    infinite loss and no slope.
    """
    laid, skips, ends = layouts(rows)
    count, frames, _ = heard.shape
    every, last = np.arange(count), np.asarray(lengths) - 1
    said = np.take_along_axis(heard.astype(np.float64), laid[:, None, :], axis=2)
    forth = _forth(said, skips)
    back = _back(said, skips, last, ends)
    at_end = forth[every, last]
    loss = -np.logaddexp(at_end[every, ends], at_end[every, np.maximum(ends - 1, 0)])
    fits = np.isfinite(loss)
    with np.errstate(invalid="ignore"):
        share = np.exp(forth + back + np.where(fits, loss, 0.0)[:, None, None])
    inside = (np.arange(frames) <= last[:, None]) & fits[:, None]
    share = np.where(inside[:, :, None], share, 0.0)
    sign = (laid[:, :, None] == np.arange(heard.shape[2])).astype(np.float64)
    slope = np.where(inside[:, :, None], np.exp(heard), 0.0) - share @ sign
    return loss, slope.astype(np.float32)


def _forth(said: Doubles, skips: Doubles) -> Doubles:
    """Return log probabilities of all ways to each place at each time, (rows, time, places)."""
    ways = np.full(said.shape, -np.inf)
    ways[:, 0, :2] = said[:, 0, :2]
    for time in range(1, said.shape[1]):
        before = ways[:, time - 1]
        found = before.copy()
        found[:, 1:] = np.logaddexp(found[:, 1:], before[:, :-1])
        found[:, 2:] = np.logaddexp(found[:, 2:], before[:, :-2] + skips[:, 2:])
        ways[:, time] = found + said[:, time]
    return ways


def _back(said: Doubles, skips: Doubles, last: NDArray[np.intp], ends: NDArray[np.intp]) -> Doubles:
    """Return log probabilities of all ways from each place, at each time, to the row's end."""
    ways = np.full(said.shape, -np.inf)
    every = np.arange(len(said))
    for time in range(said.shape[1] - 1, -1, -1):
        if time + 1 < said.shape[1]:
            after = ways[:, time + 1] + said[:, time + 1]
            found = after.copy()
            found[:, :-1] = np.logaddexp(found[:, :-1], after[:, 1:])
            found[:, :-2] = np.logaddexp(found[:, :-2], after[:, 2:] + skips[:, 2:])
            ways[:, time] = found
        ending = every[last == time]
        ways[ending, time] = -np.inf
        ways[ending, time, ends[ending]] = 0.0
        ways[ending, time, np.maximum(ends[ending] - 1, 0)] = 0.0
    return ways
