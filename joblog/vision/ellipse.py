"""Ellipses on edges: a circle of the part, seen at a tilt.

An ellipse is a float64 row (cx, cy, a, b, angle): centre and semi-axes in pixels, ``angle`` in
radians of the first axis from +x towards +y. Many are handled at once as an array (n, 5).

The edge strength used here is the colour gradient across the curve divided by the gradient that is
usual around that place, so that a faint rim on smooth steel counts as much as a bright one on a
woven towel.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.types import Ellipse

Floats = NDArray[np.float64]

_SAMPLES = 96


@dataclass(frozen=True, eq=False)
class EdgeField:
    """Gradient of a picture: ``gx`` and ``gy`` float32 (h, w), scaled by what is usual nearby."""

    gx: NDArray[np.float32]
    gy: NDArray[np.float32]


def edge_field(rgb: NDArray[np.uint8], sigma: float = 1.5) -> EdgeField:
    """Return the gradient of the colour channel that changes most at each pixel."""
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB).astype(np.float32)
    lab = cv2.GaussianBlur(lab, (0, 0), sigma)
    gx = cv2.Sobel(lab, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(lab, cv2.CV_32F, 0, 1, ksize=3)
    size = gx * gx + gy * gy
    best = size.argmax(axis=2)[..., None]
    gx = np.take_along_axis(gx, best, 2)[..., 0]
    gy = np.take_along_axis(gy, best, 2)[..., 0]
    strength = np.sqrt(gx * gx + gy * gy)
    usual = cv2.GaussianBlur(strength, (0, 0), 12 * sigma) + 0.5 * float(strength.mean()) + 1e-3
    return EdgeField(gx / usual, gy / usual)


def curve(ellipses: Floats, count: int = _SAMPLES) -> tuple[Floats, Floats]:
    """Return points (n, count, 2) on the ellipses and their outward unit normals."""
    turn = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    cx, cy, a, b, angle = (ellipses[:, i, None] for i in range(5))
    u, v = np.cos(turn)[None], np.sin(turn)[None]
    cos, sin = np.cos(angle), np.sin(angle)
    points = np.stack([cx + a * u * cos - b * v * sin, cy + a * u * sin + b * v * cos], axis=2)
    nx, ny = u / a, v / b
    normals = np.stack([nx * cos - ny * sin, nx * sin + ny * cos], axis=2)
    normals /= np.linalg.norm(normals, axis=2, keepdims=True)
    return points, normals


def sample(image: NDArray[np.float32], points: Floats) -> NDArray[np.float32]:
    """Return ``image`` at (…, 2) points, bilinear, zero outside."""
    flat = points.reshape(-1, 2).astype(np.float32)
    rows = max(1, -(-len(flat) // 16384))
    padded = np.zeros((rows * 16384, 2), np.float32)
    padded[: len(flat)] = flat
    grid = padded.reshape(rows, 16384, 2)
    values = cv2.remap(image, grid, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    return np.asarray(values.reshape(-1)[: len(flat)].reshape(points.shape[:-1]))


def support(field: EdgeField, ellipses: Floats, count: int = _SAMPLES) -> NDArray[np.float32]:
    """Return the edge strength across each ellipse at ``count`` places, (n, count), 0 to 1."""
    points, normals = curve(ellipses, count)
    across = sample(field.gx, points) * normals[..., 0] + sample(field.gy, points) * normals[..., 1]
    return np.minimum(np.abs(across) / 2.5, 1.0).astype(np.float32)


def refine(field: EdgeField, start: Floats, reach: float, rounds: int = 3) -> Floats:
    """Pull one ellipse (5,) onto the strongest edge within ``reach`` pixels on either side."""
    ellipse = start.copy()
    for _ in range(rounds):
        points, normals = curve(ellipse[None], 180)
        steps = np.linspace(-reach, reach, 2 * int(np.ceil(reach)) + 1)
        places = points[0][:, None] + normals[0][:, None] * steps[None, :, None]
        across = np.abs(
            sample(field.gx, places) * normals[0][:, None, 0]
            + sample(field.gy, places) * normals[0][:, None, 1]
        )
        across *= np.exp(-0.5 * (steps / reach) ** 2)[None]
        best = across.argmax(axis=1)
        rows = np.arange(len(best))
        strong = across[rows, best] > 0.5
        if strong.sum() < 40:
            return ellipse
        fitted = robust_fit(places[rows, best][strong], tolerance=max(1.0, reach / 3))
        if fitted is None:
            return ellipse
        ellipse = fitted
        reach = max(2.0, reach / 2)
    return ellipse


def robust_fit(points: Floats, tolerance: float) -> Floats | None:
    """Fit an ellipse (5,) to (n, 2) points, dropping in turn what lies off it; None if it fails."""
    kept = points
    ellipse: Floats | None = None
    for _ in range(5):
        if len(kept) < 20:
            return None
        (cx, cy), (d1, d2), degrees = cv2.fitEllipseDirect(kept.astype(np.float32))
        if not np.isfinite([cx, cy, d1, d2, degrees]).all() or min(d1, d2) < 4:
            return None
        ellipse = ordered(np.array([cx, cy, d1 / 2, d2 / 2, np.deg2rad(degrees)]))
        off = np.abs(distance(ellipse, points))
        kept = points[off < max(tolerance, 1.5 * float(np.median(off)))]
    return ellipse


def ordered(ellipse: Floats) -> Floats:
    """Return the same ellipse with the major axis first and its angle in 0 to pi."""
    cx, cy, a, b, angle = ellipse
    if b > a:
        a, b, angle = b, a, angle + np.pi / 2
    return np.array([cx, cy, a, b, angle % np.pi])


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
    y, x = np.mgrid[: shape[0], : shape[1]]
    u = (x - cx) * np.cos(angle) + (y - cy) * np.sin(angle)
    v = -(x - cx) * np.sin(angle) + (y - cy) * np.cos(angle)
    return np.asarray((u / (a * grow)) ** 2 + (v / (b * grow)) ** 2 <= 1.0)


def to_value(ellipse: Floats, scale: float = 1.0) -> Ellipse:
    """Return the reading's ellipse; ``scale`` is original pixels per pixel here."""
    cx, cy, a, b, angle = (float(value) for value in ordered(ellipse))
    center = ((cx + 0.5) * scale - 0.5, (cy + 0.5) * scale - 0.5)
    return Ellipse(center, (a * scale, b * scale), float(np.rad2deg(angle)))
