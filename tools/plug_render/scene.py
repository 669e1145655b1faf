# ruff: noqa: D103, N806
# Short mathematical names, and numpy arrays added to lists, are meant here.
"""Random drain-plug scenes for the path tracer, with their exact truth. Lengths are mm."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from shapes import debris, unit


@dataclass
class Plug:
    """One scene: what the tracer takes, and the truth."""

    params: np.ndarray
    height: np.ndarray
    ids: np.ndarray
    table: np.ndarray
    truth: dict[str, Any] = field(default_factory=dict)


@dataclass
class Placing:
    """How the plug lies before its background: mm and radians."""

    pose: str
    depth: float
    dist: float
    tilt: float


def colour(rng, kinds):
    base = np.array(kinds[rng.integers(len(kinds))], float)
    return np.clip(base * rng.uniform(0.75, 1.3) * (1 + rng.normal(0, 0.025, 3)), 0.005, 0.95)


STEELS = [
    (0.55, 0.55, 0.56),
    (0.6, 0.6, 0.62),
    (0.45, 0.44, 0.43),
    (0.7, 0.6, 0.38),
    (0.68, 0.55, 0.45),
    (0.1, 0.095, 0.09),
    (0.16, 0.16, 0.17),
    (0.3, 0.3, 0.31),
    (0.4, 0.36, 0.33),
    (0.5, 0.52, 0.6),
]
MAGNETS = [
    (0.72, 0.7, 0.66),
    (0.66, 0.64, 0.6),
    (0.42, 0.42, 0.43),
    (0.35, 0.34, 0.34),
    (0.2, 0.2, 0.21),
    (0.5, 0.48, 0.46),
]
BACKS = [
    (0.05, 0.15, 0.5),
    (0.12, 0.35, 0.7),
    (0.45, 0.06, 0.08),
    (0.75, 0.74, 0.7),
    (0.6, 0.6, 0.6),
    (0.75, 0.25, 0.05),
    (0.08, 0.08, 0.08),
    (0.25, 0.15, 0.08),
    (0.4, 0.4, 0.42),
    (0.12, 0.13, 0.15),
    (0.8, 0.8, 0.78),
    (0.45, 0.35, 0.25),
    (0.1, 0.3, 0.12),
    (0.03, 0.05, 0.2),
]


def metal(rng):
    """Return a plug without debris: sizes in mm."""
    u = rng.uniform
    R = u(5.5, 13.5)
    p = {
        "R": R,
        "chamfer": R * u(0.02, 0.09),
        "chamfer_slope": u(0.5, 1.7),
        "threads": float(rng.random() < 0.7),
        "pitch": rng.choice([1.0, 1.25, 1.5, 1.5, 1.75, 2.0]),
        "thread_depth": 0.0,
        "length": u(6, 16),
    }
    p["thread_depth"] = p["pitch"] * u(0.35, 0.6)
    flange = rng.random() < 0.42
    p["flange_R"] = R * u(1.2, 1.6) if flange else 0.0
    p["flange_z"] = -u(4.5, 14)
    p["flange_t"] = u(2, 6)
    p["flange_groove"] = p["flange_R"] * u(0.8, 0.95) if flange and rng.random() < 0.5 else 0.0
    p["length"] = max(p["length"], -p["flange_z"] + 1) if flange else p["length"]
    rm = R * u(0.26, 0.68)
    p["mag_R"] = rm
    p["mag_h"] = rng.choice([0.0, 0.0, u(-0.8, 0), u(0, 1.6), u(0, 1.6)])
    p["mag_fillet"] = u(0.05, 0.35)
    p["dome"] = u(0, 0.35) if rng.random() < 0.6 else 0.0
    if p["dome"] > 0:
        p["mag_fillet"] = min(p["mag_fillet"], 0.2)
    p["recess_R"] = rm + min(
        u(0.04, 0.8) if rng.random() < 0.75 else 0.03, 0.8 * (R - p["chamfer"] - rm)
    )
    p["recess_depth"] = max(u(0.3, 1.2), -p["mag_h"] + 0.3 + p["dome"])
    lip = rng.random() < 0.35
    p["lip_r"] = u(p["recess_R"] + 0.5, R * 0.93) if lip else 0.0
    p["lip_w"] = u(0.05, 0.25)
    p["lip_h"] = rng.choice([-1, 1]) * u(0.03, 0.2) if lip else 0.0
    p.update(
        groove_amp=u(0, 0.16) if rng.random() < 0.7 else 0.02,
        groove_freq=u(4, 18),
        groove_seed=u(0, 50),
        groove_ecc=u(0, 0.25),
    )
    return p


def materials(p, rng):
    """Add colours and roughness of steel, magnet, film and oil."""
    u = rng.uniform
    wet = p["wet"]
    p["steel"] = colour(rng, STEELS)
    p["steel_rough"] = u(0.22, 0.6)
    p["steel2"] = np.clip(
        p["steel"]
        * rng.choice([u(0.4, 0.8), u(1.1, 1.5)])
        * (np.array([1.15, 0.95, 0.75]) if rng.random() < 0.5 else 1),
        0.01,
        0.95,
    )
    p.update(
        stain_amt=u(0, 1) if rng.random() < 0.6 else 0.0,
        stain_scale=u(0.15, 0.8),
        stain_seed=u(0, 50),
    )
    p["mag"] = colour(rng, MAGNETS)
    p["mag_rough"] = u(0.03, 0.42)
    p["film"] = np.clip(
        u(0.008, 0.04) * (1 + np.array([u(0, 0.15), 0, -u(0, 0.15)])), 0.005, 0.3
    ) * rng.choice([1, 1, 1, 1.6, 2.4])
    p["film_rough"] = u(0.45, 0.8) if wet < 0.5 else u(0.18, 0.5)
    p["film_spec"] = u(0.01, 0.035) if wet < 0.5 else u(0.03, 0.16)
    if rng.random() < 0.25:
        p["film_spec"] = u(0.05, 0.2)
    p.update(
        oil=(0.25 + 0.75 * wet) * u(0.2, 0.65)
        if wet
        else (u(0.1, 0.4) if rng.random() < 0.25 else 0.0),
        oil_scale=u(0.15, 0.6),
        oil_seed=u(0, 50),
        oil_tint=np.clip(1 + np.array([0, -0.1, -0.25]) * u(0, 1), 0.4, 1),
        oil_haze=u(0, 1) if rng.random() < 0.5 else 0.0,
        oil_mag=np.exp(u(-0.3, 1.8)),
    )


def placing(p, rng, width):
    """Add the camera; return what the background needs to know."""
    u = rng.uniform
    R, flange = p["R"], p["flange_R"] > 0
    depth = 40.0
    pose = str(rng.choice(["stand", "lie", "float", "palm"], p=[0.45, 0.25, 0.15, 0.15]))
    big = max(R, p["flange_R"])
    # camera
    tilt, az = np.deg2rad(u(0, 32)), u(0, 2 * np.pi)
    if rng.random() < 0.2:
        tilt *= 0.3
    dirn = np.array([np.sin(tilt) * np.cos(az), np.sin(tilt) * np.sin(az), np.cos(tilt)])
    a_px = u(0.15, 0.29) * width
    dist = np.exp(u(np.log(0.9), np.log(3.2))) * width * R / a_px
    cam = dirn * dist
    fwd = -dirn
    ref = unit(rng.standard_normal(3))
    z = np.array([0, 0, 1.0])
    if pose == "lie":
        a = u(0, 2 * np.pi)
        bg_n = np.array([np.cos(a), np.sin(a), 0])
        bg_o = -bg_n * (big + u(0, 1.0))
        ref = bg_n + 0.15 * rng.standard_normal(3)
        bg_n = unit(bg_n + 0.05 * rng.standard_normal(3))
    else:
        bg_n = unit(z + rng.standard_normal(3) * (0.04 if pose == "stand" else 0.25))
        depth = {
            "stand": p["length"] + (3 if flange else 0) + u(0, 2),
            "float": u(60, 220),
            "palm": u(6, 16),
        }[pose]
        bg_o = np.array([0, 0, -depth])
    right = unit(np.cross(fwd, ref))
    up = np.cross(right, fwd)
    focal = a_px * dist / R
    p.update(cam=cam, right=right, up=up, fwd=fwd, focal=focal, bg_o=bg_o, bg_n=bg_n)
    return Placing(pose, depth, dist, tilt)


def background(p, rng, at):
    """Add the cloth, bench, glove or paper behind the plug."""
    u = rng.uniform
    p.update(
        bg_u=unit(np.cross(p["bg_n"], rng.standard_normal(3))),
        bg_c1=colour(rng, BACKS),
    )
    p["bg_c2"] = np.clip(p["bg_c1"] * u(0.5, 1.3) * (1 + rng.normal(0, 0.08, 3)), 0.01, 0.95)
    weave = rng.random() < 0.5
    p.update(
        bg_scale=np.exp(u(-3.2, 0.3)),
        bg_weave=u(3, 14) if weave else 0.0,
        bg_bump=u(0.05, 0.6),
        bg_fold=u(0.3, 3) if at.pose == "palm" or rng.random() < 0.2 else 0.0,
        bg_fold_scale=u(0.02, 0.12),
        bg_seed=u(0, 50),
        bg_rough=u(0.25, 0.8),
        bg_spec=u(0, 0.08),
    )
    if at.pose == "lie":
        p["bg_fold"] *= 0.2


def clutter(p, rng, at):
    """Add rods and boxes around or far behind."""
    u = rng.uniform
    big = max(p["R"], p["flange_R"])
    things = np.zeros((12, 12), np.float32)
    count = (
        int(rng.integers(4, 12))
        if at.pose == "float"
        else int(rng.integers(0, 3))
        if rng.random() < 0.3
        else 0
    )
    for i in range(count):
        c = np.array(
            [
                *(rng.uniform(-1, 1, 2) * at.dist * 0.5),
                -u(0.25, 0.9) * (at.depth if at.pose == "float" else 40),
            ]
        )
        if at.pose != "float":
            c[:2] = unit(rng.standard_normal(2)) * u(2.2, 4) * big
            c[2] = -u(5, 15)
        things[i] = [
            float(rng.random() < 0.4),
            *c,
            *unit(rng.standard_normal(3) * [1, 1, 0.3]),
            u(3, 14) if at.pose == "float" else u(1, 4),
            u(10, 120) if at.pose == "float" else u(3, 12),
            *colour(rng, BACKS + STEELS),
        ]
    p["n_clutter"], p["clutter"] = count, things


def sky(p, rng):
    """Add the light from all around; return its level and colour."""
    u = rng.uniform
    warm = np.array([1 + u(-0.05, 0.35), 1, 1 - u(-0.15, 0.45)])
    level = np.exp(u(-1.5, 0.4))
    p["sky_top"], p["sky_mid"], p["sky_low"] = (
        np.clip(level * np.exp(rng.normal(0, 0.5)) * warm * (1 + rng.normal(0, 0.05, 3)), 0.01, 5)
        for _ in range(3)
    )
    if rng.random() < 0.5:
        p["sky_low"] = p["sky_low"] * 0.2
    p["sky_up"] = unit(p["bg_n"] + 0.4 * rng.standard_normal(3))
    p.update(sky_band=u(0, 1), sky_seed=u(0, 50), sky_edge=np.exp(u(0, 3)))
    return level, warm


def panels(p, rng, at, level, warm):
    """Add windows, lamps and dark things that smooth metal mirrors."""
    u = rng.uniform
    cam, bg_n, dist = p["cam"], p["bg_n"], at.dist
    shapes = np.zeros((7, 12), np.float32)
    count = int(rng.choice([0, 3, 5, 7, 7, 7]))
    for i in range(count):
        o = unit(unit(rng.standard_normal(3)) + 0.9 * (unit(cam) if rng.random() < 0.6 else bg_n))
        a = unit(np.cross(o, rng.standard_normal(3)))
        glow = (
            level
            * (np.exp(u(0.3, 2.5)) if rng.random() < 0.55 else u(0, 0.15))
            * warm
            * (1 + rng.normal(0, 0.06, 3))
        )
        shapes[i] = [
            *o,
            *a,
            np.exp(u(-2.6, 0)),
            np.exp(u(-2.6, 0)),
            np.exp(u(-4.6, -1.2)),
            *np.clip(glow, 0, 9),
        ]
    if count and rng.random() < 0.4:  # a bright magnet that mirrors a window between the film
        p["mag"], p["mag_rough"] = colour(rng, MAGNETS[:2]), u(0.04, 0.28)
        o = unit(np.array([-cam[0], -cam[1], cam[2]]) / dist + 0.25 * rng.standard_normal(3))
        shapes[0] = [
            *o,
            *unit(np.cross(o, rng.standard_normal(3))),
            u(0.05, 0.5),
            u(0.05, 0.5),
            np.exp(u(-4.6, -1.2)),
            *np.clip(level * np.exp(u(0.7, 2.4)) * warm, 0, 8),
        ]
    p["n_panels"], p["panels"] = count, shapes


def lamps(p, rng, warm):
    """Add small lamps, one of them perhaps the phone's own."""
    u = rng.uniform
    cam, right, up, bg_n = p["cam"], p["right"], p["up"], p["bg_n"]
    z = np.array([0, 0, 1.0])
    bulbs = np.zeros((5, 8), np.float32)
    flash = rng.random() < 0.45
    count = int(rng.integers(0 if flash else 1, 4))
    for i in range(count):
        d = unit(unit(rng.standard_normal(3)) + 0.9 * unit(bg_n) + 0.5 * z)
        half_a = np.deg2rad(np.exp(u(np.log(3), np.log(26))))
        e = u(0.3, 2.2) / count
        bulbs[i] = [
            *d,
            np.cos(half_a),
            *(e / (2 * np.pi * (1 - np.cos(half_a))) * warm * (1 + rng.normal(0, 0.06, 3))),
            0,
        ]
    if flash:
        pos = cam + right * u(-12, 12) + up * u(-12, 12)
        half_a = np.deg2rad(u(0.8, 2.5))
        bulbs[count] = [
            *unit(pos),
            np.cos(half_a),
            *(u(0.4, 2.5) / (2 * np.pi * (1 - np.cos(half_a))) * np.array([1, 1, 1.03])),
            np.linalg.norm(pos),
        ]
        count += 1
    p["n_lamps"], p["lamps"] = count, bulbs


