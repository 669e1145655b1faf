"""Find the plug's end face and its magnet as two ellipses.

The end of a plug is a stack of circles about one axis (magnet, its recess, turning marks, the
chamfer's two edges, a flange), so:

1. every strong edge votes for centres along its own normal; circles about one axis agree;
2. about the best centres all ellipses of a bearable tilt are scored by their edge all round;
3. the rim is the largest that is seen all round, because nothing lies in front of it, unless it is
   as much larger than the next as a flange is than a thread;
4. the magnet is the best inside it with the same tilt.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import EdgeField, Floats, edge_field, refine, support

SEARCH_SIDE = 512
_ASPECTS = (1.0, 0.96, 0.92, 0.87, 0.82)
_DIRECTIONS = 8


@dataclass(frozen=True, eq=False)
class PlugFace:
    """The rim and the magnet, each as (5,) in pixels of the working picture; support 0 to 1."""

    rim: Floats
    magnet: Floats
    rim_support: float
    magnet_support: float


def find_plug(rgb: NDArray[np.uint8]) -> PlugFace | None:
    """Return the plug's face, or None where no rim with a magnet in it is seen surely."""
    factor = SEARCH_SIDE / max(rgb.shape[:2])
    size = round(rgb.shape[1] * factor), round(rgb.shape[0] * factor)
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    field = edge_field(np.asarray(small, np.uint8), 1.2)
    rings = _rings(field)
    if not len(rings):
        return None
    fine = edge_field(rgb, 1.2 / max(factor, 0.4))
    return _choose(fine, _scaled(rings, 1 / factor))


def _scaled(rings: Floats, factor: float) -> Floats:
    out = rings.copy()
    out[:, :2] = (out[:, :2] + 0.5) * factor - 0.5
    out[:, 2:4] *= factor
    return out


def _centres(field: EdgeField, count: int) -> Floats:
    """Return the (x, y) that most edges point at, best first."""
    height, width = field.gx.shape
    strength = np.hypot(field.gx, field.gy)
    y, x = np.nonzero(strength > max(1.0, float(np.quantile(strength, 0.85))))
    nx, ny = field.gx[y, x] / strength[y, x], field.gy[y, x] / strength[y, x]
    votes = np.zeros((height // 4 + 1, width // 4 + 1), np.float32)
    for radius in range(18, width // 3, 3):
        for side in (-1, 1):
            px = np.rint((x + side * radius * nx) / 4).astype(int)
            py = np.rint((y + side * radius * ny) / 4).astype(int)
            inside = (px >= 0) & (py >= 0) & (px < votes.shape[1]) & (py < votes.shape[0])
            flat = py[inside] * votes.shape[1] + px[inside]
            votes += np.bincount(flat, minlength=votes.size).reshape(votes.shape) / radius**0.5
    votes = cv2.GaussianBlur(votes, (0, 0), 2.0)
    found = []
    for _ in range(count):
        row, column = np.unravel_index(int(votes.argmax()), votes.shape)
        found.append((column * 4.0, row * 4.0))
        cv2.circle(votes, (int(column), int(row)), 5, 0.0, -1)
    return np.array(found)


def _rings(field: EdgeField, centres: int = 3) -> Floats:
    """Return well supported ellipses (n, 5) about the best centres."""
    height, width = field.gx.shape
    radii = np.arange(14.0, 0.48 * height, 2.0)
    tilts = [(1.0, 0.0)] + [
        (aspect, np.pi * k / _DIRECTIONS) for aspect in _ASPECTS[1:] for k in range(_DIRECTIONS)
    ]
    kept: list[Floats] = []
    for x, y in _centres(field, centres):
        shifts = [(x + dx, y + dy) for dx in (-8, -4, 0, 4, 8) for dy in (-8, -4, 0, 4, 8)]
        grid = np.array(
            [
                (cx, cy, r, r * aspect, turn)
                for cx, cy in shifts
                for aspect, turn in tilts
                for r in radii
            ]
        )
        score = _all_round(support(field, grid, 40))
        score = score.reshape(-1, len(radii))
        best = score.argmax(axis=0)
        rows = grid.reshape(-1, len(radii), 5)[best, np.arange(len(radii))]
        value = score.max(axis=0)
        for i in range(len(radii)):
            lo, hi = max(0, i - 2), i + 3
            if value[i] == value[lo:hi].max() and value[i] > 0.2:
                kept.append(rows[i])
    return np.array(kept)


def _all_round(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a score of (n, count) support that wants edge in every sector, not much in some."""
    sectors = values.reshape(len(values), 8, -1).mean(axis=2)
    return np.asarray(0.5 * sectors.mean(axis=1) + 0.5 * np.sort(sectors, axis=1)[:, 1])


def _choose(field: EdgeField, rings: Floats) -> PlugFace | None:
    reach = 0.006 * max(field.gx.shape)
    fitted = np.array([refine(field, ring, reach) for ring in rings])
    fitted = fitted[fitted[:, 3] / fitted[:, 2] > 0.78]
    if not len(fitted):
        return None
    score = _all_round(support(field, fitted, 96))
    best: PlugFace | None = None
    value = 0.0
    for i, rim in enumerate(fitted):
        ratio = fitted[:, 2] / rim[2]
        off = np.hypot(*(fitted[:, :2] - rim[:2]).T) / rim[2]
        inner = (ratio > 0.25) & (ratio < 0.75) & (off < 0.2)
        inner &= np.abs(fitted[:, 3] / fitted[:, 2] - rim[3] / rim[2]) < 0.06
        if not inner.any() or score[i] < 0.3:
            continue
        j = int(np.where(inner, score, 0).argmax())
        total = score[i] * (rim[2] / max(field.gx.shape)) ** 0.7 * (0.5 + 0.5 * score[j])
        if total > value:
            value = float(total)
            best = PlugFace(rim, fitted[j], float(score[i]), float(score[j]))
    return best
