"""Two independent debris networks (A, B), each with folds 0 to 2 and all, on one card. See go.sh.

    python eye.py pictures|render|learn NAME SEED
"""

from __future__ import annotations

import copy
import math
import os
import signal
import sys
import tarfile
import threading
import time
from argparse import Namespace
from pathlib import Path

import cv2
import numpy as np
import pictures
import torch
import train
from camera import dev
from crops import Data, Given, debris_batch, magnet_batch, mixed_debris
from nets import Near, loss_d, loss_mixed_d
from torch import nn

HERE = Path(__file__).parent


def env(name, usual):
    return type(usual)(os.environ.get(name, usual))


START = env("EYE_START", time.time())
TOTAL = env("EYE_TOTAL", 1350.0)  # seconds from START to the end of everything
DRAWN_BY = env("EYE_DRAWN", 0.535)  # share of TOTAL when learning from rendered ones alone ends
OUT = Path(env("EYEOUT", "/tmp/eyeout"))
ROWS = Path(env("EYE_ROWS", "/dev/shm/eye"))
LIB = Path(env("EYE_LIB", "/tmp/eye/librender_cuda.so"))
FIRST = env("EYE_FIRST", 3000)  # windows before learning starts
MOST = env("EYE_MOST", 12000)
CHUNK = env("EYE_CHUNK", 250)
BATCH = env("EYE_BATCH", 24)
WORKERS = env("EYE_WORKERS", 11)
SPP = env("EYE_SPP", 1000)  # at most; for trials
PICTURES = env("EYE_PICTURES", 72)
SHARE, PATCH, RATE, FOLDS = 0.25, 0.1, 1e-3, 3
FORCED = env("EYE_FORCED", 0)  # try compiling on the processor, too
KEPT = env("EYE_KEPT", 80.0)


def now():
    return time.time() - START


def say(*words):
    print(f"{now():6.0f} s", *words, flush=True)


class Tracer(train.Tracer):
    def __call__(self, plug, window, spp, shrink=1):
        return super().__call__(plug, window, min(spp, SPP), shrink)


def draw_pictures():
    """The 72 kept-apart seeds, as train.py pictures makes them but for the quality of JPEG."""
    folder = ROWS / "fresh"
    folder.mkdir(parents=True, exist_ok=True)
    write = cv2.imwrite
    pictures.cv2.imwrite = lambda file, im, _: write(file, im, [cv2.IMWRITE_JPEG_QUALITY, 95])
    pictures.WIDTH, pictures.HEIGHT = train.W, train.H
    tracer = Tracer(LIB)

    def traced(plug):
        rgb, ids = tracer(plug, (0, 0, train.W, train.H), 48)
        return rgb.float().permute(1, 2, 0).cpu().numpy(), ids.cpu().numpy()

    pictures.write(folder, pictures.FIRST, PICTURES, traced)
    files = sorted(folder.glob("*.jpg"))
    half = (len(files) + 1) // 2
    for k, part in enumerate((files[:half], files[half:])):
        with tarfile.open(OUT / f".pics-{k + 1}.tar", "w") as tar:
            for file in [*part, folder / "truth.json"]:
                tar.add(file, file.name)
        (OUT / f".pics-{k + 1}.tar").rename(OUT / f"pics-{k + 1}.tar")
        say("pictures", len(part), (OUT / f"pics-{k + 1}.tar").stat().st_size)


class Sink:
    """Takes rendered windows, as train.Data does, and writes them as files of CHUNK."""

    def __init__(self):
        self.rows, self.waiting, self.turn, self.count = [], [], threading.Lock(), 0

    def add(self, *row):
        row = [train.to(q, "cpu") for q in row]
        with self.turn:
            self.rows.append(None)
            self.waiting.append(row)
            if len(self.waiting) < CHUNK:
                return
            full, self.waiting = self.waiting, []
            self.count += 1
            name = f"{self.count:04d}.pt"
        torch.save(full, ROWS / f".{name}")
        (ROWS / f".{name}").rename(ROWS / name)


