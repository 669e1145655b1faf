"""Command line of the vision room: ``joblog photo`` and ``joblog bench vision``."""

from __future__ import annotations

import argparse
import itertools
import json
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from joblog.errors import Exit, InputError, UsageError


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this room's commands."""
    photo = subparsers.add_parser("photo", help="measure photos of a plug, a dipstick or a fluid")
    photo.add_argument("--kind", required=True, choices=("plug", "dipstick", "fluid"))
    photo.add_argument("--plug-diameter-mm", type=float, metavar="X", help="outer diameter, known")
    photo.add_argument("--mark-distance-mm", type=float, metavar="X", help="mark to mark, known")
    photo.add_argument("--jsonl", action="store_true", help="one JSON object a file")
    photo.add_argument("--overlay", type=Path, metavar="DIR", help="draw measured photos here")
    photo.add_argument(
        "--same-stick",
        action="store_true",
        help="the files are different shots of one dipstick: add one combined reading",
    )
    photo.add_argument("files", nargs="+", metavar="FILE")
    photo.set_defaults(run=run_photo)
    labels = subparsers.add_parser("labels", help="read bar codes in photos")
    labels.add_argument("--jsonl", action="store_true", help="one JSON object a file")
    labels.add_argument("files", nargs="+", metavar="FILE")
    labels.set_defaults(run=run_labels)
    from joblog.bench import bench_parsers

    bench = bench_parsers(subparsers).add_parser(
        "vision", help="measuring photos, on labelled ones"
    )
    bench.add_argument("folder", type=Path, metavar="FOLDER", help="pictures with a truth.json")
    bench.set_defaults(run=run_bench)


def run_photo(args: argparse.Namespace) -> int:
    """Measure each file; one that can't be read is told and the others go on."""
    if args.kind == "plug" and args.plug_diameter_mm is None:
        raise UsageError("Photos of a plug need --plug-diameter-mm, the plug's outer diameter.")
    if args.overlay is not None:
        _make_folder(args.overlay)
    if args.same_stick and args.kind != "dipstick":
        raise UsageError("--same-stick is for photos of a dipstick: leave it out here.")
    status = Exit.OK
    measured = []
    for name in args.files:
        try:
            sha256, line = _measure_one(name, args)
            measured.append((sha256, line))
        except InputError as error:
            status = Exit.FAILED
            line = {"file": name, "error": str(error)}
        _print(line, _plain, jsonl=args.jsonl)
    if args.same_stick:
        _print(_combined(measured), _plain, jsonl=args.jsonl)
    return int(status)


def _print(line: dict[str, Any], plain: Callable[[dict[str, Any]], str], *, jsonl: bool) -> None:
    if jsonl:
        print(json.dumps(line, ensure_ascii=False), flush=True)
    else:
        print(plain(line), file=sys.stderr if "error" in line else sys.stdout, flush=True)


def _combined(lines: list[tuple[str, dict[str, Any]]]) -> dict[str, Any]:
    """Return the combined reading of all shots that could be read, the same photo counted once."""
    from joblog.vision.dipstick_reading import combine_dipstick
    from joblog.vision.types import DipstickReading

    shots: dict[str, dict[str, Any]] = {}  # by the photo's SHA-256
    again = []
    for sha256, line in lines:
        first = shots.setdefault(sha256, line)
        if first is not line:
            again.append(f"{line['file']} is the same photo as {first['file']}: counted once")
    readings = [DipstickReading.from_json(line) for line in shots.values()]
    combined = combine_dipstick(readings)
    whole = replace(
        combined,
        notes=(*combined.notes, *again),
        seconds=sum(reading.seconds for reading in readings),
    ).to_json()
    files = [line["file"] for line in shots.values()]
    return {"file": " + ".join(files), "combined": files, **whole}


def run_labels(args: argparse.Namespace) -> int:
    """Read the bar codes of each file; one that can't be read is told and the others go on."""
    from joblog.vision.labels import load_for_labels, read_labels

    status = Exit.OK
    for name in args.files:
        line: dict[str, Any] = {"file": name}
        try:
            line |= _labelled([label.to_json() for label in read_labels(load_for_labels(name))])
        except InputError as error:
            status = Exit.FAILED
            line["error"] = str(error)
        _print(line, _plain_labels, jsonl=args.jsonl)
    return int(status)


