"""Drawn steel under fluid, with what it shows beside colour: fine streaks, a mirror and a lip."""

from __future__ import annotations

import cv2
import draw_stick
import numpy as np
from draw_stick import Stick
from numpy.typing import NDArray

Plane = NDArray[np.float32]
_plain = draw_stick._wetted


def wetted(
    metal: Plane, wet: Plane, stick: Stick, place: tuple[Plane, Plane], r: np.random.Generator
) -> Plane:
    """Return the painted blade as ``draw_stick`` does, streaks, mirror and lip before it by chance.

    ``metal`` and ``wet`` (0 dry .. 1 wet) are (rows, columns), as are both planes of ``place``, mm.
    """
    u = place[0]
    if r.random() < 0.8:
        metal = metal * np.exp(wet * _streaks(u.shape, r))
    if r.random() < 0.6:
        count = int(r.integers(5, 14))
        knots = np.interp(u[0], np.linspace(0, u.max(), count), r.normal(0, 0.5, count))
        seen = cv2.GaussianBlur(knots[None].astype(np.float32), (0, 0), r.uniform(2, 40))
        metal = metal * np.exp(wet * (seen - seen.mean()))
    if r.random() < 0.7:
        metal = metal * np.exp(_lip(u - _edge_of(stick, wet, u), r))
    return np.asarray(_plain(metal, wet, stick, place, r), np.float32)


def _noise(shape: tuple[int, int], along: float, across: float, r: np.random.Generator) -> Plane:
    """Return smooth noise of standard deviation 1."""
    made = cv2.GaussianBlur(r.normal(size=shape).astype(np.float32), (0, 0), along, sigmaY=across)
    return np.asarray(made / made.std(), np.float32)


def _streaks(shape: tuple[int, int], r: np.random.Generator) -> Plane:
    """Return fine streaks along the blade, in patches."""
    fine = _noise(shape, r.uniform(12, 70), r.uniform(0.6, 2.5), r)
    if r.random() < 0.5:
        fine = np.sign(fine) * np.maximum(np.abs(fine) - np.float32(r.uniform(0, 1.2)), 0)
    coarse = _noise((shape[0] // 8, shape[1] // 8), 8, 8, r)
    patch = cv2.resize(coarse, (shape[1], shape[0]))
    strength = r.uniform(0.03, 0.45) * np.clip(0.7 + 0.6 * patch, 0, 2)
    return np.asarray(strength * fine, np.float32)


def _lip(beyond: Plane, r: np.random.Generator) -> Plane:
    """Return the lip's light along the edge, broken; ``beyond`` is mm beyond the edge."""
    broken = _noise((beyond.shape[0], 1), 1, r.uniform(2, 12), r)
    broken = np.clip(broken - r.uniform(-1.5, 0.8), 0, 1)
    wide, at = r.uniform(0.04, 0.2), r.uniform(-0.1, 0.1)
    light = r.uniform(-0.9, 1.4) * broken * np.exp(-(((beyond - at) / wide) ** 2))
    return np.asarray(light, np.float32)


def _edge_of(stick: Stick, wet: Plane, u: Plane) -> Plane:
    """Return where each row's fluid ends near the level, mm, shape (rows, 1)."""
    level = stick.lower_mm + stick.level * stick.marks_mm
    near = np.abs(u[0] - level) < 3
    if near.sum() < 3:
        return np.full((u.shape[0], 1), level, np.float32)
    first = (wet[:, near] < 0.5).argmax(axis=1)
    return np.asarray(u[0][near][first][:, None], np.float32)
