"""Ellipses: a circle of the part, seen at a tilt.

An ellipse is a float64 row (cx, cy, a, b, angle): centre and semi-axes in pixels, a >= b, ``angle``
in radians of the major axis from +x towards +y (downwards), 0 to pi.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.types import Ellipse

Floats = NDArray[np.float64]


def from_map(inside: NDArray[np.float32], enlarge: int = 4) -> tuple[Floats, float] | None:
    """Fit an ellipse to where a map (h, w) of "how surely inside" crosses one half.

    Returns the ellipse in the map's pixels and its misfit (root mean square distance of the
    crossing from the ellipse, as a fraction of the major semi-axis); None where nothing is inside.
    """
    height, width = inside.shape
    large = cv2.resize(inside, (width * enlarge, height * enlarge), interpolation=cv2.INTER_CUBIC)
    outlines, _ = cv2.findContours(
        (large > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    if not outlines:
        return None
    outline = max(outlines, key=cv2.contourArea)[:, 0].astype(np.float64)
    edge = 1.0 * enlarge  # where the crop ends is no outline of the part
    kept = ((outline > edge) & (outline < np.array(large.shape[::-1]) - 1 - edge)).all(axis=1)
    points = (outline[kept] + 0.5) / enlarge - 0.5
    ellipse = robust_fit(points, tolerance=1.0)
    if ellipse is None:
        return None
    off = np.minimum(np.abs(distance(ellipse, points)), 0.2 * ellipse[2])
    return ellipse, float(np.sqrt((off**2).mean()) / ellipse[2])


def robust_fit(points: Floats, tolerance: float) -> Floats | None:
    """Fit an ellipse (5,) to (n, 2) points, dropping in turn what lies off it; None if it fails."""
    kept = points
    ellipse: Floats | None = None
    for _ in range(5):
        if len(kept) < 20:
            return None
        centre = kept.mean(axis=0)
        (cx, cy), (d1, d2), degrees = cv2.fitEllipseDirect((kept - centre).astype(np.float32))
        if not np.isfinite([cx, cy, d1, d2, degrees]).all() or min(d1, d2) < 4:
            return None
        turn = np.deg2rad(degrees)
        ellipse = ordered(np.array([cx + centre[0], cy + centre[1], d1 / 2, d2 / 2, turn]))
        off = np.abs(distance(ellipse, points))
        kept = points[off < max(tolerance, 2.5 * float(np.median(off)))]
    return ellipse


def ordered(ellipse: Floats) -> Floats:
    """Return the same ellipse with the major axis first and its angle in 0 to pi."""
    cx, cy, a, b, angle = ellipse
    if b > a:
        a, b, angle = b, a, angle + np.pi / 2
    return np.array([cx, cy, a, b, angle % np.pi])


def moved(ellipse: Floats, factor: float, dx: float, dy: float) -> Floats:
    """Return the ellipse with all lengths times ``factor``, then shifted by (dx, dy)."""
    cx, cy, a, b, angle = ellipse
    return np.array([cx * factor + dx, cy * factor + dy, a * factor, b * factor, angle])


def mean_of(one: Floats, other: Floats) -> Floats:
    """Return the ellipse halfway between two that differ little.

    Axes and angle are averaged as the matrix of the squared axes: for nearly round ones the angle
    alone means nothing.
    """
    squares = (_squared(one) + _squared(other)) / 2
    values, vectors = np.linalg.eigh(squares)
    (minor, major), along = np.sqrt(values), vectors[:, 1]
    turn = np.arctan2(along[1], along[0])
    return ordered(np.array([*(one[:2] + other[:2]) / 2, major, minor, turn]))


def _squared(ellipse: Floats) -> Floats:
    _, _, a, b, angle = ellipse
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-np.sin(angle), np.cos(angle)])
    return np.asarray(a * a * np.outer(along, along) + b * b * np.outer(across, across))


def distance(ellipse: Floats, points: Floats) -> Floats:
    """Return the signed distance (n,) of points from the ellipse, first order, outside positive."""
    cx, cy, a, b, angle = ellipse
    x, y = points[:, 0] - cx, points[:, 1] - cy
    u, v = x * np.cos(angle) + y * np.sin(angle), -x * np.sin(angle) + y * np.cos(angle)
    radius = np.sqrt((u / a) ** 2 + (v / b) ** 2)
    slope = np.sqrt((u / a**2) ** 2 + (v / b**2) ** 2) / np.maximum(radius, 1e-9)
    return np.asarray((radius - 1.0) / np.maximum(slope, 1e-9))


def filled(ellipse: Floats, shape: tuple[int, int], grow: float = 1.0) -> NDArray[np.bool_]:
    """Return the mask (h, w) of the ellipse's inside, its axes multiplied by ``grow``."""
    cx, cy, a, b, angle = ellipse
    cos, sin = np.cos(angle), np.sin(angle)
    mask = np.zeros(shape, np.bool_)
    wide, high = grow * np.hypot(a * cos, b * sin), grow * np.hypot(a * sin, b * cos)
    rows = slice(max(0, int(cy - high)), max(0, int(cy + high) + 2))
    columns = slice(max(0, int(cx - wide)), max(0, int(cx + wide) + 2))
    y, x = np.ogrid[: shape[0], : shape[1]]
    y, x = y[rows] - cy, x[:, columns] - cx
    u, v = x * cos + y * sin, y * cos - x * sin
    mask[rows, columns] = (u / (a * grow)) ** 2 + (v / (b * grow)) ** 2 <= 1.0
    return mask


def to_value(ellipse: Floats, scale: float = 1.0) -> Ellipse:
    """Return the reading's ellipse; ``scale`` is original pixels per pixel here."""
    cx, cy, a, b, angle = (float(value) for value in ordered(ellipse))
    center = ((cx + 0.5) * scale - 0.5, (cy + 0.5) * scale - 0.5)
    return Ellipse(center, (a * scale, b * scale), float(np.rad2deg(angle)))