def _labelled(labels: list[dict[str, Any]]) -> dict[str, Any]:
    """Return what a photo's codes say: the VIN among them, or what is wrong with it, beside."""
    from joblog.measure.vin_labels import as_vin, label_vin

    vin, trouble = label_vin(label["text"] for label in labels)
    for label in labels:
        label["text"] = as_vin(label["text"])
    line: dict[str, Any] = {"labels": labels}
    if vin:
        line |= {"vin_trouble": trouble} if trouble else {"vin": vin}
    return line


def _plain_labels(line: dict[str, Any]) -> str:
    if "error" in line:
        return _told(line["file"], line["error"])
    texts = [f"{label['text']} ({label['format']})" for label in line["labels"]]
    told = f"; {line['vin_trouble']}" if "vin_trouble" in line else ""
    if "vin" in line:
        told = f"; VIN {line['vin']}"
    return f"{line['file']}: {', '.join(texts) or 'no bar code found: go nearer, hold still'}{told}"


def run_bench(args: argparse.Namespace) -> int:
    """Print the table of measured errors for a labelled folder."""
    from joblog.vision.bench_vision import bench_vision

    bench_vision(args.folder)
    return int(Exit.OK)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or "no reason given"
        raise UsageError(
            f"The folder {folder} can't be made ({reason}): name another with --overlay."
        ) from error


def _measure_one(name: str, args: argparse.Namespace) -> tuple[str, dict[str, Any]]:
    """Return the photo's SHA-256 and what was measured."""
    from joblog.vision.load import load_photo
    from joblog.vision.measure_photo import measure_photo
    from joblog.vision.overlay import overlay_jpeg

    started = time.perf_counter()
    photo = load_photo(name)
    reading = measure_photo(
        photo,
        args.kind,
        plug_diameter_mm=args.plug_diameter_mm,
        mark_distance_mm=args.mark_distance_mm,
    )
    reading = replace(reading, seconds=time.perf_counter() - started)
    line: dict[str, Any] = {"file": name, **reading.to_json()}
    if photo.note:
        line["note"] = photo.note
    if args.overlay is not None:
        line["overlay"] = str(_kept(args.overlay / Path(name).stem, overlay_jpeg(photo, reading)))
    return photo.sha256, line


def _kept(wanted: Path, data: bytes) -> Path:
    """Write a drawing beside what is there and return where; no other file is ever replaced.

    Photos of several folders may have one name. The same drawing made again is kept once.
    """
    ends = itertools.chain(("", "-measured"), (f"-measured-{n}" for n in itertools.count(2)))
    for end in ends:
        target = wanted.with_name(f"{wanted.name}{end}.jpg")
        try:
            with target.open("xb") as file:
                file.write(data)
        except FileExistsError:
            if target.is_file() and target.read_bytes() == data:
                return target
        except OSError as error:
            reason = error.strerror or "no reason given"
            raise InputError(f"{target} can't be written ({reason}).") from error
        else:
            return target
    raise AssertionError("the names never end")


def _plain(line: dict[str, Any]) -> str:
    """Return one readable line for one file."""
    name = line["file"]
    if "error" in line:
        return _told(name, line["error"])
    if not line["usable"]:
        return f"{name}: not measured, {line['why']}"
    notes = "".join(f"; {note}" for note in line.get("notes", ()))
    if "overlay" in line:
        notes += f"; drawn in {line['overlay']}"
    return f"{name}: {_numbers(line)} ({line['seconds']:.2f} s){notes}"


def _told(name: str, error: str) -> str:
    """Return the sentence with the file's name as it was given, once: most begin with it."""
    short = Path(name).name
    if error.startswith(f"{short} "):
        return f"{name}{error.removeprefix(short)}"
    return f"{name}: {error}"


def _numbers(line: dict[str, Any]) -> str:
    if line["kind"] == "dipstick":
        level, half = line["level_fraction"], line["level_uncertainty"]
        return f"level {level:.2f} of the way from the lower to the upper mark, +/- {half:.2f}"
    if line["kind"] == "fluid":
        lightness, a, b = line["lab"]
        return f"L* {lightness:.1f}, a* {a:.1f}, b* {b:.1f} relative to the paper"
    count = line["flake_count"]
    noun = "1 flake" if count == 1 else f"{count or 'no'} flakes"
    longest = f", longest {line['longest_flake_mm']:.1f} mm" if count else ""
    flakes = f"{noun} found{longest} (smaller ones may not be seen)"
    return (
        f"film on {100 * line['film_coverage']:.0f} % "
        f"(+/- {100 * line['film_uncertainty']:.0f} %) of the magnet, {flakes}, "
        f"magnet {line['magnet_diameter_mm']:.1f} mm +/- {100 * line['magnet_uncertainty']:.0f} %"
    )