def framing(p, rng, at, width, height_px):
    """Add where the picture is cut; return whether the plug is left out."""
    u = rng.uniform
    cx, cy = width / 2 + u(-0.13, 0.13) * width, height_px / 2 + u(-0.12, 0.12) * height_px
    nothing = rng.random() < 0.06
    if nothing:
        cx += width * rng.choice([-1, 1]) * u(1.1, 2)
    p.update(
        cx=cx,
        cy=cy,
        lens=u(0, 0.007) * at.dist if rng.random() < 0.75 else 0.0,
        focus=at.dist - max(p["mag_h"], 0) * 0.5 + rng.normal(0, 1.0),
    )
    return nothing


def make(seed, width=1024, height_px=768):
    """Return the random scene of a seed; the order of draws is part of what a seed means."""
    rng = np.random.default_rng(seed)
    p = metal(rng)
    wet = float(rng.choice([0, 0, 0.3, 0.6, 1.0]))
    p["wet"] = wet
    case = str(
        rng.choice(
            ["clean", "film", "film and flakes", "flakes"],
            p=[0.14, 0.34, 0.46, 0.06],
        )
    )
    h, ids, table, flakes, grit, half = debris(p, case, rng)
    p["tex_half"], p["top"] = half, float(h.max()) + 0.02
    materials(p, rng)
    at = placing(p, rng, width)
    background(p, rng, at)
    clutter(p, rng, at)
    level, warm = sky(p, rng)
    panels(p, rng, at, level, warm)
    lamps(p, rng, warm)
    nothing = framing(p, rng, at, width, height_px)
    truth = {
        "case": case,
        "nothing": nothing,
        "plug_outer_diameter_mm": 2 * p["R"],
        "magnet_diameter_mm": 2 * p["mag_R"],
        "tilt_deg": float(np.rad2deg(at.tilt)),
        "flange_diameter_mm": 2 * p["flange_R"] or None,
        "pose": at.pose,
        "grit": grit,
        "light": (warm / warm.mean()).tolist(),
        "rim": circle(p, p["R"], -p["chamfer"] * p["chamfer_slope"]),
        "magnet": circle(p, p["mag_R"], p["mag_h"] - p["dome"]),
        "flakes": [],
    }
    for f in flakes:
        truth["flakes"].append(
            {
                "length_mm": f["length_mm"],
                "shape": f["shape"],
                "tone": f["tone"],
                "center_px": project(p, f["vertices"].mean(0)[None])[0].tolist(),
            }
        )
    return Plug(pack(p), h.astype(np.float32), ids, table, truth)