def render():
    args = Namespace(workers=WORKERS, seed=121, most=env("EYE_BURST", 5000), net="debris")
    rendering = train.Rendering(args, Tracer(LIB))
    rendering.data = Sink()
    rendering.go(8)
    rendering.wait()
    say("rendered at full speed", len(rendering.data.rows))
    args.most = MOST
    rendering.go(4, seconds=max(0.0, 0.6 * TOTAL - now()), pause=0.7)
    while any(t.is_alive() for t in rendering.threads):
        time.sleep(20)
        say("rendered", len(rendering.data.rows))
    rendering.stop()
    say("rendering over", len(rendering.data.rows))


def collect(data, over):
    """Put what is rendered into data until over."""
    seen = set()
    while not over.is_set():
        new = sorted(set(ROWS.glob("0*.pt")) - seen)
        for file in new[:1]:
            for row in torch.load(file, weights_only=False):
                data.add(*(train.to(q, dev) for q in row))
            seen.add(file)
        if not new:
            time.sleep(1)


class TooLong(BaseException):
    pass


def late(*_):
    raise TooLong


def pace(net, run, x, y, times=8):
    """Return seconds a step."""
    torch.cuda.synchronize()
    began = time.time()
    for _ in range(times):
        with torch.autocast(dev, torch.bfloat16):
            z = run(x)
        loss_d(z.float(), y).backward()
        net.zero_grad()
    torch.cuda.synchronize()
    return (time.time() - began) / times


def quickest(net):
    """Return torch.compile where it works, is right and is quicker; else nothing at all."""

    def plain(q):
        return q

    if os.environ.get("EYE_COMPILE", "1") == "0" or (dev != "cuda" and not FORCED):
        return plain
    signal.signal(signal.SIGALRM, late)
    signal.alarm(int(env("EYE_COMPILE_MOST", 140)))
    try:
        import torch._dynamo

        torch._dynamo.config.recompile_limit = 64
        torch._dynamo.config.suppress_errors = False
        one, other = copy.deepcopy(net).train(), copy.deepcopy(net).train()
        x = torch.rand(BATCH, 3, 384, 384, device=dev).contiguous(
            memory_format=torch.channels_last
        )
        y = (torch.rand(BATCH, 5, 384, 384, device=dev) < 0.3).float()
        fast = torch.compile(other)
        grads = []
        for n, run in ((one, one), (other, fast)):
            with torch.autocast(dev, torch.bfloat16):
                z = run(x)
            loss = loss_d(z.float(), y)
            loss.backward()
            g = torch.cat([p.grad.flatten().float() for p in n.parameters()])
            grads.append((float(loss), g))
            n.zero_grad()
        (a, ga), (b, gb) = grads
        alike = float(torch.cosine_similarity(ga, gb, dim=0))
        say("compiled; loss", a, b, "gradients' cosine", round(alike, 4))
        both = ((one, one), (other, fast))  # in turn, since others use the card too
        times = np.array([[pace(n, r, x, y) for n, r in both] for _ in range(7)])
        slow, quick = np.median(times[1:], axis=0)
        say(f"a step plain {slow * 1e3:.1f} ms, compiled {quick * 1e3:.1f} ms")
        if abs(a - b) < 0.03 * a and alike > 0.8 and quick < 0.97 * slow:
            torch._dynamo.config.suppress_errors = True
            return torch.compile
        say("not compiled")
    except TooLong:
        say("compiling took too long")
    except Exception as error:
        say("compiling failed", repr(error)[:300])
    finally:
        signal.alarm(0)
        torch.cuda.empty_cache()
    return plain


