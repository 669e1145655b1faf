"""The best smooth path through a picture, by dynamic programming (Viterbi)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def smooth_path(gain: Array, reach: int, cost: float) -> NDArray[np.intp]:
    """Return the column (rows,) for each row of ``gain`` (rows, columns) that together gain most.

    From one row to the next the path moves by at most ``reach`` columns, each of which costs
    ``cost``; where it makes no difference it moves least.
    """
    rows, columns = gain.shape
    moves = sorted(range(-reach, reach + 1), key=abs)
    total = np.full(columns + 2 * reach, -np.inf)  # best sum of a path that ends there, and a rim
    within = slice(reach, reach + columns)
    total[within] = gain[0]
    came_by = np.zeros((rows, columns), np.int8)
    ways, every = np.empty((len(moves), columns)), np.arange(columns)
    for row in range(1, rows):
        for way, move in zip(ways, moves, strict=True):
            np.subtract(total[reach + move : reach + move + columns], cost * abs(move), out=way)
        came_by[row] = ways.argmax(axis=0)
        total[within] = ways[came_by[row], every] + gain[row]
    path = np.zeros(rows, np.intp)
    path[-1] = int(total[within].argmax())
    for row in range(rows - 1, 0, -1):
        path[row - 1] = path[row] + moves[came_by[row, path[row]]]
    return path
