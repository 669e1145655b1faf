"""Guess at strips in a picture from its straight edges: pairs of nearly parallel sides.

The rules:

* Straight pieces of edge are found in lightness and in colour (line segment detector of von Gioi,
  Jakubowicz, Morel and Randall 2010, as in OpenCV), so a grey blade on a blue towel shows as well
  as a bright one on a dark floor.
* Two nearly parallel pieces make a guess at a blade; all other pieces that continue either side
  vote for it. A blurred background votes less than a blade in focus.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

AT_ONCE = 200  # strips weighed at once: with 5 000 pieces of edge 63 MB; all at once took 447


def segments(small: Image) -> Array:
    """Return straight pieces of edge, shape (n, 5): x0, y0, x1, y1, weight.

    The weight is the length in pixels times how sharply it steps, 0..1.
    """
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    found = []
    for channel in range(3):
        plane = lab[..., channel]
        if channel:  # a and b of CIELAB differ by fewer steps than lightness: stretched
            plane = np.clip((plane.astype(np.float64) - 128) * 2 + 128, 0, 255).astype(np.uint8)
        lines = detector.detect(plane)[0]
        if lines is None:
            continue
        pieces = np.asarray(lines, np.float64).reshape(-1, 4)
        length = np.hypot(pieces[:, 2] - pieces[:, 0], pieces[:, 3] - pieces[:, 1])
        pieces, length = pieces[length > 14], length[length > 14]  # shorter ones are texture
        focus = _focus(plane.astype(np.float64), pieces)
        found.append(np.column_stack([pieces, length * focus]))
    return np.concatenate(found) if found else np.zeros((0, 5))


def _focus(plane: Array, pieces: Array) -> Array:
    """Return 0..1 for each piece: how much of the step across it happens within two pixels."""
    direction = pieces[:, 2:] - pieces[:, :2]
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    normal = np.stack([-direction[:, 1], direction[:, 0]], axis=1)
    share = np.linspace(0.1, 0.9, 9)
    points = (
        pieces[:, None, :2] * (1 - share)[None, :, None]
        + pieces[:, None, 2:] * (share[None, :, None])
    )

    def step(reach: float) -> Array:
        ends = []
        for sign in (-1, 1):
            at = points + sign * reach * normal[:, None, :]
            x = np.clip(at[..., 0].round().astype(int), 0, plane.shape[1] - 1)
            y = np.clip(at[..., 1].round().astype(int), 0, plane.shape[0] - 1)
            ends.append(plane[y, x])
        return np.asarray(np.abs((ends[1] - ends[0]).mean(axis=1)))

    near, far = step(1.5), step(4.5)
    return np.asarray(np.clip(near / np.maximum(far, 1e-6), 0.2, 1.0) * near / (near + 6.0))


def guesses(found: Array, size: tuple[int, int], limit: int) -> list[Array]:
    """Return strips as (2, 2, 2): two sides, each two points (x, y), best first.

    ``found`` are pieces of edge as :func:`segments` gives them in a picture of ``size`` (width,
    height); at most ``limit`` strips that are different things come back.
    """
    if len(found) < 2:
        return []
    order = np.argsort(-found[:, 4])
    anchors = found[order[:70]]  # a blade's sides are among the strongest; pairs are their square
    units = _units(found)
    directions = units[order[:70]]
    alike = np.abs(directions @ directions.T) >= np.cos(np.radians(7))
    i, j = np.nonzero(np.triu(alike, 1))
    lines = _pairs(anchors, directions, i, j, max(size))
    blocks = (lines[k : k + AT_ONCE] for k in range(0, len(lines), AT_ONCE))
    votes = np.concatenate([np.zeros(0), *(_votes(block, found, units) for block in blocks)])
    kept: list[Array] = []
    for k in np.argsort(-votes, kind="stable"):
        if len(kept) == limit or votes[k] < 0.3 * votes.max():
            break
        if all(_differs(lines[k], other) for other in kept):
            kept.append(lines[k])
    return kept


def _units(segments: Array) -> Array:
    """Return the directions of pieces, length 1."""
    along = segments[:, 2:4] - segments[:, :2]
    return np.asarray(along / np.hypot(along[:, 0], along[:, 1])[:, None])


def _dot(a: Array, b: Array) -> Array:
    """Return the products of vectors in the last axis."""
    return np.asarray((a * b).sum(axis=-1))


def _pairs(
    anchors: Array, units: Array, i: NDArray[np.intp], j: NDArray[np.intp], long_side: int
) -> Array:
    """Return the strips (n, 2, 2, 2) between pieces ``i`` and ``j`` that can be a blade's sides."""
    middles = (anchors[:, :2] + anchors[:, 2:4]) / 2
    turned = np.where(_dot(units[i], units[j]) < 0, -1.0, 1.0)[:, None]
    own = np.stack([units[i], units[j] * turned], axis=1)
    # The longer piece knows the direction better.
    mean = own[:, 0] * anchors[i, 4:5] + own[:, 1] * anchors[j, 4:5]
    mean /= np.hypot(mean[:, 0], mean[:, 1])[:, None]
    normal = np.stack([-mean[:, 1], mean[:, 0]], axis=1)
    apart = middles[j] - middles[i]
    gap, along = np.abs(_dot(apart, normal)), np.abs(_dot(apart, mean))
    fits = (0.02 * long_side < gap) & (gap < 0.32 * long_side) & (along <= 12 * gap)
    i, j, own, mean = i[fits], j[fits], own[fits], mean[fits, None, None]
    middle = np.stack([middles[i], middles[j]], axis=1)[:, :, None]
    origin = (middle[:, :1] + middle[:, 1:]) / 2
    own = own[:, :, None]
    # where a piece's own line stands at two places along the common axis
    places = np.array([-0.5, 0.5])[:, None] * long_side
    reach = _dot(origin + places * mean - middle, mean) / np.maximum(0.2, _dot(own, mean))
    damped = (0.35 * own + 0.65 * mean) / (0.35 * _dot(own, mean) + 0.65)[..., None]
    return np.asarray(middle + reach[..., None] * damped)


