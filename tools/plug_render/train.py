# ruff: noqa: D103
"""Render plugs, then train networks on them.

    nvcc -O3 --use_fast_math -shared -Xcompiler -fPIC render.cu -o librender_cuda.so
    python train.py circle|debris|pictures --lib librender_cuda.so --out OUT --render 120 --train 130
        [--warm FILE] [--given DIR --mix 120 --folds 3] [--going 1]

Numbers are seconds. ``--given`` names a folder of labelled pictures (truth.json beside them). Then
``--folds`` networks learn each from all but every so manieth of them, and one from all: the first
show on their left-out pictures what to expect on new ones, the last is the one to ship.
``--part`` names some of these (fold0, all, ...): so that processes beside each other learn one each
from the same rendered plugs, which a process with ``--keep FILE`` rendered before and others
take with ``--kept FILE``. ``--going`` threads go on rendering while the networks learn. Several
``--share`` (of given pictures in a batch) make as many trainings from the same start, each with its
part of the ``--mix`` seconds; beside the last weights of each (NAME-1.pt) the mean of its second
half's is kept (NAME-1-mean.pt). ``--by`` (seconds since 1970) says when mixing must be over,
instead of ``--mix``; ``--patch`` is the share of pictures in which bare magnet or film lies in a
flake's outline. ``--streams`` scenes are rendered at a time, ``--most`` in all; ``--batch`` pictures are
one step, at a peak rate of ``--rate`` (twice that on rendered ones alone). ``--large`` makes the
network for the circles as large as that for debris. ``pictures`` renders ``--pictures`` of the kept-apart seeds for testing.
"""

from __future__ import annotations

import argparse
import copy
import ctypes
import json
import math
import multiprocessing as mp
import os
import queue as queues
import threading
import time
from contextlib import nullcontext
from pathlib import Path

import cv2
import numpy as np
import pictures
import scene
import shapes
import torch
from camera import H, W, dev, metering
from crops import Data, Given, circle_batch, debris_batch, magnet_batch, mixed_circle, mixed_debris
from nets import Near, Net, loss_c, loss_d, loss_mixed_d
from torch import nn

torch.backends.cudnn.benchmark = True
SMALL = 8  # the whole picture, so many times smaller, is what the meter sees
WINDOWS = (192, 256, 320, 384, 448, 512, 576)  # sides of windows around a magnet
PAUSE = 1.5  # after each scene, in its own time, where rendering goes on beside learning
KEPT = 100.0  # seconds between weights that are written while learning goes on
AVERAGED = 10  # steps between weights that are averaged


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
        stream = torch.cuda.current_stream().cuda_stream if dev == "cuda" else None
        at = [ctypes.c_void_p(t.data_ptr()) for t in (*a, rgb, ids)]
        self.library.render(*at[:3], shapes.TEX, at[3], w, h, spp, *at[4:], ctypes.c_void_p(stream))
        return rgb.permute(2, 0, 1).half().contiguous(), ids


