"""Train the strip network; see README.md.

    train.py --strips DIR --out OUT --seconds 300 [--fold K]

With ``--fold K`` every third of the given pictures is left out and measured beside the training.
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from changes import COLUMNS, ROWS, cleared, covered, flooded, spoiled, stretched
from net import StripNet
from torch import Tensor, nn

INNER = slice(9, 51)  # rows that surely lie on the blade
NEAR = 1.2  # columns of the output: the label's standard deviation


@dataclass
class Strips:
    """Labelled strips: pixels (n, 3, ROWS, COLUMNS), lengths and places (n, 3) in columns."""

    pixels: Tensor
    lengths: Tensor
    places: Tensor
    names: list[str]
    pale: Tensor  # whether the fluid has no colour

    def logs(self, chosen: Tensor) -> Tensor:
        """Return the chosen strips as ``changes`` take them."""
        return torch.log(self.pixels[chosen].float() + 6)


def loaded(folder: Path, device: str) -> Strips:
    """Return all strips of a folder that are not too long."""
    strips = [
        s for f in sorted(folder.glob("**/strips.npy")) for s in np.load(f, allow_pickle=True)
    ]
    strips = [s for s in strips if s["pixels"].shape[1] <= COLUMNS]
    pixels = np.zeros((len(strips), ROWS, COLUMNS, 3), np.uint8)
    for k, s in enumerate(strips):
        pixels[k, :, : s["pixels"].shape[1]] = s["pixels"]
    return Strips(
        torch.tensor(pixels, device=device).permute(0, 3, 1, 2).contiguous(),
        torch.tensor([float(s["pixels"].shape[1]) for s in strips], device=device),
        torch.tensor(np.array([s["places"] for s in strips], np.float32), device=device),
        [s["name"] for s in strips],
        torch.tensor([s["colour"] == "clear" for s in strips], device=device),
    )


def normal(log: Tensor, seen: Tensor) -> Tensor:
    """Return the network's input: log channels less their mean on the blade, and ``seen``."""
    weight = seen[:, None, None, :]
    mean = (log[:, :, INNER] * weight).sum((2, 3)) / (42 * seen.sum(1))[:, None]
    shown = (log - mean[:, :, None, None]) * weight
    return torch.cat([shown, weight.expand(-1, 1, ROWS, -1)], 1)


