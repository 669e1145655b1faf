"""``joblog bench vision``: measured errors over a labelled folder, beside a plain baseline.

The folder holds pictures and a ``truth.json`` keyed by file name. Counting and sizing are also
tried on a real photograph with a known count that scikit-image ships: ``skimage.data.coins()``,
24 Greek coins from Pompeii (Brooklyn Museum, no known copyright restrictions).
"""

from __future__ import annotations

import importlib.metadata
import io
import json
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from joblog.errors import InputError, PhotoError
from joblog.vision.bench_score import Scores, add_score, is_usable, kind_of, known_mm
from joblog.vision.measure_photo import KINDS, measure_photo
from joblog.vision.particles import feret_max
from joblog.vision.types import PlugReading, Reading

Measure = Callable[[bytes, str, float | None], Reading]
COINS = 24  # in skimage.data.coins(), by eye


def bench_vision(folder: Path, say: Callable[[str], None] = print) -> None:
    """Measure every labelled picture with joblog and with the baseline, and print the table.

    Raises InputError where there is no labelled folder or no scikit-image.
    """
    truth, left_out = _truth(folder)
    try:
        from joblog.vision.compare_skimage import compare

        version = importlib.metadata.version("scikit-image")
    except importlib.metadata.PackageNotFoundError as error:
        raise InputError(
            "The comparison needs scikit-image: install joblog with its dev extras."
        ) from error
    ours, plain = Scores(), Scores()
    _run(folder, truth, _joblog, ours)
    _run(folder, truth, compare, plain)
    say(f"{len(truth)} pictures of {folder}; scikit-image {version}")
    for line in left_out:
        say(f"left out: {line}")
    for line in table(ours, plain):
        say(line)
    say(f"decided wrongly by joblog: {', '.join(ours.wrongly) or 'none'}")
    for line in _large(folder, truth, compare):
        say(line)
    for line in coins():
        say(line)


def _truth(folder: Path) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """Return the labels of the pictures to measure, and what is left out and why."""
    path = folder / "truth.json"
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            f"{path} can't be read: name a folder of pictures with their truth.json."
        ) from error
    if not isinstance(data, dict):
        raise InputError(f"{path} must hold one object, the labels by the pictures' file names.")
    known, left_out = {}, []
    for name, record in sorted(data.items()):
        if not (folder / name).is_file():
            left_out.append(f"{name} (no such picture)")
        elif not isinstance(record, dict) or not kind_of(name, record):
            left_out.append(f'{name} (give it a "kind": {", ".join(KINDS)})')
        else:
            known[name] = record
    if not known:
        raise InputError(f"{path} names no picture that lies beside it and whose kind is known.")
    return known, left_out


def _joblog(data: bytes, kind: str, known_mm: float | None) -> Reading:
    try:
        return measure_photo(
            data,
            kind,
            plug_diameter_mm=known_mm or 20.0 if kind == "plug" else None,
            mark_distance_mm=known_mm if kind == "dipstick" else None,
        )
    except PhotoError as error:  # what can't be read can't be measured
        return PlugReading(usable=False, why=str(error))


def _run(
    folder: Path, truth: Mapping[str, Mapping[str, Any]], measure: Measure, scores: Scores
) -> None:
    for name, record in truth.items():
        data = (folder / name).read_bytes()
        started = time.perf_counter()
        kind = kind_of(name, record) or ""
        reading = measure(data, kind, known_mm(kind, record))
        scores.seconds.append(time.perf_counter() - started)
        add_score(scores, name, record, reading)


def table(ours: Scores, plain: Scores) -> list[str]:
    """Return the table's lines: measure, goal, joblog, scikit-image."""
    rows: list[tuple[str, str, Callable[[Scores], str]]] = [
        ("usable or not decided right", "100 %", lambda s: _share(s.decided_right, s.photos)),
        ("level error, median", "<= 0.02", lambda s: _at(s.level_errors, 50)),
        ("level error, 95th percentile", "<= 0.08", lambda s: _at(s.level_errors, 95)),
        ("level within stated uncertainty", "90-98 %", lambda s: _rate(s.level_covered)),
        ("film coverage, mean error", "<= 0.04", lambda s: _mean(s.film_errors)),
        ("flakes >= 0.3 mm, F1", ">= 0.90", lambda s: "-" if s.f1 is None else f"{s.f1:.2f}"),
        ("longest flake within 8 % or 0.15 mm", "all", lambda s: _rate(s.longest_right)),
        (
            "magnet diameter within 3 %",
            "all",
            lambda s: _rate([e <= 0.03 for e in s.magnet_errors]),
        ),
        ("fluid CIEDE2000, median", "<= 4", lambda s: _at(_differences(s), 50)),
        ("seconds a picture, median", "", lambda s: _at(s.seconds, 50)),
    ]
    lines = [f"{'':38}{'goal':>10}{'joblog':>10}{'scikit-image':>14}"]
    lines += [f"{name:38}{goal:>10}{get(ours):>10}{get(plain):>14}" for name, goal, get in rows]
    return lines


