# ruff: noqa: D103
"""Render plugs, then train a network on them (one CUDA card a network).

    nvcc -O3 --use_fast_math -shared -Xcompiler -fPIC render.cu -o librender_cuda.so
    python train.py circle|debris|pictures --lib librender_cuda.so --out OUT --render 120 --train 130
        [--warm FILE] [--given DIR --mix 120 --folds 3]

Numbers are seconds. ``--given`` names a folder of labelled pictures (truth.json beside them). Then
``--folds`` networks learn each from all but every so manieth of them, and one from all: the first
show on their left-out pictures what to expect on new ones, the last is the one to ship.
``pictures`` renders ``--pictures`` of the kept-apart seeds for testing.
"""

from __future__ import annotations

import argparse
import copy
import ctypes
import json
import math
import multiprocessing as mp
import time
from pathlib import Path

import cv2
import numpy as np
import pictures
import scene
import shapes
import torch
from camera import H, W, dev, metering
from crops import Data, Given, circle_batch, debris_batch, magnet_batch, mixed_circle, mixed_debris
from nets import Net, loss_c, loss_d, loss_mixed_d
from torch import nn

SMALL = 8  # the whole picture, so many times smaller, is what the meter sees
WINDOWS = (256, 384, 576)  # sides of windows around a magnet


def worker(queue, start, step):
    """Put random scenes into the queue for ever."""
    cv2.setNumThreads(1)
    seed = start
    while True:
        queue.put(scene.make(seed, W, H))
        seed += step


class Tracer:
    """The path tracer, on the card where there is one."""

    def __init__(self, library):
        self.library = ctypes.CDLL(str(library.resolve()))

    def __call__(self, plug, window, spp, shrink=1):
        """Return (3, h, w) half radiance and (2h, 2w) ids of a window (x, y, w, h)."""
        x, y, w, h = window
        params = plug.params.copy()
        params[-5:-2] /= shrink  # focal length and the middle, see scene.ORDER
        params[-4] -= x
        params[-3] -= y
        arrays = (params, plug.height, plug.ids, plug.table)
        a = [torch.from_numpy(np.ascontiguousarray(q)).to(dev) for q in arrays]
        rgb = torch.zeros((h, w, 3), device=dev)
        ids = torch.zeros((2 * h, 2 * w), dtype=torch.uint8, device=dev)
        if dev == "cuda":
            torch.cuda.synchronize()
        at = [ctypes.c_void_p(t.data_ptr()) for t in (*a, rgb, ids)]
        self.library.render(*at[:3], shapes.TEX, at[3], w, h, spp, *at[4:])
        return rgb.permute(2, 0, 1).half(), ids


