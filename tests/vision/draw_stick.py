"""Draw dipsticks with exactly known truth: our own, independent of any photo set.

A flat blade is painted in its own millimetres, seen through a camera that stands askew, and then
degraded as a phone would (exposure, white balance, blur, noise, JPEG). All is drawn from one seed.
Truth has the same fields as a labelled folder's ``truth.json``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from draw_swatch import photographed

PX_MM = 24  # blade texture, samples per mm
FLUIDS = {
    "amber": (0.78, 0.55, 0.10),
    "red": (0.72, 0.16, 0.15),
    "dark brown": (0.34, 0.21, 0.12),
    "clear": (0.93, 0.92, 0.86),
}
STYLES = ("two round holes", "two round dots", "cross-hatched zone between two notches")


@dataclass
class Stick:
    """What is drawn; lengths in mm, ``lower`` is the lower mark's distance from the tip."""

    style: str = STYLES[0]
    fluid: str = "amber"
    level: float = 0.5
    marks_mm: float = 20.0
    width_mm: float = 6.0
    lower_mm: float = 12.0
    tip: str = "round"
    edge_mm: float = 0.4
    smear: bool = False
    drops: int = 0
    letters: bool = False
    bend_mm: float = 0.0
    turn_deg: float = 30.0
    tilt_deg: float = 8.0
    tilt_axis_deg: float = 0.0
    light: tuple[float, float, float] = (1.0, 1.0, 1.0)
    background: str = "cloth"
    exposure: float = 1.0
    blur: float = 0.4
    noise: float = 1.0
    quality: int = 85
    reach: float = 0.42  # mark distance as a share of the picture's long side
    extra: dict[str, Any] = field(default_factory=dict)


def random_stick(seed: int) -> Stick:
    """Return a stick with everything drawn by chance."""
    r = np.random.default_rng(seed)
    style = STYLES[r.integers(3)]
    marks = float(r.uniform(12, 30))
    kelvin = float(r.uniform(-1, 1))
    return Stick(
        style=style,
        fluid=list(FLUIDS)[r.choice(4, p=[0.28, 0.28, 0.24, 0.2])],
        level=float(
            r.choice(
                [r.uniform(0.03, 0.97), r.uniform(-0.4, -0.05), r.uniform(1.05, 1.4)],
                p=[0.6, 0.2, 0.2],
            )
        ),
        marks_mm=marks,
        width_mm=float(r.uniform(5, 8)),
        lower_mm=float(max(0.45 * marks + 3, r.uniform(9, 18))),
        tip=str(r.choice(["round", "square", "point"])),
        edge_mm=float(r.uniform(0.12, 1.0)),
        smear=bool(r.random() < 0.3),
        drops=int(r.choice([0, 0, 1, 3, 5])),
        letters=bool(r.random() < 0.3),
        bend_mm=float(r.choice([0.0, r.uniform(-2.5, 2.5)])),
        turn_deg=float(r.uniform(0, 360)),
        tilt_deg=float(r.uniform(0, 27)),
        tilt_axis_deg=float(r.uniform(0, 360)),
        light=(1 + 0.25 * kelvin, 1.0, 1 - 0.3 * kelvin),
        background=str(r.choice(["cloth", "blue", "wood", "clutter", "red", "paper"])),
        exposure=float(2 ** r.uniform(-0.5, 0.7)),
        blur=float(r.choice([0.3, 0.6, r.uniform(0.5, 1.6)])),
        noise=float(r.uniform(0.5, 2.2)),
        quality=int(r.integers(70, 93)),
        reach=float(r.uniform(0.25, 0.45)),
    )