def _differences(scores: Scores) -> list[float]:
    from skimage.color import deltaE_ciede2000

    return [float(deltaE_ciede2000(np.array(a), np.array(b))) for a, b in scores.colours]


def _at(values: list[float], percent: float) -> str:
    return f"{np.percentile(values, percent):.3f}" if values else "-"


def _mean(values: list[float]) -> str:
    return f"{np.mean(values):.3f}" if values else "-"


def _rate(values: list[bool]) -> str:
    return f"{100 * np.mean(values):.0f} %" if values else "-"


def _share(part: int, whole: int) -> str:
    return f"{part}/{whole}"


def _large(folder: Path, truth: Mapping[str, Mapping[str, Any]], compare: Measure) -> list[str]:
    """Return how long one picture of each kind takes, enlarged to 12 megapixels."""
    lines = []
    for kind in ("plug", "dipstick", "fluid"):
        names = [n for n, r in truth.items() if is_usable(r) and kind_of(n, r) == kind]
        data = _enlarged((folder / names[0]).read_bytes()) if names else None
        if data is None:
            continue
        known = known_mm(kind, truth[names[0]])
        times = []
        for measure in (_joblog, compare):
            runs = []
            for _ in range(3):
                started = time.perf_counter()
                measure(data, kind, known)
                runs.append(time.perf_counter() - started)
            times.append(min(runs))
        lines.append(
            f"{'12 megapixels, ' + kind + ', seconds':38}{'<= 0.6':>10}"
            f"{times[0]:>10.2f}{times[1]:>14.2f}"
        )
    return lines


def _enlarged(data: bytes) -> bytes | None:
    try:
        image = Image.open(io.BytesIO(data)).convert("RGB")
    except (
        OSError,
        ValueError,
        SyntaxError,
        Image.DecompressionBombError,
    ):  # measured as unusable already
        return None
    factor = (12e6 / (image.width * image.height)) ** 0.5
    size = (round(image.width * factor), round(image.height * factor))
    buffer = io.BytesIO()
    image.resize(size, Image.Resampling.BICUBIC).save(buffer, "JPEG", quality=88)
    return buffer.getvalue()


def coins() -> list[str]:
    """Return counts and sizes on a real photograph: joblog's way, and Otsu with labels."""
    from skimage.data import coins as coins_picture
    from skimage.filters import threshold_otsu
    from skimage.measure import label, regionprops

    grey = np.asarray(coins_picture(), np.uint8)
    plain = [p for p in regionprops(label(grey > threshold_otsu(grey))) if p.area >= 100]
    mask = stands_out(grey)
    outlines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ours = [feret_max(o[:, 0].astype(np.float64)) for o in outlines]
    stock = [float(p.feret_diameter_max) for p in regionprops(label(mask))]
    apart = (
        np.abs(np.sort(ours) - np.sort(stock)) if len(ours) == len(stock) else np.array([np.nan])
    )
    return [
        f"{'skimage.data.coins(), count':38}{COINS:>10}{len(ours):>10}{len(plain):>14}",
        f"{'  largest Feret difference, px':38}{'':>10}{apart.max():>10.2f}",
    ]


def stands_out(grey: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Return what stands out from ground that is lit unevenly, holes filled, specks left out.

    The ground is followed as the lowest tone within a sixth of the picture, smoothed; Otsu's limit
    then parts the difference.
    """
    reach = max(grey.shape) // 6 | 1
    kernel = np.ones((reach, reach), np.uint8)
    calm = cv2.medianBlur(grey, 5)
    ground = cv2.GaussianBlur(cv2.morphologyEx(calm, cv2.MORPH_OPEN, kernel), (0, 0), reach / 3)
    above = cv2.subtract(calm, ground)
    _, mask = cv2.threshold(above, 0, 1, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    filled = np.zeros_like(mask)
    for outline in outlines:
        if cv2.contourArea(outline) > 0.0005 * grey.size:
            cv2.drawContours(filled, [outline], -1, 1, cv2.FILLED)
    return np.asarray(filled > 0)
