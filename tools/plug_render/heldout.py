# ruff: noqa: D103
"""Measure each labelled plug with networks that had not seen it, by the product's own code.

    python heldout.py --given DIR [--each] NAME=WEIGHTS ...

WEIGHTS holds ``fold0/plug-circles.onnx``, ``fold0/plug-debris.onnx`` and so on: fold k learnt from
all pictures but those whose place in the list is k, k + folds, ... (see train.py). One line a set.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from joblog.vision.bench_score import matched
from joblog.vision.load import load_photo
from joblog.vision.networks import nets_from
from joblog.vision.plug import measure_plug


def compared(reading, truth):
    """Return (right, counted, true), film error, magnet error, longest in tolerance or not."""
    boxes = [f["bbox_px"] for f in truth["flakes"] if f["length_mm"] >= 0.3]
    places = [f.center_px for f in reading.flakes]
    longest = truth["longest_flake_mm"] or 0.0
    off = abs((reading.longest_flake_mm or 0.0) - longest)
    return (
        np.array([matched(boxes, places), len(places), len(boxes)]),
        abs(reading.film_coverage - truth["film_coverage"]),
        abs(reading.magnet_diameter_mm / truth["magnet_diameter_mm"] - 1),
        off <= max(0.08 * longest, 0.15),
    )


def measured(given, weights, each):
    """Return (refused, rows of ``compared``) of all usable plugs."""
    if not (given / "truth.json").is_file():
        raise SystemExit(f"{given} holds no truth.json: name a folder of labelled pictures.")
    truths = json.loads((given / "truth.json").read_text())
    names = [n for n in sorted(truths) if n.startswith("plug") and truths[n]["usable"]]
    folds = len(list(weights.glob("fold*")))
    if not folds or not names:
        raise SystemExit(
            f"{weights} holds no fold0, or {given} no usable plug: nothing to measure."
        )
    refused, rows = [], []
    for k in range(folds):
        for name in names[k::folds]:
            truth = truths[name]
            diameter = truth["plug_outer_diameter_mm"]
            with nets_from(weights / f"fold{k}"):
                reading = measure_plug(load_photo(given / name), plug_diameter_mm=diameter)
            if not reading.usable:
                refused.append(name)
                continue
            rows.append(compared(reading, truth))
            if each:
                said = [round(f.length_mm, 2) for f in reading.flakes]
                true = [f["length_mm"] for f in truth["flakes"]]
                print(name, *rows[-1][0], f"film {rows[-1][1]:.3f}", said, true)
    return refused, rows


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="NAME=WEIGHTS")
    parser.add_argument("--given", type=Path, required=True)
    parser.add_argument("--each", action="store_true", help="a line for each picture too")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    print("set | refused | film | magnet within 3 % | F1 | right/counted/true | longest")
    for name, _, weights in (text.partition("=") for text in args.sets):
        refused, rows = measured(args.given, Path(weights), args.each)
        if not rows:
            print(f"{name} | all {len(refused)} refused", flush=True)
            continue
        counts, film, magnet, longest = zip(*rows, strict=True)
        right, counted, true = np.sum(counts, axis=0)
        print(
            f"{name} | {len(refused)} | {np.mean(film):.4f} | {np.mean(np.array(magnet) <= 0.03):.2f}"
            f" | {2 * right / max(1, counted + true):.3f} | {right}/{counted}/{true}"
            f" | {np.mean(longest):.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
