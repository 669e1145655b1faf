"""Learning by connectionist temporal classification, and the layers that it goes back through.

The loss is checked against its definition (Graves et al. 2006, equations 2 and 3) by the older test
of ``log_probabilities``; slopes against differences of the loss itself (the definition of a
derivative).
"""

import numpy as np
import pytest

from joblog.speech import head_learning
from joblog.speech.ctc import loss_and_slope
from joblog.speech.head_learning import LAYERS, learn_on
from joblog.speech.second_ear import LEAST, Head, SecondEar, gelu, log_probabilities

ROWS = [(1, 2, 2), (3,), (2, 1, 3, 1)]
LENGTHS = [7, 3, 9]


def heard_of(logits):
    top = logits - logits.max(axis=-1, keepdims=True)
    return (top - np.log(np.exp(top).sum(axis=-1, keepdims=True))).astype(np.float32)


@pytest.fixture
def logits():
    return np.random.default_rng(4).normal(size=(3, 9, 4))


def test_loss_of_each_row_is_that_of_its_own_part_of_the_sound(logits):
    heard = heard_of(logits)
    loss, _ = loss_and_slope(heard, LENGTHS, ROWS)
    alone = [
        -log_probabilities(heard[k, :length], [row])[0]
        for k, (length, row) in enumerate(zip(LENGTHS, ROWS, strict=True))
    ]
    assert loss == pytest.approx(alone, abs=1e-4)


def test_slope_is_the_derivative_of_the_loss(logits):
    _, slope = loss_and_slope(heard_of(logits), LENGTHS, ROWS)
    for at in [(0, 0, 1), (0, 6, 2), (0, 3, 0), (1, 2, 3), (2, 8, 1), (2, 4, 2)]:
        little = np.zeros_like(logits)
        little[at] = 1e-2
        more, _ = loss_and_slope(heard_of(logits + little), LENGTHS, ROWS)
        less, _ = loss_and_slope(heard_of(logits - little), LENGTHS, ROWS)
        assert slope[at] == pytest.approx((more - less)[at[0]] / 2e-2, abs=2e-4), at
    assert not slope[0, 7:].any(), "nothing behind the end of a row's sound counts"
    assert not slope[1, 3:].any(), "nothing behind the end of a row's sound counts"


def test_a_row_longer_than_its_sound_teaches_nothing(logits):
    loss, slope = loss_and_slope(heard_of(logits), [7, 3, 2], ROWS)
    assert np.isinf(loss[2])
    assert not slope[2].any()
    assert np.isfinite(slope).all()
    assert slope[0].any()


def test_slopes_of_the_weights_are_derivatives(monkeypatch):
    monkeypatch.setattr(head_learning, "DROPPED", 0.0)
    monkeypatch.setattr(head_learning, "BLUR", 0.0)
    rng = np.random.default_rng(2)
    weights = {k: v.astype(np.float64) for k, v in SecondEar().head.weights.items()}
    rows = [(rng.normal(size=(n, 96)), row) for n, row in ((20, (1, 2, 2)), (13, (1, 2)))]

    def loss(changed):
        head = Head(changed)
        parts = [-log_probabilities(head(x), [row])[0] / len(row) for x, row in rows]
        assert max(parts) < -LEAST / 2, "what is less likely than that is all called LEAST"
        return sum(parts) / len(parts)

    slopes = head_learning._slopes(weights, rows, rng)
    for layer in LAYERS:
        for part in ("weight", "bias"):
            name = f"{layer}.{part}"
            at = tuple(int(rng.integers(size)) for size in weights[name].shape)
            more, less = weights[name].copy(), weights[name].copy()
            more[at] += 1e-3
            less[at] -= 1e-3
            rise = loss(weights | {name: more}) - loss(weights | {name: less})
            assert slopes[name][at] == pytest.approx(rise / 2e-3, rel=2e-3, abs=1e-4), name


def test_curve_and_its_slope_agree():
    x = np.linspace(-4, 4, 41)
    rise = (gelu(x + 1e-5) - gelu(x - 1e-5)) / 2e-5
    assert head_learning._bend(x) == pytest.approx(rise, abs=1e-6)


def test_learning_brings_the_loss_down_and_leaves_the_start_alone():
    rng = np.random.default_rng(3)
    start = SecondEar().head.weights
    before = {name: value.copy() for name, value in start.items()}
    rows = [(rng.normal(size=(25, 96)).astype(np.float32), (1, 2, 3)) for _ in range(32)]

    def loss(head):
        return -sum(log_probabilities(head(x), [row])[0] for x, row in rows)

    shares = []
    learnt = learn_on(start, rows, 15, rng, shares.append)
    assert loss(Head(learnt)) < 0.5 * loss(Head(start))
    assert all((start[name] == before[name]).all() for name in start)
    assert shares[-1] == 1.0
