"""Unrolled dipsticks with labels, to learn from: drawn ones, and given pictures changed at random.

    strips.py --out DIR --seconds 200 --workers 14 [--given DIR]

Each picture is made or changed, its blade found as the product finds it, and the strip kept with
the columns of the lower mark, the upper mark and the wet edge. ``--given`` is a folder of labelled
pictures (stick-*.jpg and truth.json).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import draw_stick as drawing
import numpy as np
from draw_stick import FLUIDS, draw_stick, random_stick
from numpy.typing import NDArray
from wet_steel import wetted

from joblog.vision.dipstick_blade import Blade, find_blades
from joblog.vision.dipstick_strip import strip_of

WORK_PX = 1100
drawing._wetted = wetted  # the drawn film, with more of what wet steel shows

Picture = NDArray[np.uint8]


def changed(rgb: Picture, r: np.random.Generator) -> tuple[Picture, NDArray[np.float64]]:
    """Return the picture turned, mirrored, scaled and cropped by chance, and the 2x3 map to it."""
    height, width = rgb.shape[:2]
    turn, scale = r.uniform(0, 2 * np.pi), float(np.exp(r.uniform(np.log(0.7), np.log(1.25))))
    if r.random() < 0.4:
        turn = round(turn / (np.pi / 2)) * np.pi / 2
    flip = -1.0 if r.random() < 0.5 else 1.0
    squeeze = r.uniform(0.9, 1.1)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    matrix = spin @ np.diag([flip * scale * squeeze, scale])
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]]) @ matrix.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    size = np.minimum(high - low, 1400).astype(int)
    shift = -low + r.uniform(-0.03, 0.03, 2) * size
    whole = np.column_stack([matrix, shift])
    border = cv2.BORDER_REFLECT if r.random() < 0.7 else cv2.BORDER_CONSTANT
    out = cv2.warpAffine(rgb, whole, tuple(size), flags=cv2.INTER_AREA, borderMode=border)
    return np.asarray(out, np.uint8), whole


def photographed(rgb: Picture, r: np.random.Generator) -> Picture:
    """Return the picture with another exposure, cast, blur, noise and compression."""
    linear = (rgb / 255.0) ** 2.2
    cast = np.exp(r.normal(0, 0.12, 3)) * 2 ** r.uniform(-1.2, 0.5)
    ramp = np.linspace(1, r.uniform(0.7, 1.3), rgb.shape[1])[None, :, None]
    linear = linear * cast * ramp
    if r.random() < 0.5:
        linear = cv2.GaussianBlur(linear, (0, 0), r.uniform(0.3, 1.6))
    if r.random() < 0.15:
        linear = cv2.blur(linear, (int(r.integers(1, 6)), int(r.integers(1, 6))))
    coded = np.clip(linear, 0, 4) ** (1 / 2.2)
    coded = np.where(coded > 0.8, 0.8 + 0.2 * (1 - np.exp(-(coded - 0.8) / 0.2)), coded)
    coded = coded * 255 + r.normal(size=coded.shape) * r.choice([0.5, 1.5, 4.0])
    eight = np.clip(coded, 0, 255).astype(np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(r.integers(40, 95))]
    data = cv2.imencode(".jpg", eight[..., ::-1], quality)[1]
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def column_of(blade: Blade, point: NDArray[np.float64]) -> tuple[float, float]:
    """Return the column of the strip nearest to a point of the picture, and how far off it is."""
    far = np.hypot(*(blade.strip.axis - point).T)
    return float(far.argmin()), float(far.min() / np.median(blade.strip.half_width))


def labelled(rgb: Picture, points: NDArray[np.float64]) -> dict[str, Any] | None:
    """Return the strip on which all three points lie, as the network takes it; None if none has."""
    factor = max(1.0, max(rgb.shape[:2]) / WORK_PX)
    if factor > 1:
        size = (round(rgb.shape[1] / factor), round(rgb.shape[0] / factor))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
        points = (points + 0.5) / factor - 0.5
    for blade in find_blades(rgb, 2):
        found = [column_of(blade, point) for point in points]
        if max(off for _, off in found) > 0.6:
            continue
        picture, per_column = strip_of(blade)
        places = np.array([(column + 0.5) * per_column - 0.5 for column, _ in found])
        return {"pixels": picture, "places": places}
    return None


def points_of(truth: dict[str, Any]) -> NDArray[np.float64]:
    """Return lower mark, upper mark and wet edge, (3, 2)."""
    return np.array([truth[k] for k in ("lower_mark_px", "upper_mark_px", "wet_edge_px")], float)


def one(job: tuple[str, int, str]) -> dict[str, Any] | None:
    """Make one strip: of a given picture (its name), or drawn from a seed."""
    cv2.setNumThreads(1)
    name, seed, given = job
    r = np.random.default_rng(seed)
    if name:
        truth = json.loads((Path(given) / "truth.json").read_text())[name]
        rgb = cv2.imread(str(Path(given) / name))[..., ::-1]
        rgb, whole = changed(rgb, r)
        points = points_of(truth) @ whole[:, :2].T + whole[:, 2]
        colour = truth["fluid_colour"]
    else:
        stick = random_stick(seed)
        stick = replace(stick, level=float(r.uniform(-0.45, 1.45)))
        if r.random() < 0.25:
            stick = replace(stick, fluid="clear", edge_mm=float(r.uniform(0.1, 0.6)))
        # clear fluid shows by what it does to the shine: more or less of it, hardly a colour
        FLUIDS["clear"] = tuple(r.uniform(0.6, 1.1) * np.exp(r.normal(0, 0.02, 3)))
        rgb, truth = draw_stick(stick, seed)
        points, colour = points_of(truth), truth["fluid_colour"]
    if r.random() < 0.7:
        rgb = photographed(rgb, r)
    height, width = rgb.shape[:2]
    if (points < 4).any() or (points > np.array([width, height]) - 5).any():
        return None
    made = labelled(np.ascontiguousarray(rgb), points)
    return None if made is None else made | {"name": name, "colour": colour}


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--given", type=Path)
    parser.add_argument("--seconds", type=float, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--share", type=float, default=0.4, help="of given pictures")
    parser.add_argument("--seed", type=int, default=7)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    names = []
    if args.given:
        truth = json.loads((args.given / "truth.json").read_text())
        names = [n for n, t in truth.items() if n.startswith("stick") and t["usable"]]
    r = np.random.default_rng(args.seed)

    made, tried, until = [], 0, time.monotonic() + args.seconds
    with multiprocessing.Pool(args.workers) as pool:
        while time.monotonic() < until:
            first = 100_000 * args.seed + tried
            mine = [bool(names) and r.random() < args.share for _ in range(8 * args.workers)]
            jobs = [
                (str(r.choice(names)) if given else "", first + k, str(args.given))
                for k, given in enumerate(mine)
            ]
            found = pool.map(one, jobs, chunksize=1)
            tried += len(found)
            made += [strip for strip in found if strip is not None]
    np.save(args.out / "strips.npy", np.array(made, object), allow_pickle=True)
    print(f"{len(made)} strips of {tried} pictures, {sum(bool(s['name']) for s in made)} of given")


if __name__ == "__main__":
    main()
