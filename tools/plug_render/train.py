# Short mathematical names, and numpy arrays added to lists, are meant here.
"""Render plugs, then train both networks on them (one CUDA card).

    nvcc -O3 --use_fast_math -shared -Xcompiler -fPIC render.cu -o librender_cuda.so
    python train.py --render 200 --circles 300 --debris 300 --out OUT
        [--warm DIR] [--given DIR --mix 100]

Numbers are seconds. ``--given`` names a folder of labelled pictures (truth.json beside them) that
are mixed into the last ``--mix`` seconds of each network's training.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import math
import multiprocessing as mp
import time
from pathlib import Path

import cv2
import numpy as np
import scene
import shapes
import torch
from camera import H, W, dev
from crops import NC, ND, Data, Dev, circle_batch, debris_batch, mixed_circle, mixed_debris
from nets import Net, loss_c, loss_d, loss_mixed_d
from torch import nn

SPP = 32
WORKERS = 13


def worker(queue, start):
    """Put random scenes into the queue for ever."""
    cv2.setNumThreads(1)
    seed = start
    while True:
        queue.put(scene.make(seed, W, H))
        seed += WORKERS


def render(plug, library):
    """Return (3, H, W) half radiance and (2H, 2W) ids on the card."""
    arrays = (plug.params, plug.height, plug.ids, plug.table)
    a = [torch.from_numpy(np.ascontiguousarray(x)).to(dev) for x in arrays]
    rgb = torch.zeros((H, W, 3), device=dev)
    ids = torch.zeros((2 * H, 2 * W), dtype=torch.uint8, device=dev)
    torch.cuda.synchronize()
    at = [ctypes.c_void_p(t.data_ptr()) for t in (*a, rgb, ids)]
    library.render(*at[:3], shapes.TEX, at[3], W, H, SPP, *at[4:])
    return rgb.permute(2, 0, 1).half(), ids


def is_lit(rgb):
    """Whether the camera isn't inside something dark."""
    grey = rgb.float().mean(0)
    middle = grey[H // 4 : 3 * H // 4, W // 4 : 3 * W // 4]
    return float(grey.flatten()[::37].median()) > 4e-3 and float(middle.mean()) > 4e-3


def rendered(seconds, seed, library):
    """Return the data set that can be rendered in so many seconds."""
    context = mp.get_context("spawn")
    queue = context.Queue(24)
    args = [(queue, seed * 1_000_003 + k) for k in range(WORKERS)]
    processes = [context.Process(target=worker, args=a, daemon=True) for a in args]
    for process in processes:
        process.start()
    data, until = Data(), None
    while until is None or time.time() < until:
        plug = queue.get()
        until = until or time.time() + seconds
        rgb, ids = render(plug, library)
        if is_lit(rgb):
            data.add(rgb, ids, plug.truth)
    for process in processes:
        process.kill()
    data.freeze()
    print("rendered", data.n, flush=True)
    return data


def fit(net, make, seconds, loss_of, peak):
    """Train for so many seconds with a cosine learning rate."""
    opt = torch.optim.AdamW(net.parameters(), peak, weight_decay=1e-3)
    start, step, seen = time.time(), 0, []
    net.train()
    while (done := (time.time() - start) / max(seconds, 1e-6)) < 1:
        for group in opt.param_groups:
            group["lr"] = (
                peak * min(1, step / 50 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-5
            )
        x, y = make(24)
        with torch.autocast("cuda", torch.bfloat16):
            z = net(x)
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
    net.eval()


def given_pictures(folder):
    """Return (name, picture, truth) of the usable plugs in a labelled folder."""
    out = []
    for name, truth in sorted(json.loads((folder / "truth.json").read_text()).items()):
        if name.startswith("plug") and truth["usable"]:
            rgb = cv2.imread(str(folder / name))[:, :, ::-1].copy()
            out.append(
                (name, torch.from_numpy(rgb).to(dev).permute(2, 0, 1)[None].float() / 255, truth)
            )
    return out


def export(net, path, side):
    """Write the weights and the network as ONNX."""
    torch.save(net.state_dict(), path.with_suffix(".pt"))
    example = torch.zeros(1, 3, side, side, device=dev)
    names = {"input_names": ["x"], "output_names": ["y"]}
    torch.onnx.export(
        net.float(),
        example,
        str(path.with_suffix(".onnx")),
        opset_version=17,
        dynamo=False,
        **names,
    )


def main():
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name in ("render", "circles", "debris", "mix"):
        parser.add_argument(f"--{name}", type=float, default=0.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--warm", type=Path)
    parser.add_argument("--given", type=Path)
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    library = ctypes.CDLL(str(Path("librender_cuda.so").resolve()))
    data = rendered(args.render, args.seed, library)
    given = Dev(given_pictures(args.given)) if args.given else None
    jobs = (
        ("circle", Net(2), NC, args.circles, circle_batch, mixed_circle, loss_c, loss_c),
        ("debris", Net(4), ND, args.debris, debris_batch, mixed_debris, loss_d, loss_mixed_d),
    )
    for name, net, side, seconds, make, mixed, loss, mixed_loss in jobs:
        if not seconds:
            continue
        net.to(dev).to(memory_format=torch.channels_last)
        if args.warm:
            net.load_state_dict(torch.load(args.warm / f"{name}.pt"))
        fit(net, lambda m, make=make: make(data, m), seconds, loss, 3e-3)
        if given is not None:
            fit(net, lambda m, mixed=mixed: mixed(data, given, m), args.mix, mixed_loss, 1.5e-3)
        export(net, args.out / name, side)


if __name__ == "__main__":
    main()