def add_scene(data, plug, tracer, name):
    """Render a scene for a network, unless the camera is inside something dark."""
    small, _ = tracer(plug, (0, 0, W // SMALL, H // SMALL), 8, SMALL)
    key = metering(small[None])[0]
    light = torch.tensor(plug.truth["light"], device=dev)
    if float(small.float().mean(0).median()) < 4e-3 or float(key) < 4e-3:
        return
    rim, magnet = np.array(plug.truth["rim"]), np.array(plug.truth["magnet"])
    if name == "circle":
        rgb, _ = tracer(plug, (0, 0, W, H), 7)
        done()
        data.add(rgb, None, rim, magnet, key, light)
        return
    if plug.truth["nothing"] or not is_inside(magnet):
        return
    side = next((s for s in WINDOWS if s >= 3.0 * magnet[2]), WINDOWS[-1])
    x, y = (round(float(v)) - side // 2 for v in magnet[:2])
    rgb, ids = tracer(plug, (x, y, side, side), 22)
    done()
    data.add(rgb, ids, rim, magnet - [x, y, 0, 0, 0], key, light)


def done():
    """Wait for this thread's own stream: others will read what it made."""
    if dev == "cuda":
        torch.cuda.current_stream().synchronize()


def is_inside(ellipse):
    return 0 < ellipse[0] < W and 0 < ellipse[1] < H


class Rendering:
    """Threads that render scenes into a data set, several at a time, while others learn from it."""

    def __init__(self, args, tracer):
        self.args, self.tracer, self.data = args, tracer, Data()
        context = mp.get_context("spawn")
        self.queue, self.over = context.Queue(3 * args.workers), threading.Event()
        seeds = [args.seed * 1_000_003 + k for k in range(args.workers)]
        self.processes = [
            context.Process(target=worker, args=(self.queue, s, args.workers), daemon=True)
            for s in seeds
        ]
        seen = os.environ.get("CUDA_VISIBLE_DEVICES")
        os.environ["CUDA_VISIBLE_DEVICES"] = ""  # the workers need no card
        for process in self.processes:
            process.start()
        if seen is None:
            del os.environ["CUDA_VISIBLE_DEVICES"]
        else:
            os.environ["CUDA_VISIBLE_DEVICES"] = seen
        self.threads = []

    def go(self, count, *, seconds=1e9, pause=0.0):
        """Start so many threads, for so many seconds after the first scene is there."""
        first = self.queue.get(timeout=240)
        until = time.time() + seconds

        def trace(plug=None):
            with torch.cuda.stream(torch.cuda.Stream()) if dev == "cuda" else nullcontext():
                while not self.over.is_set() and time.time() < until:
                    if len(self.data.rows) >= self.args.most:
                        return
                    began = time.time()
                    if plug is not None:
                        add_scene(self.data, plug, self.tracer, self.args.net)
                    self.over.wait(pause * (time.time() - began))
                    plug = self.next()

        self.threads = [
            threading.Thread(target=trace, args=(first if k == 0 else None,), daemon=True)
            for k in range(count)
        ]
        for thread in self.threads:
            thread.start()

    def next(self):
        """Return a scene, or None where none comes soon."""
        try:
            return self.queue.get(timeout=2)
        except queues.Empty:
            return None

    def wait(self):
        """Let the threads come to their end."""
        for thread in self.threads:
            thread.join()
        if dev == "cuda":
            torch.cuda.synchronize()
        print("rendered", len(self.data.rows), flush=True)

    def stop(self):
        """End the threads and the workers."""
        self.over.set()
        self.wait()
        for process in self.processes:
            process.kill()


def to(value, place):
    return value.to(place) if torch.is_tensor(value) else value


def kept(file):
    """Return the data set that ``--keep`` wrote."""
    data = Data()
    for row in torch.load(file, weights_only=False):
        data.add(*(to(value, dev) for value in row))
    return data


class Mean:
    """The mean of a network's weights at several times."""

    def __init__(self):
        self.sum, self.count = {}, 0

    def add(self, net):
        """Take in the weights as they are now."""
        self.count += 1
        for key, value in net.state_dict().items():
            if value.is_floating_point() and key in self.sum:
                self.sum[key] += value
            else:
                self.sum[key] = value.detach().clone()

    def state(self):
        """Return the mean."""
        return {k: v / self.count if v.is_floating_point() else v for k, v in self.sum.items()}


def fit(nets, make, seconds, loss_of, peak, *, keep=None):
    """Train networks side by side for so many seconds with a cosine learning rate.

    ``make()`` gives a list of batches, one for each network. Returns for each the mean of its
    weights over the second half; ``keep``, a function, is given what there is of it now and then,
    since a machine may go back early.
    """
    opts = [
        torch.optim.AdamW(net.parameters(), peak, weight_decay=1e-3, fused=dev == "cuda")
        for net in nets
    ]
    start, step, seen, means = time.time(), 0, [], [Mean() for _ in nets]
    kept_at = start
    for net in nets:
        net.train()
    while (past := (time.time() - start) / max(seconds, 1e-6)) < 1:
        rate = peak * min(1, step / 200 + 0.005) * (0.5 + 0.5 * math.cos(math.pi * past)) + 1e-5
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
        if past > 0.5 and step % AVERAGED == 0:
            for mean, net in zip(means, nets, strict=True):
                mean.add(net)
            if keep and time.time() - kept_at > KEPT:
                kept_at = time.time()
                keep([mean.state() for mean in means])
        if step % 200 == 0:
            print(step, f"{torch.stack(seen).mean().item():.4f}", f"{past:.2f}", flush=True)
            seen = []
    print("steps", step, flush=True)
    for net, mean in zip(nets, means, strict=True):
        net.eval()
        if not mean.count:
            mean.add(net)
    return [mean.state() for mean in means]


def save(state, file):
    """Write weights, large ones in half precision."""
    halved = {k: v.half() if v.is_floating_point() and v.dim() > 1 else v for k, v in state.items()}
    torch.save(halved, file)


def given_pictures(folder):
    """Return (name, picture, truth) of the usable plugs in a labelled folder."""
    out = []
    for name, truth in sorted(json.loads((folder / "truth.json").read_text()).items()):
        if name.startswith("plug") and truth["usable"]:
            rgb = cv2.imread(str(folder / name))[:, :, ::-1].copy()
            x = torch.from_numpy(rgb).to(dev).permute(2, 0, 1)[None].float() / 255
            out.append((name, x, truth))
    return out


def mixed(net, data, args, turn, seconds):
    """Train and save the networks that ``--part`` names, which also learn from given pictures.

    One a fold, without that part of them, and "all"; with the share of given pictures that this
    ``turn`` has.
    """
    rows = given_pictures(args.given)
    parts = {
        f"fold{k}": [r for i, r in enumerate(rows) if i % args.folds != k]
        for k in range(args.folds)
    }
    parts["all"] = rows
    names = [name for name in parts if not args.part or name in args.part]
    sets = [Given(parts[name]) for name in names]
    nets = [copy.deepcopy(net) for _ in sets]
    m, share = args.batch, round(args.batch * args.share[turn])
    patches = args.patch[min(turn, len(args.patch) - 1)]
    if args.net == "circle":

        def make():
            drawn = circle_batch(data, (m - share) // 2)
            return [mixed_circle(drawn, given, share // 2) for given in sets]

    else:

        def make():
            drawn = magnet_batch(data, m - share)
            return [mixed_debris(drawn, given, share, patches=patches) for given in sets]

    loss = loss_c if args.net == "circle" else loss_mixed_d
    ending = f"-{turn + 1}" if len(args.share) > 1 else ""

    def keep(states):
        for name, state in zip(names, states, strict=True):
            save(state, args.out / f"{args.net}-{name}{ending}-mean.pt")

    keep(fit(nets, make, seconds, loss, args.rate, keep=keep))
    for name, trained in zip(names, nets, strict=True):
        save(trained.state_dict(), args.out / f"{args.net}-{name}{ending}.pt")


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
    for name, usual in (("render", 0), ("train", 0), ("mix", 0), ("by", 0), ("rate", 1.5e-3)):
        parser.add_argument(f"--{name}", type=float, default=usual)
    for name, usual in (("share", 0.4), ("patch", 0.0)):
        parser.add_argument(f"--{name}", type=float, nargs="+", default=[usual])
    for name, usual in (("seed", 1), ("folds", 3), ("pictures", 0), ("workers", 14)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    for name, usual in (("batch", 24), ("streams", 4), ("going", 0), ("most", 5000)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    for name in ("lib", "out", "warm", "given", "keep", "kept"):
        parser.add_argument(f"--{name}", type=Path)
    parser.add_argument("--part", nargs="*")
    parser.add_argument("--large", action="store_true")
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    if args.net == "pictures":
        test_pictures(args, Tracer(args.lib))
        return
    rendering = None
    if args.kept:
        data = kept(args.kept)
    else:
        rendering = Rendering(args, Tracer(args.lib))
        rendering.go(args.streams, seconds=args.render)
        rendering.wait()
        data = rendering.data
        if args.going:
            rendering.go(args.going, pause=PAUSE)
    if args.keep:
        torch.save([[to(q, "cpu") for q in row] for row in data.rows], args.keep)
    else:
        learn(args, data)
    if rendering:
        rendering.stop()


def learn(args, data):
    """Train on rendered pictures, then on these and given ones."""
    net = Near(4) if args.net == "debris" else Near(2) if args.large else Net(2)
    net = net.to(dev).to(memory_format=torch.channels_last)
    if args.warm:
        net.load_state_dict(torch.load(args.warm, map_location=dev))
    make, loss = (circle_batch, loss_c) if args.net == "circle" else (debris_batch, loss_d)
    if args.train:
        (mean,) = fit([net], lambda: [make(data, args.batch)], args.train, loss, 2 * args.rate)
        save(net.state_dict(), args.out / f"{args.net}-drawn.pt")
        save(mean, args.out / f"{args.net}-drawn-mean.pt")
    for turn in range(len(args.share) if args.given else 0):
        print("rendered", len(data.rows), flush=True)
        left = args.by - time.time() if args.by else args.mix * (1 - turn / len(args.share))
        mixed(net, data, args, turn, left / (len(args.share) - turn))


if __name__ == "__main__":
    main()
