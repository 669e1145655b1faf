"""Learning on from the second ear's head, on the shop's own machine: plain NumPy.

The head is three convolutions over time (:class:`joblog.speech.second_ear.Head`). What learns here
is a copy of its weights: the slope of the loss (:mod:`joblog.speech.ctc`) is carried back through
the layers by hand, and the weights follow it (Adam: Kingma and Ba 2014). With a few dozen spoken
digits that are drowned anew each time, that takes a minute or so on one core.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from joblog.speech.ctc import loss_and_slope
from joblog.speech.second_ear import (
    conditioned,
    flat,
    gelu,
    gelu_curve,
    one_thread_of_blas,
    turned,
    windows,
)

Floats = NDArray[np.float32]
Weights = dict[str, Floats]
Row = tuple[Floats, tuple[int, ...]]  # embedding (time, 96), signs

LAYERS = ("a", "b", "c", "o")
BATCH = 32
RATE = 1e-3  # of learning, at its highest; half of it was tried only with fewer rows
FIRST_STEPS = 20  # in which the rate rises
DROPPED = 0.15  # share of a layer's outputs that is left out at random
BLUR = 0.1  # noise added to the embedding, of its spread


def learn_on(
    start: Mapping[str, Floats],
    rows: Sequence[Row],
    epochs: int,
    rng: np.random.Generator,
    told: Callable[[float], None] = lambda _: None,
) -> Weights:
    """Return the weights after ``epochs`` times all ``rows``; ``told`` hears the share done."""
    one_thread_of_blas()
    weights = {name: np.array(value, np.float32) for name, value in start.items()}
    learnt = [f"{layer}.{part}" for layer in LAYERS for part in ("weight", "bias")]
    mean = {name: np.zeros_like(weights[name]) for name in learnt}
    square = {name: np.zeros_like(weights[name]) for name in learnt}
    order = sorted(range(len(rows)), key=lambda n: len(rows[n][0]))
    batches = [order[at : at + BATCH] for at in range(0, len(order), BATCH)]
    steps = epochs * len(batches)
    for step in range(1, steps + 1):
        if (step - 1) % len(batches) == 0:
            turns = rng.permutation(len(batches))
        mine = [rows[n] for n in batches[turns[(step - 1) % len(batches)]]]
        slopes = _slopes(weights, mine, rng)
        falling = 0.02 + 0.98 * math.cos(math.pi / 2 * (step - 1) / steps) ** 2
        rate = RATE * min(1.0, step / FIRST_STEPS) * falling
        size = math.sqrt(sum(float((slope**2).sum()) for slope in slopes.values()))
        for name in learnt:
            slope = slopes[name] * min(1.0, 1.0 / max(size, 1e-9))
            mean[name] = 0.9 * mean[name] + 0.1 * slope
            square[name] = 0.999 * square[name] + 0.001 * slope**2
            rise = mean[name] / (1 - 0.9**step)
            weights[name] -= rate * rise / (np.sqrt(square[name] / (1 - 0.999**step)) + 1e-8)
        told(step / steps)
    return weights


def _slopes(weights: Weights, rows: Sequence[Row], rng: np.random.Generator) -> Weights:
    """Return the slope of the rows' mean loss by each weight."""
    lengths = [len(embedded) for embedded, _ in rows]
    x = np.zeros((len(rows), max(lengths), rows[0][0].shape[1]), np.float32)
    for place, (embedded, _) in zip(x, rows, strict=True):
        place[: len(embedded)] = conditioned(
            embedded + BLUR * embedded.std() * rng.standard_normal(embedded.shape), weights
        )
    inside = (np.arange(max(lengths)) < np.array(lengths)[:, None])[:, :, None]
    layers: dict[str, tuple[Floats, Floats, Floats]] = {}
    for layer in "abc":
        seen = windows(x, weights[f"{layer}.weight"].shape[2])
        before = turned(seen, weights, layer)
        drawn = inside & (rng.random(before.shape, np.float32) >= DROPPED)
        kept = drawn.astype(np.float32) / np.float32(1 - DROPPED)
        out = gelu(before) * kept
        layers[layer] = seen, before, kept
        x = out if layer == "a" else x + out
    seen = windows(x, 1)
    logits = turned(seen, weights, "o")
    logits -= logits.max(axis=2, keepdims=True)
    heard = logits - np.log(np.exp(logits).sum(axis=2, keepdims=True))
    signs = [row for _, row in rows]
    _, slope = loss_and_slope(heard, lengths, signs)
    slope /= np.float32(len(rows)) * np.maximum(list(map(len, signs)), 1)[:, None, None]
    slopes: Weights = {}
    back = _carry_back(slope, seen, weights, "o", slopes)
    for layer in "cba":
        seen, before, kept = layers[layer]
        through = _carry_back(back * kept * _bend(before), seen, weights, layer, slopes)
        back = back + through if layer != "a" else through
    return slopes


def _carry_back(
    slope: Floats, seen: Floats, weights: Weights, layer: str, slopes: Weights
) -> Floats:
    """Note the slopes of one layer's weights; return the slope of what came into it."""
    weight = weights[f"{layer}.weight"]
    outs, ins, width = weight.shape
    rows = slope.reshape(-1, outs)
    found = seen.reshape(len(rows), -1).T @ rows
    slopes[f"{layer}.weight"] = found.reshape(width, ins, outs).transpose(2, 1, 0)
    slopes[f"{layer}.bias"] = rows.sum(axis=0)
    wide = (slope @ flat(weight).T).reshape(*slope.shape[:2], width, ins)
    half, time = width // 2, slope.shape[1]
    back = np.zeros((len(slope), time + 2 * half, ins), np.float32)
    for shift in range(width):
        back[:, shift : shift + time] += wide[:, :, shift]
    return back[:, half : half + time]


def _bend(x: Floats) -> Floats:
    """Return the slope of :func:`joblog.speech.second_ear.gelu`."""
    curve = gelu_curve(x)
    rise = math.sqrt(2 / math.pi) * (1 + 3 * 0.044715 * (x * x))
    result: Floats = 0.5 * (1 + curve + x * (1 - curve * curve) * rise)
    return result
