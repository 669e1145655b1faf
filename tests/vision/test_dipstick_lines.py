"""Guesses at blades where a picture is full of edges: as sure, and in little room."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from numpy.typing import NDArray

from joblog.vision import dipstick_lines
from joblog.vision.dipstick_lines import guesses

SIZE = (480, 640)


def streaks(count: int) -> NDArray[np.float64]:
    """Nearly parallel pieces of edge all over a picture, as in grass or a grate."""
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, SIZE[1], count), rng.uniform(0, SIZE[0], count)
    length, turn = rng.uniform(15, 120, count), rng.normal(0, 0.03, count)
    ends = (x, y, x + length * np.cos(turn), y + length * np.sin(turn))
    return np.stack([*ends, length], axis=1)


def test_a_picture_full_of_edges_takes_little_room() -> None:
    found = streaks(3000)
    tracemalloc.start()
    try:
        assert guesses(found, SIZE, 2)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 100_000_000


def test_it_is_all_one_how_many_are_weighed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    found = streaks(200)
    together = guesses(found, SIZE, 8)
    monkeypatch.setattr(dipstick_lines, "AT_ONCE", 7)
    assert len(together) > 1
    np.testing.assert_allclose(guesses(found, SIZE, 8), together)


def test_of_no_edges_nothing_is_guessed() -> None:
    assert guesses(np.zeros((0, 5)), SIZE, 2) == []
    across = np.array([[0.0, 0, 100, 0, 100], [0, 0, 0, 100, 100]])
    assert guesses(across, SIZE, 2) == []