def fit(nets, make, until, loss_of, peak, keep, quick):
    """As train.fit, until a time; ``keep`` gets the states every KEPT seconds, means where there are."""
    opts = [
        torch.optim.AdamW(net.parameters(), peak, weight_decay=1e-3, fused=dev == "cuda")
        for net in nets
    ]
    runs = [quick(net) for net in nets]
    start, step, seen, means = time.time(), 0, [], [train.Mean() for _ in nets]
    length, kept_at, told_at = max(START + until - start, 1e-6), start, start
    for net in nets:
        net.train()
    while (past := (time.time() - start) / length) < 1:
        rate = peak * min(1, step / 200 + 0.005) * (0.5 + 0.5 * math.cos(math.pi * past)) + 1e-5
        for net, run, opt, (x, y) in zip(nets, runs, opts, make(), strict=True):
            for group in opt.param_groups:
                group["lr"] = rate
            with torch.autocast(dev, torch.bfloat16):
                z = run(x.contiguous(memory_format=torch.channels_last))
            loss = loss_of(z.float(), y)
            opt.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            opt.step()
            seen.append(loss.detach())
        step += 1
        if past > 0.5 and step % train.AVERAGED == 0:
            for mean, net in zip(means, nets, strict=True):
                mean.add(net)
        if time.time() - kept_at > KEPT:
            kept_at = time.time()
            pairs = zip(means, nets, strict=True)
            keep([m.state() if m.count else n.state_dict() for m, n in pairs])
        if step % 100 == 0 or time.time() - told_at > 30:
            told_at = time.time()
            loss = torch.stack(seen).mean().item()
            say("step", step, f"loss {loss:.4f} past {past:.2f} rate {rate:.1e}")
            if not math.isfinite(loss):
                say("LOSS IS NOT FINITE")
            seen = []
    say("steps", step, "in", round(time.time() - start))
    for net, mean in zip(nets, means, strict=True):
        net.eval()
        if not mean.count:
            mean.add(net)
    states = [mean.state() for mean in means]
    keep(states)


def save(states, file):
    """Write named weights, large ones in half precision, at once or not at all."""
    halved = {
        name: {
            k: v.half().cpu() if v.is_floating_point() and v.dim() > 1 else v.cpu()
            for k, v in state.items()
        }
        for name, state in states.items()
    }
    torch.save(halved, file.with_name(f".{file.name}"))
    file.with_name(f".{file.name}").rename(file)


def learn(name, seed):
    torch.manual_seed(seed)
    net = Near(4).to(dev).to(memory_format=torch.channels_last)
    data, over = Data(), threading.Event()
    quick = quickest(net)
    say(name, "ready to learn")
    threading.Thread(target=collect, args=(data, over), daemon=True).start()
    while len(data.rows) < FIRST and not (now() > 0.15 * TOTAL and len(data.rows) > FIRST // 3):
        time.sleep(0.5)
    say(name, "learns from", len(data.rows))
    drawn = OUT / f"{name}-drawn.pt"
    fit(
        [net],
        lambda: [debris_batch(data, BATCH)],
        DRAWN_BY * TOTAL,
        loss_d,
        2 * RATE,
        lambda states: save({"drawn": states[0]}, drawn),
        quick,
    )
    say(name, "windows", len(data.rows))
    rows = train.given_pictures(HERE / "given")
    parts = {
        f"fold{k}": [r for i, r in enumerate(rows) if i % FOLDS != k] for k in range(FOLDS)
    }
    parts["all"] = rows
    sets = [Given(part) for part in parts.values()]
    nets = [copy.deepcopy(net) for _ in sets]
    share = round(BATCH * SHARE)

    def make():
        batch = magnet_batch(data, BATCH - share)
        return [mixed_debris(batch, given, share, patches=PATCH) for given in sets]

    def keep(states):
        named = dict(zip(parts, states, strict=True))
        for k, pair in enumerate((("fold0", "fold1"), ("fold2", "all"))):
            save({q: named[q] for q in pair}, OUT / f"{name}-{k + 1}.pt")

    drawn.rename(Path(env("EYE_WORK", "/tmp/eye")) / drawn.name)
    fit(nets, make, TOTAL - 30.0 * min(1, TOTAL / 600), loss_mixed_d, RATE, keep, quick)
    over.set()
    say(name, "done; memory", torch.cuda.max_memory_allocated() >> 20 if dev == "cuda" else 0)


if __name__ == "__main__":
    OUT.mkdir(parents=True, exist_ok=True)
    ROWS.mkdir(parents=True, exist_ok=True)
    what = sys.argv[1]
    if what == "pictures":
        draw_pictures()
    elif what == "render":
        render()
    else:
        learn(sys.argv[2], int(sys.argv[3]))
    os._exit(0)  # threads that still wait are of no use
