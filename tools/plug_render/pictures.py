"""Render plugs on the processor (slow: a minute each) as JPEG files with their truth.

    g++ -O3 -march=native -ffast-math -fopenmp -shared -fPIC -x c++ render.cu -o librender.so
    python pictures.py OUT --first 900000001 --count 10

The truth has the fields that ``joblog bench vision`` reads. Seeds from 900 000 000 on are kept for
this and never trained on.
"""

from __future__ import annotations

import argparse
import ctypes
import json
from pathlib import Path

import cv2
import numpy as np
import scene
import shapes

WIDTH, HEIGHT, SAMPLES = 800, 600, 12
FIRST = 900_000_001


def traced(plug, library):
    """Return radiance (h, w, 3) and ids (2h, 2w)."""
    rgb = np.zeros((HEIGHT, WIDTH, 3), np.float32)
    ids = np.zeros((2 * HEIGHT, 2 * WIDTH), np.uint8)
    arrays = (plug.params, plug.height, plug.ids, plug.table, rgb, ids)
    at = [ctypes.c_void_p(array.ctypes.data) for array in arrays]
    library.render(*at[:3], shapes.TEX, at[3], WIDTH, HEIGHT, SAMPLES, *at[4:], None)
    return rgb, ids


def developed(rgb, truth, rng):
    """Return what a phone would save: exposure, lens blur, noise, highlight roll-off, gamma."""
    x, y, a = (int(value) for value in truth["rim"][:3])
    reach = int(a * 0.7)
    face = rgb[max(0, y - reach) : y + reach, max(0, x - reach) : x + reach]
    im = rgb * (0.19 / (0.5 * rgb.mean() + 0.5 * face.mean())) * 2 ** rng.uniform(-0.5, 0.6)
    im = cv2.GaussianBlur(im, (0, 0), rng.uniform(0.5, 0.9))
    im = im + rng.standard_normal(im.shape) * 0.008 * np.sqrt(np.clip(im, 0, None) + 0.01)
    im = np.clip(im, 0, None)
    im = np.where(im > 0.75, 0.75 + 0.25 * (1 - np.exp(-(im - 0.75) / 0.25)), im)
    return (np.clip(im, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)


def inside(ellipse):
    """Return the ellipse's inside on the grid of ids, (2h, 2w)."""
    cx, cy, a, b, turn = ellipse
    rows, columns = (np.mgrid[: 2 * HEIGHT, : 2 * WIDTH] - 0.5) / 2
    u = (columns - cx) * np.cos(turn) + (rows - cy) * np.sin(turn)
    v = -(columns - cx) * np.sin(turn) + (rows - cy) * np.cos(turn)
    return (u / a) ** 2 + (v / b) ** 2 <= 1


def said(ellipse):
    """Return an ellipse as the truth file has it."""
    cx, cy, a, b, turn = (float(value) for value in ellipse)
    return {
        "center_px": [round(cx, 2), round(cy, 2)],
        "semi_axes_px": [round(a, 2), round(b, 2)],
        "angle_deg": round(float(np.rad2deg(turn)), 2),
    }


def truth_of(plug, ids, seed):
    """Return the record of one picture."""
    truth, face = plug.truth, inside(plug.truth["magnet"])
    film = ((ids == shapes.FILM) & face).sum()
    free = (face & (ids < shapes.FLAKE)).sum()
    flakes = []
    for k, flake in enumerate(truth["flakes"]):
        rows, columns = np.nonzero(ids == shapes.FLAKE + k)
        if len(rows) >= 8:  # two whole pixels of it are seen
            box = (columns.min(), rows.min(), columns.max(), rows.max())
            flakes.append(
                {
                    "length_mm": round(flake["length_mm"], 3),
                    "shape": flake["shape"],
                    "tone": flake["tone"],
                    "bbox_px": [float(v) / 2 for v in box],
                    "visible_area_px": len(rows) / 4,
                }
            )
    lengths = [flake["length_mm"] for flake in flakes]
    return {
        "usable": True,
        "case": truth["case"],
        "seed": seed,
        "plug_outer_diameter_mm": round(truth["plug_outer_diameter_mm"], 3),
        "magnet_diameter_mm": round(truth["magnet_diameter_mm"], 3),
        "flange_diameter_mm": truth["flange_diameter_mm"],
        "tilt_deg": round(truth["tilt_deg"], 1),
        "plug_rim_ellipse": said(truth["rim"]),
        "magnet_ellipse": said(truth["magnet"]),
        "film_coverage": round(float(film / max(1, free)), 4),
        "flakes": flakes,
        "flake_count": len(flakes),
        "longest_flake_mm": max(lengths, default=0.0),
    }


def is_whole(rim):
    """Whether the rim lies within the picture."""
    x, y, a = rim[:3]
    return min(x - a, y - a) >= 4 and x + a <= WIDTH - 4 and y + a <= HEIGHT - 4


def write(out, first, count, trace):
    """Write so many whole, lit plugs from seed ``first`` on; ``trace`` gives radiance and ids."""
    records, seed = {}, first - 1
    while len(records) < count:
        seed += 1
        plug = scene.make(seed, WIDTH, HEIGHT)
        if plug.truth["nothing"] or not is_whole(plug.truth["rim"]):
            continue
        rgb, ids = trace(plug)
        if float(np.median(rgb)) < 4e-3:
            continue
        name = f"plug-{len(records):03d}.jpg"
        picture = developed(rgb, plug.truth, np.random.default_rng(seed))
        cv2.imwrite(str(out / name), picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 86])
        records[name] = truth_of(plug, ids, seed)
        (out / "truth.json").write_text(json.dumps(records, indent=1))


def main():
    """Render on the processor."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--count", type=int, default=4)
    args = parser.parse_args()
    library = ctypes.CDLL(str(Path("librender.so").resolve()))
    write(args.out, args.first, args.count, lambda plug: traced(plug, library))


if __name__ == "__main__":
    main()