def add_scene(data, plug, tracer, name):
    """Render a scene for a network, unless the camera is inside something dark."""
    small, _ = tracer(plug, (0, 0, W // SMALL, H // SMALL), 8, SMALL)
    key, grey = metering(small[None])
    if float(small.float().mean(0).median()) < 4e-3 or float(key) < 4e-3:
        return
    rim, magnet = np.array(plug.truth["rim"]), np.array(plug.truth["magnet"])
    if name == "circle":
        rgb, ids = tracer(plug, (0, 0, W, H), 10)
        data.add(rgb, None, rim, magnet, key[0], grey[0])
        return
    if plug.truth["nothing"] or not is_inside(magnet):
        return
    side = next((s for s in WINDOWS if s >= 3.0 * magnet[2]), WINDOWS[-1])
    x, y = (round(float(v)) - side // 2 for v in magnet[:2])
    rgb, ids = tracer(plug, (x, y, side, side), 28)
    data.add(rgb, ids, rim, magnet - [x, y, 0, 0, 0], key[0], grey[0])


def is_inside(ellipse):
    return 0 < ellipse[0] < W and 0 < ellipse[1] < H


def rendered(args, tracer):
    """Return the data set that can be rendered in so many seconds."""
    context = mp.get_context("spawn")
    queue = context.Queue(3 * args.workers)
    seeds = [args.seed * 1_000_003 + k for k in range(args.workers)]
    processes = [
        context.Process(target=worker, args=(queue, s, args.workers), daemon=True) for s in seeds
    ]
    for process in processes:
        process.start()
    data, until = Data(), None
    while until is None or time.time() < until:
        plug = queue.get()
        until = until or time.time() + args.render
        add_scene(data, plug, tracer, args.net)
    for process in processes:
        process.kill()
    data.freeze()
    print("rendered", data.n, [len(g) for g in data.groups], flush=True)
    return data


def fit(nets, make, seconds, loss_of, peak):
    """Train networks side by side for so many seconds with a cosine learning rate.

    ``make()`` gives a list of batches, one for each network.
    """
    opts = [torch.optim.AdamW(net.parameters(), peak, weight_decay=1e-3) for net in nets]
    start, step, seen = time.time(), 0, []
    for net in nets:
        net.train()
    while (done := (time.time() - start) / max(seconds, 1e-6)) < 1:
        rate = peak * min(1, step / 50 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-5
        for net, opt, (x, y) in zip(nets, opts, make(), strict=True):
            for group in opt.param_groups:
                group["lr"] = rate
            with torch.autocast(dev, torch.bfloat16):
                z = net(x.contiguous(memory_format=torch.channels_last))
            loss = loss_of(z.float(), y)
            opt.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            opt.step()
            seen.append(loss.detach())
        step += 1
        if step % 200 == 0:
            print(step, f"{torch.stack(seen).mean().item():.4f}", flush=True)
            seen = []
    print("steps", step, flush=True)
    for net in nets:
        net.eval()


def given_pictures(folder):
    """Return (name, picture, truth) of the usable plugs in a labelled folder."""
    out = []
    for name, truth in sorted(json.loads((folder / "truth.json").read_text()).items()):
        if name.startswith("plug") and truth["usable"]:
            rgb = cv2.imread(str(folder / name))[:, :, ::-1].copy()
            x = torch.from_numpy(rgb).to(dev).permute(2, 0, 1)[None].float() / 255
            out.append((name, x, truth))
    return out


def mixed(net, data, args):
    """Return networks that also learnt from given pictures: one a fold, and one of all."""
    rows = given_pictures(args.given)
    parts = [[r for i, r in enumerate(rows) if i % args.folds != k] for k in range(args.folds)]
    sets = [Given(part) for part in [*parts, rows]]
    nets = [copy.deepcopy(net) for _ in sets]
    m = args.batch
    if args.net == "circle":

        def make():
            drawn = circle_batch(data, m // 2)
            return [mixed_circle(drawn, given, m // 4) for given in sets]

        fit(nets, make, args.mix, loss_c, 1.5e-3)
    else:

        def make():
            drawn = magnet_batch(data, m - m // 3)
            return [mixed_debris(drawn, given, m // 3) for given in sets]

        fit(nets, make, args.mix, loss_mixed_d, 1.5e-3)
    return nets


def test_pictures(args, tracer):
    """Render kept-apart seeds as files with truth."""
    (args.out / "fresh").mkdir(parents=True, exist_ok=True)
    pictures.WIDTH, pictures.HEIGHT = W, H

    def traced(plug):
        rgb, ids = tracer(plug, (0, 0, W, H), 48)
        return rgb.float().permute(1, 2, 0).cpu().numpy(), ids.cpu().numpy()

    pictures.write(args.out / "fresh", pictures.FIRST, args.pictures, traced)


def main():
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("net", choices=("circle", "debris", "pictures"))
    for name in ("render", "train", "mix"):
        parser.add_argument(f"--{name}", type=float, default=0.0)
    for name, usual in (("seed", 1), ("folds", 3), ("pictures", 0), ("workers", 14), ("batch", 24)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    for name in ("lib", "out", "warm", "given"):
        parser.add_argument(f"--{name}", type=Path)
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    tracer = Tracer(args.lib)
    if args.net == "pictures":
        test_pictures(args, tracer)
        return
    data = rendered(args, tracer)
    net = Net(2 if args.net == "circle" else 4).to(dev).to(memory_format=torch.channels_last)
    if args.warm:
        net.load_state_dict(torch.load(args.warm, map_location=dev))
    make, loss = (circle_batch, loss_c) if args.net == "circle" else (debris_batch, loss_d)
    fit([net], lambda: [make(data, args.batch)], args.train, loss, 3e-3)
    nets = {"drawn": net}
    torch.save(net.state_dict(), args.out / f"{args.net}-drawn.pt")
    if args.given:
        names = [*(f"fold{k}" for k in range(args.folds)), "all"]
        nets = dict(zip(names, mixed(net, data, args), strict=True))
        for name, trained in nets.items():
            torch.save(trained.state_dict(), args.out / f"{args.net}-{name}.pt")


if __name__ == "__main__":
    main()