def _votes(lines: Array, segments: Array, units: Array) -> Array:
    """Return how much edge continues the two sides of each strip, the weaker counting most."""
    across = (lines[:, 0] - lines[:, 1]).mean(axis=1)
    near = (1.5 + 0.07 * np.hypot(across[:, 0], across[:, 1]))[:, None, None]
    direction = lines[:, :, 1] - lines[:, :, 0]
    direction = direction / np.hypot(direction[..., 0], direction[..., 1])[..., None]
    normal = np.stack([-direction[..., 1], direction[..., 0]], axis=-1)
    stand = _dot(lines[:, :, 0], normal)[..., None]
    off = [np.abs(normal @ segments[:, k : k + 2].T - stand) for k in (0, 2)]
    good = (off[0] < near) & (off[1] < near)
    good &= np.abs(direction @ units.T) > np.cos(np.radians(6))
    totals = np.array(
        [
            [_covered(segments[good[n, k]], lines[n, k, 0], direction[n, k]) for k in range(2)]
            for n in range(len(lines))
        ]
    ).reshape(-1, 2)
    return np.asarray(totals.min(axis=1) * 2 + totals.max(axis=1))


def _covered(pieces: Array, origin: Array, direction: Array) -> float:
    """Return the weight along a side, counting doubly detected pieces once."""
    if not len(pieces):
        return 0.0
    start = (pieces[:, :2] - origin) @ direction
    end = (pieces[:, 2:4] - origin) @ direction
    low, high = np.minimum(start, end), np.maximum(start, end)
    density = pieces[:, 4] / np.maximum(high - low, 1.0)
    base = low.min()
    cover = np.zeros(int(high.max() - base) + 2)
    for a, b, weight in zip(low - base, high - base, density, strict=True):
        part = cover[int(a) : int(b) + 1]
        np.maximum(part, weight, out=part)
    return float(cover.sum())


def _differs(line: Array, other: Array) -> bool:
    """Say whether two strips are different things: not just two views of one blade."""
    along = line.mean(axis=0)[1] - line.mean(axis=0)[0]
    along /= np.linalg.norm(along)
    normal = np.array([-along[1], along[0]])
    turn = other.mean(axis=0)[1] - other.mean(axis=0)[0]
    if abs(along @ turn) < np.cos(np.radians(9)) * np.linalg.norm(turn):
        return True
    own = np.sort((line.mean(axis=1) - line[0, 0]) @ normal)
    width = own[1] - own[0]
    # compare across where the other guess was made, its pieces being surest there
    middle = (other.mean(axis=(0, 1)) - line.mean(axis=(0, 1))) @ along
    shift = middle * along
    theirs = np.sort((other.mean(axis=1) - shift - line[0, 0]) @ normal)
    return bool(np.abs(own - theirs).max() > 0.3 * width + 0.05 * abs(middle))