def draw_stick(
    stick: Stick, seed: int = 0, size: tuple[int, int] = (1024, 768)
) -> tuple[np.ndarray, dict[str, Any]]:
    """Return the picture (uint8 RGB) and its truth."""
    r = np.random.default_rng(seed + 1000)
    length = stick.lower_mm + stick.marks_mm * 3.2
    blade, alpha = _blade(stick, length, r)
    to_plane, to_picture = _camera(stick, size)
    width, height = size
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    u, v = _unbend(stick, *to_plane(x.astype(float), y.astype(float)))
    map_x = (u * PX_MM).astype(np.float32)
    map_y = ((v + stick.width_mm * 0.7) * PX_MM).astype(np.float32)
    colour = cv2.remap(blade, map_x, map_y, cv2.INTER_AREA, borderValue=(0, 0, 0))
    cover = cv2.remap(alpha, map_x, map_y, cv2.INTER_LINEAR, borderValue=0.0)
    ground = _background(stick.background, size, r)
    shade = cv2.GaussianBlur(np.roll(cover, (9, 7), (0, 1)), (0, 0), 9)
    ground = ground * (1 - 0.45 * shade[..., None])
    picture = ground * (1 - cover[..., None]) + colour * cover[..., None]
    picture = _photographed(picture, stick, r)
    return picture, _truth(stick, to_picture)