def project(p, pts):
    q = pts - p["cam"]
    z = q @ p["fwd"]
    return np.stack(
        [p["cx"] + p["focal"] * (q @ p["right"]) / z, p["cy"] - p["focal"] * (q @ p["up"]) / z], 1
    )


def circle(p, r, z):
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    pts = project(p, np.stack([r * np.cos(t), r * np.sin(t), np.full_like(t, z)], 1))
    c = pts.mean(0)
    (x, y), (d1, d2), ang = cv2.fitEllipseDirect((pts - c).astype(np.float32))
    a, b, th = d1 / 2, d2 / 2, np.deg2rad(ang)
    if b > a:
        a, b, th = b, a, th + np.pi / 2
    return [x + c[0], y + c[1], a, b, th % np.pi]


# As in render.cu's Scene.
ORDER = [
    "R", "chamfer", "chamfer_slope", "threads", "pitch", "thread_depth", "length", "flange_R",
    "flange_z", "flange_t", "flange_groove", "mag_R", "mag_h", "mag_fillet", "dome", "recess_R",
    "recess_depth", "lip_r", "lip_w", "lip_h", "groove_amp", "groove_freq", "groove_seed",
    "groove_ecc", "tex_half", "top", "steel", "steel_rough", "steel2", "stain_amt",
    "stain_scale", "stain_seed", "mag", "mag_rough", "film", "film_rough", "film_spec", "oil",
    "oil_scale", "oil_seed", "oil_tint", "oil_haze", "oil_mag", "bg_o", "bg_n", "bg_u", "bg_c1",
    "bg_c2", "bg_scale", "bg_weave", "bg_bump", "bg_fold", "bg_fold_scale", "bg_seed",
    "bg_rough", "bg_spec", "n_clutter", "clutter", "sky_top", "sky_mid", "sky_low", "sky_up",
    "sky_band", "sky_seed", "sky_edge", "n_panels", "panels", "n_lamps", "lamps", "cam",
    "right", "up", "fwd", "focal", "cx", "cy", "lens", "focus",
]  # fmt: skip


def pack(p):
    return np.concatenate([np.ravel(np.asarray(p[k], np.float32)) for k in ORDER]).astype(
        np.float32
    )