def loss_of(
    logits: Tensor, seen: Tensor, places: Tensor, gone: Tensor, under: tuple[Tensor, Tensor]
) -> Tensor:
    """Return the loss of a batch.

    A place that was cut off (``gone``) may be anywhere, one that lies under something (its span,
    and whether there is any) anywhere under it.
    """
    span, hides = under
    lost = hides[:, None] & (places > span[:, :1] - 3) & (places < span[:, 1:] + 3)
    seen, places, span = seen[:, ::2], (places + 0.5) / 2 - 0.5, span / 2
    column = torch.arange(COLUMNS // 2, device=logits.device)[None, None]
    near = torch.exp(-0.5 * ((column - places[:, :, None]) / NEAR) ** 2) * seen[:, None]
    hidden = (column >= span[:, :1, None]) & (column <= span[:, 1:, None])
    near = torch.where(lost[:, :, None], (hidden & (seen[:, None] > 0)).float(), near)
    near = torch.where(gone[:, :, None], seen[:, None].expand_as(near), near)
    near = near / near.sum(2, keepdim=True).clamp(min=1e-6)
    where = -(near * logits[:, :3].log_softmax(2)).sum(2)
    dry = torch.sign(places[:, 1] - places[:, 0])[:, None]
    off = (column[:, 0] - places[:, 2:3]) * dry
    told = (off.abs() > 2) & (off.abs() < 40) & (seen > 0) & ~(lost | gone).any(1)[:, None]
    wet = nn.functional.binary_cross_entropy_with_logits(
        logits[:, 3], (off < 0).float(), reduction="none"
    )
    return where.mean(1).mean() + 0.3 * (wet * told).sum() / told.sum().clamp(min=1)


def levels(model: nn.Module, log: Tensor, lengths: Tensor) -> tuple[Tensor, Tensor]:
    """Return the level of each strip, and the least share of certainty of the three places."""
    wide = torch.arange(COLUMNS, device=log.device)
    seen = (wide[None] < lengths[:, None]).float()
    chance = model(normal(log, seen))[:, :3].float().softmax(2)
    column = wide[: COLUMNS // 2]
    near = nn.functional.avg_pool1d(chance, 9, 1, 4) * 9
    top, at = near.max(2)
    window = (column[None, None] - at[:, :, None]).abs() <= 4
    places = (chance * window * column).sum(2) / (chance * window).sum(2)
    return (places[:, 2] - places[:, 0]) / (places[:, 1] - places[:, 0]), top.min(1).values


def picked(args: argparse.Namespace, drawn: Tensor, given: Tensor) -> Tensor:
    """Return which strips make the next batch: some given ones, the others drawn."""
    count = int(args.batch * args.share) if len(given) else 0
    parts = [drawn[torch.randint(len(drawn), (args.batch - count,), device=drawn.device)]]
    if count:
        parts.append(given[torch.randint(len(given), (count,), device=drawn.device)])
    return torch.cat(parts)


@torch.no_grad()
def follow(mean: nn.Module, model: nn.Module, keep: float) -> None:
    """Move the running mean of the weights towards the weights."""
    pairs = list(zip(mean.state_dict().values(), model.state_dict().values(), strict=True))
    floats = [(a, b) for a, b in pairs if a.is_floating_point()]
    torch._foreach_lerp_([a for a, _ in floats], [b for _, b in floats], 1 - keep)


def arguments() -> argparse.Namespace:
    """Return what the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strips", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--fold", type=int)
    parser.add_argument("--batch", type=int, default=96)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--share", type=float, default=0.5, help="of given pictures in a batch")
    parser.add_argument("--clear", type=float, default=0.4, help="of coloured ones made clear")
    parser.add_argument("--cover", type=float, default=0.2, help="of strips with a finger on them")
    parser.add_argument("--steps", type=int, default=1400, help="at which the rate is zero")
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def main() -> None:
    """Run the command line."""
    args = arguments()
    torch.manual_seed(args.seed)
    torch.backends.cudnn.benchmark = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    strips = loaded(args.strips, device)
    known = sorted({n for n in strips.names if n})
    left_out = set(known[args.fold :: 3]) if args.fold is not None else set()
    drawn, given, far = (
        torch.tensor([k for k, n in enumerate(strips.names) if fits(n)], device=device)
        for fits in (lambda n: not n, lambda n: n and n not in left_out, left_out.__contains__)
    )
    print(f"{len(drawn)} drawn, {len(given)} given, {len(far)} left out", flush=True)
    model = StripNet().to(device, memory_format=torch.channels_last)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    mean = copy.deepcopy(model).eval()
    optimiser = torch.optim.AdamW(model.parameters(), args.rate, weight_decay=0.05)
    started, step = time.monotonic(), 0
    while (spent := time.monotonic() - started) < args.seconds:
        part = max(spent / args.seconds, step / args.steps)
        if part >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = args.rate * min(1, step / 200) * (0.5 + 0.5 * math.cos(math.pi * part))
        chosen = picked(args, drawn, given)
        log, seen, at, off = stretched(
            strips.logs(chosen), strips.lengths[chosen], strips.places[chosen]
        )
        log, pure = cleared(log, at, args.clear)
        log, at = flooded(log, at, ~pure & ~off.any(1))
        log, span, hides = covered(log, at, args.cover)
        with torch.autocast(device, torch.bfloat16):
            logits = model(normal(spoiled(log), seen).contiguous(memory_format=torch.channels_last))
        loss = loss_of(logits.float(), seen, at, off, (span, hides))
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        follow(mean, model, min(0.998, step / (step + 20)))
        if step % 500 == 0:
            found = judged(mean, strips, far) if len(far) else ""
            print(f"{spent:4.0f} s, {step} steps, loss {loss.item():.3f} {found}", flush=True)
            save(mean, args)
    save(mean, args)
    if len(far):
        print("end:", judged(mean, strips, far), flush=True)


@torch.no_grad()
def judged(model: nn.Module, strips: Strips, far: Tensor) -> str:
    """Return how the levels of pictures left out are found: coloured, made clear, clear."""
    told = ""
    state = torch.get_rng_state()
    torch.manual_seed(5)
    for name, chosen, share in (
        ("coloured", far[~strips.pale[far]], 0.0),
        ("made clear", far[~strips.pale[far]], 1.1),
        ("clear", far[strips.pale[far]], 0.0),
    ):
        off, sure = [], []
        for chunk in chosen.split(64):
            p = strips.places[chunk]
            log, gone = cleared(strips.logs(chunk), p, share)
            found, top = levels(model, log, strips.lengths[chunk])
            error = (found - (p[:, 2] - p[:, 0]) / (p[:, 1] - p[:, 0])).abs()
            keep = gone if share else torch.ones_like(gone)
            off.append(error[keep])
            sure.append(top[keep])
        if not off:
            continue
        error, certain = torch.cat(off), torch.cat(sure)
        good = certain > 0.7
        told += (
            f"| {name} {len(error)}: within 0.08 {(error < 0.08).float().mean():.1%}, "
            f"sure {good.float().mean():.1%}, of these {(error[good] < 0.08).float().mean():.1%} "
        )
    torch.set_rng_state(state)
    return told


def save(model: nn.Module, args: argparse.Namespace) -> None:
    """Write the weights."""
    args.out.mkdir(parents=True, exist_ok=True)
    part = "all" if args.fold is None else f"fold{args.fold}"
    state = {k: v.half().cpu() for k, v in model.state_dict().items()}
    torch.save(state, args.out / f"strip-{part}-{args.seed}.pt")


if __name__ == "__main__":
    main()
