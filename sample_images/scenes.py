"""Geometry and textures of the sample pictures; ``generate.py`` renders them.

Lengths are millimetres, z points to the camera, the surface that things lie on is z = 0. Textures
are float arrays, rows from top to bottom. Everything random comes from a seeded generator, so the
same pictures and the same truth come out every time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]


def noise(rng: np.random.Generator, size: int, scale: float) -> Array:
    """Return smooth noise in 0..1, shape (size, size); ``scale`` is its grain in pixels."""
    field = ndimage.gaussian_filter(rng.standard_normal((size, size)), scale, mode="wrap")
    low, high = np.percentile(field, [1, 99])
    return np.clip((field - low) / (high - low), 0, 1)


def cloth(
    rng: np.random.Generator, size: int, colour: tuple[float, float, float]
) -> tuple[Array, Array]:
    """Return a woven shop towel: (colour texture, height texture)."""
    y, x = np.mgrid[0:size, 0:size]
    wobble = 6 * noise(rng, size, 30)
    weave = np.sin((x + wobble) * 2 * np.pi / 9) * np.sin((y + 1.3 * wobble) * 2 * np.pi / 9)
    height = 0.5 + 0.5 * weave + 0.5 * noise(rng, size, 2)
    shade = 0.75 + 0.2 * noise(rng, size, 40) + 0.12 * weave
    stains = np.clip(noise(rng, size, 25) - 0.78, 0, 1) * 2.2
    return np.clip(np.array(colour) * shade[..., None] * (1 - stains[..., None]), 0, 1), height


def paper(rng: np.random.Generator, size: int) -> tuple[Array, Array]:
    """Return an embossed paper towel: (grey reflectance, height)."""
    y, x = np.mgrid[0:size, 0:size]
    quilt = (
        np.abs(np.sin((x + y) * np.pi / 150)) ** 0.3 * np.abs(np.sin((x - y) * np.pi / 150)) ** 0.3
    )
    height = quilt + 0.25 * noise(rng, size, 1.5)
    return 0.82 + 0.03 * noise(rng, size, 3), height


def lathe(
    profile: list[tuple[float, float]], segments: int = 256
) -> tuple[Array, NDArray[np.uint32]]:
    """Turn a profile of (radius, z) points round the z axis: (vertices, faces)."""
    angles = np.linspace(0, 2 * np.pi, segments, endpoint=False)
    rings = [
        np.stack([r * np.cos(angles), r * np.sin(angles), np.full(segments, z)], axis=1)
        for r, z in profile
    ]
    faces = []
    for i in range(len(profile) - 1):
        a = i * segments + np.arange(segments)
        b = i * segments + (np.arange(segments) + 1) % segments
        faces += [np.stack([a, b, b + segments], 1), np.stack([a, b + segments, a + segments], 1)]
    return np.concatenate(rings), np.concatenate(faces).astype(np.uint32)


def plug_profile(radius: float, magnet: float, height: float) -> list[tuple[float, float]]:
    """Return the outline of a threaded plug standing on its head, magnet recess on top."""
    points = [
        (magnet, height - 0.6),
        (magnet + 0.25, height),
        (radius - 0.5, height),
        (radius, height - 0.5),
    ]
    z = height - 1.0
    while z > 1.5:
        points += [(radius, z), (radius - 0.75, z - 0.55), (radius, z - 1.1)]
        z -= 1.25
    return [*points, (radius, 0.0)]


def relief(
    mask: Array, height: Array, span: float, base: float
) -> tuple[Array, NDArray[np.uint32]]:
    """Return a height field as a mesh; there is none of it outside ``mask``."""
    size = len(mask)
    axis = np.linspace(-span, span, size)
    x, y = np.meshgrid(axis, axis)
    z = np.where(mask > 0.5, base + height, base - 0.05)
    vertices = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    i = np.arange(size * size).reshape(size, size)
    a, b, c, d = (s.ravel() for s in (i[:-1, :-1], i[:-1, 1:], i[1:, 1:], i[1:, :-1]))
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return vertices, faces[(mask.ravel()[faces] > 0.5).any(axis=1)].astype(np.uint32)


@dataclass(frozen=True)
class Film:
    """Magnetic film on a magnet's face, with its share of the face."""

    mask: Array
    height: Array
    coverage: float


def film(rng: np.random.Generator, span: float, radius: float, share: float) -> Film:
    """Return spiky film on ``share`` (0..1) of a face of ``radius``, thickest at the rim."""
    size = 700
    axis = np.linspace(-span, span, size)
    x, y = np.meshgrid(axis, axis)
    r = np.hypot(x, y)
    field = 0.6 * noise(rng, size, 22) + 0.3 * noise(rng, size, 6) + 0.55 * (r / radius) ** 2
    face = r <= radius
    edge = np.quantile(field[face], 1 - share)
    over_rim = r <= radius + 0.5 * noise(rng, size, 10)
    mask = (field > edge) & over_rim
    spikes = noise(rng, size, 1.6) ** 3
    depth = np.clip(ndimage.distance_transform_edt(mask) / 25, 0, 1)
    height = depth * (0.12 + 0.45 * spikes)
    return Film(mask.astype(float), height, float(mask[face].mean()))


def flake(rng: np.random.Generator, length: float, at: tuple[float, float], z: float) -> Array:
    """Return the outline of a thin chip, (n, 3) points, whose longest extent is ``length``."""
    n = 9
    angle = np.sort(rng.uniform(0, 2 * np.pi, n))
    points = np.stack([np.cos(angle), rng.uniform(0.3, 0.5) * np.sin(angle)], 1)
    points *= rng.uniform(0.8, 1.0, (n, 1))
    longest = max(np.linalg.norm(p - q) for p in points for q in points)
    points *= length / longest
    turn = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(turn), np.sin(turn)
    flat = points @ np.array([[c, s], [-s, c]])
    lift = rng.normal(0, 0.04, n)
    return np.stack([flat[:, 0] + at[0], flat[:, 1] + at[1], z + lift], axis=1)


def blot(
    rng: np.random.Generator, size: int, centre: tuple[float, float], radius: float
) -> tuple[Array, Array]:
    """Return (soaked core, paler rim ring) masks of a drop on paper, 0..1."""
    y, x = np.mgrid[0:size, 0:size]
    wobble = 1 + 0.12 * (noise(rng, size, 60) - 0.5) + 0.05 * (noise(rng, size, 4) - 0.5)
    r = np.hypot(x - centre[0], y - centre[1]) / (radius * wobble)
    return np.clip((0.92 - r) / 0.06, 0, 1), np.clip((1.08 - r) / 0.04, 0, 1)


def wet_mask(rng: np.random.Generator, rows: int, columns: int, row: float) -> Array:
    """Return the fluid on a blade, 1 wet and 0 dry; the edge crosses the middle at ``row``."""
    across = np.linspace(-1, 1, columns)
    wavy = ndimage.gaussian_filter1d(rng.standard_normal(columns), 9, mode="nearest") * 10
    edge = row + 7 * across**2 + wavy - wavy[columns // 2]
    return np.clip((np.arange(rows)[:, None] - edge[None, :]) / 9 + 0.5, 0, 1)