def _blade(stick: Stick, length: float, r: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return the painted blade (linear RGB) and its coverage."""
    rows, columns = round(stick.width_mm * 1.4 * PX_MM), round(length * PX_MM)
    v, u = np.mgrid[0:rows, 0:columns].astype(np.float32)
    u, v = u / PX_MM, v / PX_MM - stick.width_mm * 0.7
    metal = _metal(u, v, length, r)
    marks = (stick.lower_mm, stick.lower_mm + stick.marks_mm)
    alpha = _outline(stick, u, v, marks)
    if stick.style == STYLES[2]:
        metal = metal * _hatching(stick, u, v, marks, r)
    elif stick.style == STYLES[1]:
        for mark in marks:
            d = np.hypot(u - mark, v) / (0.16 * stick.width_mm)
            rim = np.exp(-(((d - 1) / 0.15) ** 2)) * np.sign(v + 1e-6)
            metal = metal * (1 - 0.35 * (d < 1) + 0.25 * rim)
    if stick.letters:
        metal = metal * _letters(stick, u.shape, marks)
    wet = _wetness(stick, u, v, r)
    return _wetted(metal, wet, stick, (u, v), r), alpha


def _metal(u: np.ndarray, v: np.ndarray, length: float, r: np.random.Generator) -> np.ndarray:
    """Return brushed steel: what it mirrors along its length, and its grain."""
    knots = np.interp(u[0], np.linspace(0, length, 7), np.log(r.uniform(0.12, 1.1, 7)))
    across = r.uniform(-0.25, 0.25) * v / max(1e-6, float(v.max()))
    grain = cv2.GaussianBlur(
        r.normal(size=u.shape).astype(np.float32), (0, 0), sigmaX=60, sigmaY=0.8
    )
    grain /= grain.std()
    return np.exp(
        cv2.GaussianBlur(knots[None].astype(np.float32), (0, 0), 60) + across + 0.06 * grain
    )


def _outline(stick: Stick, u: np.ndarray, v: np.ndarray, marks: tuple[float, float]) -> np.ndarray:
    half = stick.width_mm / 2
    inside = np.minimum(half - np.abs(v), u)
    if stick.tip == "round":
        inside = np.where(u < half, np.minimum(inside, half - np.hypot(u - half, v)), inside)
    elif stick.tip == "point":
        inside = np.minimum(inside, (u * 0.55 + 0.25 - np.abs(v)))
    for mark in marks:
        if stick.style == STYLES[0]:
            inside = np.minimum(inside, np.hypot(u - mark, v) - 0.2 * stick.width_mm)
        if stick.style == STYLES[2]:
            bite = 0.16 * stick.width_mm
            inside = np.minimum(inside, np.hypot(u - mark, np.abs(v) - half) - bite)
    return np.clip(inside * PX_MM + 0.5, 0, 1).astype(np.float32)


def _hatching(
    stick: Stick, u: np.ndarray, v: np.ndarray, marks: tuple[float, float], r: np.random.Generator
) -> np.ndarray:
    angle, pitch = np.radians(r.uniform(35, 55)), r.uniform(0.8, 1.6)
    relief = np.zeros_like(u)
    for sign in (-1, 1):
        phase = (u * np.sin(angle) + sign * v * np.cos(angle)) / pitch % 1
        relief += np.exp(-(((phase - 0.5) / 0.09) ** 2)) * -0.6
        relief += np.exp(-(((phase - 0.65) / 0.07) ** 2)) * 0.35
    zone = ((u > marks[0]) & (u < marks[1])).astype(np.float32)
    lines = sum(np.exp(-(((u - mark) / 0.1) ** 2)) for mark in marks)
    return 1 + relief * zone - 0.4 * lines


def _letters(stick: Stick, shape: tuple[int, ...], marks: tuple[float, float]) -> np.ndarray:
    ink = np.zeros(shape, np.uint8)
    for mark, word in zip(marks, ("L", "H"), strict=True):
        at = (round((mark + 1.6) * PX_MM), round((stick.width_mm * 0.7 + 0.8) * PX_MM))
        cv2.putText(ink, word, at, cv2.FONT_HERSHEY_SIMPLEX, 1.6, 255, 5, cv2.LINE_AA)
    soft = cv2.GaussianBlur(ink.astype(np.float32) / 255, (0, 0), 1.5)
    return 1 - 0.5 * soft + 0.4 * np.roll(soft, (3, 3), (0, 1))


def _wetness(stick: Stick, u: np.ndarray, v: np.ndarray, r: np.random.Generator) -> np.ndarray:
    """Return 0 dry .. 1 wet; the edge crosses the axis exactly at the level."""
    level = stick.lower_mm + stick.level * stick.marks_mm
    wave = cv2.GaussianBlur(r.normal(size=(u.shape[0], 1)).astype(np.float32), (0, 0), 10)
    wave = wave / max(1e-6, float(wave.std())) * r.uniform(0.05, 0.3)
    wave -= wave[u.shape[0] // 2]
    slope = r.uniform(-0.08, 0.08)
    steps = (u - level - wave - slope * v) / (stick.edge_mm / 4.4)
    wet = 1 / (1 + np.exp(np.clip(steps, -40, 40)))
    if stick.smear:
        for _ in range(r.integers(1, 4)):
            at, wide = r.uniform(-0.35, 0.35) * stick.width_mm, r.uniform(0.15, 0.5)
            reach = level + r.uniform(2, 9)
            streak = np.exp(-(((v - at) / wide) ** 2)) * (u < reach) * (u > level)
            wet = np.maximum(wet, 0.6 * streak)
    for _ in range(stick.drops):
        at, side = level + r.uniform(1.5, 14), r.uniform(-0.4, 0.4) * stick.width_mm
        size = r.uniform(0.3, 0.8)
        drop = np.hypot((u - at) / 1.4, v - side) < size
        wet = np.maximum(wet, 0.9 * cv2.GaussianBlur(drop.astype(np.float32), (0, 0), 2))
    return wet.astype(np.float32)


def _wetted(
    metal: np.ndarray,
    wet: np.ndarray,
    stick: Stick,
    place: tuple[np.ndarray, np.ndarray],
    r: np.random.Generator,
) -> np.ndarray:
    u, v = place
    level = stick.lower_mm + stick.level * stick.marks_mm
    tint = np.array(FLUIDS[stick.fluid], np.float32) ** r.uniform(0.6, 1.5)
    rim = 1 + 0.6 * np.exp(-(((u - level + 0.5) / 0.5) ** 2))
    film = tint[None, None] ** (wet * rim)[..., None]
    gloss = 1 + wet * r.uniform(-0.3, 0.12)
    dashes = cv2.GaussianBlur(
        r.normal(size=u.shape).astype(np.float32), (0, 0), sigmaX=22, sigmaY=1.6
    )
    dashes = np.clip(dashes / dashes.std() - r.uniform(1.6, 3.2), 0, 1) * r.choice([0.0, 0.5, 1.0])
    glints = cv2.GaussianBlur(r.normal(size=u.shape).astype(np.float32), (0, 0), 5)
    near = np.exp(-(((u - level + 0.15) / 0.25) ** 2)) * (np.abs(v) < stick.width_mm / 2)
    glints = np.clip(glints / glints.std() - 0.6, 0, 1) * near * r.uniform(0.1, 0.8)
    if stick.fluid == "clear":
        glints = glints + 0.25 * near
    painted = (metal * gloss)[..., None] * film * 0.75
    return (painted + (dashes * wet + glints)[..., None] * 0.8).astype(np.float32)


def _camera(stick: Stick, size: tuple[int, int]) -> tuple[Any, Any]:
    """Return functions from picture to blade plane (mm along, mm across) and back."""
    width, height = size
    focal = 1.2 * width
    scale = stick.reach * width / stick.marks_mm  # pixels per mm at the picture's middle
    distance = focal / scale
    turn, tilt, way = (np.radians(a) for a in (stick.turn_deg, stick.tilt_deg, stick.tilt_axis_deg))
    spin = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    axis = np.array([np.cos(way), np.sin(way), 0.0])
    lean = cv2.Rodrigues(axis * tilt)[0]
    rotation = lean @ spin
    centre = np.array([stick.lower_mm + stick.marks_mm / 2, 0.0])
    plane = np.column_stack([rotation[:, 0], rotation[:, 1], [0, 0, distance]])
    plane[:, 2] -= rotation[:, :2] @ centre
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    forward = camera @ plane
    backward = np.linalg.inv(forward)

    def project(matrix: np.ndarray, a: Any, b: Any) -> tuple[Any, Any]:
        w = matrix[2, 0] * a + matrix[2, 1] * b + matrix[2, 2]
        x = matrix[0, 0] * a + matrix[0, 1] * b + matrix[0, 2]
        y = matrix[1, 0] * a + matrix[1, 1] * b + matrix[1, 2]
        return x / w, y / w

    return (lambda x, y: project(backward, x, y)), (lambda u, v: project(forward, u, v))


def _bend(stick: Stick, u: Any) -> Any:
    middle = stick.lower_mm + stick.marks_mm / 2
    return stick.bend_mm * ((u - middle) / 25.0) ** 2


def _unbend(stick: Stick, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return u, v - _bend(stick, u)


def _background(kind: str, size: tuple[int, int], r: np.random.Generator) -> np.ndarray:
    width, height = size
    base = {
        "cloth": (0.28, 0.27, 0.25),
        "blue": (0.06, 0.13, 0.34),
        "wood": (0.16, 0.10, 0.06),
        "red": (0.35, 0.04, 0.05),
        "paper": (0.6, 0.58, 0.52),
        "clutter": (0.1, 0.1, 0.1),
    }[kind]
    ground = np.ones((height, width, 3), np.float32) * np.array(base, np.float32)
    if kind == "clutter":
        for _ in range(14):
            colour = tuple(float(c) for c in r.uniform(0.01, 0.5, 3))
            a, b = (tuple(int(v) for v in r.uniform(0, 1, 2) * (width, height)) for _ in range(2))
            cv2.line(ground, a, b, colour, int(r.uniform(10, 120)))
        return cv2.GaussianBlur(ground, (0, 0), r.uniform(4, 12))
    for sigma, strength in ((1.2, 0.12), (6.0, 0.05), (40.0, 0.15)):
        texture = cv2.GaussianBlur(r.normal(size=(height, width)).astype(np.float32), (0, 0), sigma)
        ground *= np.exp(strength * texture / texture.std())[..., None]
    return ground


def _photographed(picture: np.ndarray, stick: Stick, r: np.random.Generator) -> np.ndarray:
    """Return 8-bit sRGB as a phone would store it."""
    width = picture.shape[1]
    ramp = np.linspace(1 - r.uniform(0, 0.25), 1, width, dtype=np.float32)[None, :, None]
    linear = picture * ramp * np.array(stick.light, np.float32) * stick.exposure
    return photographed(linear, stick.blur, r, 1.8 * stick.noise, stick.quality)


def _truth(stick: Stick, to_picture: Any) -> dict[str, Any]:
    level = stick.lower_mm + stick.level * stick.marks_mm

    def at(u: float, v: float = 0.0) -> list[float]:
        x, y = to_picture(u, v + _bend(stick, u))
        return [round(float(x), 2), round(float(y), 2)]

    half = stick.width_mm / 2
    return {
        "usable": True,
        "level_fraction": round(stick.level, 4),
        "lower_mark_px": at(stick.lower_mm),
        "upper_mark_px": at(stick.lower_mm + stick.marks_mm),
        "wet_edge_px": at(level),
        "tip_px": at(0.0),
        "blade_edges_at_level_px": [at(level, -half), at(level, half)],
        "mark_distance_mm": round(stick.marks_mm, 3),
        "mark_style": stick.style,
        "fluid_colour": stick.fluid,
    }
