"""Lengths of particles from a mask: the maximum Feret diameter, in millimetres.

x_Fmax is the largest distance between two parallel tangents of the outline (ISO 13322-1:2014);
for the corners of a convex outline it is the largest distance between two of them. Lengths are
taken in the plane of the plug's face: the picture's foreshortening by the tilt is undone first.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import Floats
from joblog.vision.plug_nets import Crop
from joblog.vision.types import Flake, Photo

# A flake leans on what lies under it. Its lean can't be seen, so the usual one is undone: at 14
# degrees (of 0 to 28) its length looks 3 % too short.
USUAL_LEAN = 1.03


def feret_max(points: Floats) -> float:
    """Return the maximum Feret diameter of a set of (n, 2) points, in their own unit."""
    if len(points) < 2:
        return 0.0
    hull = cv2.convexHull(points.astype(np.float32))[:, 0].astype(np.float64)
    apart = hull[:, None] - hull[None]
    return float(np.sqrt((apart**2).sum(axis=2).max()))


def upright(points: Floats, tilt: tuple[float, float]) -> Floats:
    """Undo the foreshortening of (n, 2) points; ``tilt`` is (minor / major, major's angle)."""
    aspect, angle = tilt
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-np.sin(angle), np.cos(angle)])
    return np.stack([points @ along, points @ across / aspect], axis=1)


def flakes_in(
    mask: NDArray[np.bool_],
    crop: Crop,
    photo: Photo,
    *,
    mm_per_px: float,
    tilt: tuple[float, float],
    least_mm: float,
) -> tuple[Flake, ...]:
    """Return the mask's connected pieces of at least ``least_mm``, longest first.

    ``crop`` says where the mask's grid of pixels lies in ``photo.rgb``; ``mm_per_px`` holds per
    pixel of ``photo.rgb``.
    """
    outlines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = []
    for outline in outlines:
        corners = _pixel_corners(outline[:, 0].astype(np.float64))
        places = crop.outward(corners)
        length = feret_max(upright(places, tilt)) * mm_per_px * USUAL_LEAN
        if length < least_mm:
            continue
        drawn = cv2.approxPolyDP(outline, 0.7, closed=True)[:, 0]
        shape = crop.outward(drawn.astype(np.float64))
        centre = places.mean(axis=0)
        found.append(
            Flake(length, photo.to_original(centre), photo.polygon_to_original(shape.tolist()))
        )
    return tuple(sorted(found, key=lambda flake: -flake.length_mm))


def _pixel_corners(pixels: Floats) -> Floats:
    """Return the corners of boundary pixels (n, 2): a piece one pixel wide isn't 0 wide."""
    offsets = np.array([(-0.5, -0.5), (-0.5, 0.5), (0.5, -0.5), (0.5, 0.5)])
    corners = pixels[:, None] + offsets[None]
    return np.asarray(corners.reshape(-1, 2), np.float64)
