"""Measure plugs by the product's own code with debris networks whose maps are averaged.

    python eye_eval.py --pictures DIR --net A=WEIGHTS [--net B=WEIGHTS] MIX ...

WEIGHTS is one ONNX file (used for every picture), or a folder with fold0/plug-debris.onnx, fold1, ...:
then picture i of the sorted usable plugs is measured by fold i % folds, which had not seen it (as
tools/plug_render/heldout.py does). The circles' network is the shipped one in either case: it has
seen all 21 given pictures, so gate and rim are "seen" here; only the debris is held out.

MIX says which looks of which networks are averaged, each look alike: p as it is, l mirrored left to
right, u mirrored top to bottom, b both. "A:plu" is what ships; "A:pl+B:ub" four passes of two
networks. "@0.9" behind it sets SURELY_FLAKE ("A:plu@0.9"). Intervals are of the difference in F1 to
the first MIX, pictures drawn anew 2000 times.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from heldout import compared  # noqa: E402

from joblog.vision import plug, plug_debris, plug_nets  # noqa: E402
from joblog.vision.load import load_photo  # noqa: E402

LOOKS = {
    "p": lambda q: q,
    "l": lambda q: q[..., ::-1],
    "u": lambda q: q[..., ::-1, :],
    "b": lambda q: q[..., ::-1, ::-1],
}


def parsed(text):
    """Return [(net, look), ...] and the limit."""
    mix, _, limit = text.partition("@")
    passes = [(n, q) for part in mix.split("+") for n, looks in [part.split(":")] for q in looks]
    return passes, float(limit or 0.95)


class Looker:
    """Keeps, for one picture, each look of each network, and what the product found before it."""

    def __init__(self, nets):
        self.nets, self.kept, self.face = nets, {}, {}
        for name in ("_photo_fault", "find_plug", "_face_fault"):
            setattr(plug, name, self._once(name, getattr(plug, name)))
        plug_debris.debris = self.debris

    def _once(self, name, function):
        def remembered(*args):
            if name not in self.face:
                self.face[name] = function(*args)
            return self.face[name]

        return remembered

    def new(self, fold):
        self.kept, self.face, self.fold = {}, {}, fold

    def look(self, name, how, cut):
        if (name, how) not in self.kept:
            turn = LOOKS[how]
            turned = turn(cut.transpose(2, 0, 1)).transpose(1, 2, 0)
            files = self.nets[name]
            self.kept[name, how] = turn(plug_nets._opened(files[self.fold % len(files)])(turned[None])[0])
        return self.kept[name, how]

    def debris(self, rgb, crop):
        cut = crop.cut(rgb)
        maps = [self.look(name, how, cut) for name, how in self.passes]
        return np.asarray(sum(maps) / np.float32(len(maps)), np.float32)


def f1(counts):
    right, counted, true = counts
    return 2 * right / max(1, counted + true)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("mixes", nargs="+")
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--net", action="append", required=True)
    parser.add_argument("--each", action="store_true")
    parser.add_argument("--quality", type=int, help="save each picture again as JPEG of this quality first")
    parser.add_argument("--first", type=int, default=0, help="only so many pictures")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    cv2.setNumThreads(1)
    nets = {}
    for name, _, at in (text.partition("=") for text in args.net):
        path = Path(at)
        nets[name] = [path] if path.is_file() else sorted(path.glob("fold*/plug-debris.onnx"))
        if not nets[name]:
            raise SystemExit(f"{path}: no network there")
    plug_nets._opened = __import__("functools").lru_cache(maxsize=32)(plug_nets._Net)
    folds = max(len(files) for files in nets.values())
    truths = json.loads((args.pictures / "truth.json").read_text())
    names = [n for n in sorted(truths) if n.startswith("plug") and truths[n]["usable"]]
    names = names[: args.first or None]
    rows = {mix: {} for mix in args.mixes}
    looker, began = Looker(nets), time.time()
    for i, name in enumerate(names):
        file, truth = args.pictures / name, truths[name]
        if args.quality:
            again = Path("again.jpg")
            cv2.imwrite(str(again), cv2.imread(str(file)), [cv2.IMWRITE_JPEG_QUALITY, args.quality])
            file = again
        photo = load_photo(file)
        looker.new(i % folds)
        for mix in args.mixes:
            looker.passes, plug_debris.SURELY_FLAKE = parsed(mix)
            reading = plug.measure_plug(photo, plug_diameter_mm=truth["plug_outer_diameter_mm"])
            if not reading.usable:
                rows[mix][name] = None
                if args.each:
                    print(mix, name, "refused", reading.why)
                continue
            counts, film, magnet, longest = compared(reading, truth)
            free = not truth["flakes"]
            rows[mix][name] = ([int(q) for q in counts], float(film), float(magnet), bool(longest), free)
            if args.each:
                said = [round(f.length_mm, 2) for f in reading.flakes]
                true = [round(f["length_mm"], 2) for f in truth["flakes"]]
                print(mix, name, *counts, f"film {film:.3f} magnet {magnet:.3f}", said, true, flush=True)
    print(f"{len(names)} pictures in {args.pictures}, {folds} fold(s), {time.time() - began:.0f} s")
    print("mix | refused | film | magnet within 3 % | F1 | right/counted/true | longest | without flakes; made up | F1 minus first, 95 of 100")
    rng = np.random.default_rng(1)
    drawn = rng.integers(0, len(names), (2000, len(names)))
    first = None
    for mix in args.mixes:
        all_ = [rows[mix].get(n) for n in names]
        seen = [r for r in all_ if r]
        if not seen:
            print(f"{mix} | all {len(all_)} refused")
            continue
        counts = np.array([r[0] if r else (0, 0, 0) for r in all_])
        total = counts.sum(0)
        free = [r for r in seen if r[4]]
        again = counts[drawn].sum(1)
        values = 2 * again[:, 0] / np.maximum(1, again[:, 1] + again[:, 2])
        first = values if first is None else first
        low, high = np.percentile(values - first, (2.5, 97.5))
        own = np.percentile(values, (2.5, 97.5))
        print(
            f"{mix} | {len(all_) - len(seen)} | {np.mean([r[1] for r in seen]):.4f}"
            f" | {np.mean([r[2] <= 0.03 for r in seen]):.2f} | {f1(total):.3f} ({own[0]:.2f}-{own[1]:.2f})"
            f" | {total[0]}/{total[1]}/{total[2]} | {np.mean([r[3] for r in seen]):.2f}"
            f" | {len(free)}; {sum(r[0][1] for r in free)} | {low:+.3f} to {high:+.3f}",
            flush=True,
        )
    if args.json:
        args.json.write_text(json.dumps(rows))


if __name__ == "__main__":
    main()
