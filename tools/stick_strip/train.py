"""Train the strip network; see README.md.

    train.py --strips DIR --out OUT --seconds 300 [--fold K]

With ``--fold K`` every third of the given pictures is left out and measured beside the training.
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from pathlib import Path

import numpy as np
import torch
from net import StripNet
from torch import Tensor, nn

ROWS, COLUMNS = 40, 576
NEAR = 1.2  # columns: the label's standard deviation


def loaded(folder: Path) -> tuple[Tensor, Tensor, Tensor, list[str]]:
    """Return pixels (n, 3, ROWS, COLUMNS) as log, lengths, places (n, 3) and names."""
    strips = [
        s for f in sorted(folder.glob("**/strips.npy")) for s in np.load(f, allow_pickle=True)
    ]
    strips = [s for s in strips if s["pixels"].shape[1] <= COLUMNS]
    pixels = np.zeros((len(strips), ROWS, COLUMNS, 3), np.uint8)
    for k, s in enumerate(strips):
        pixels[k, :, : s["pixels"].shape[1]] = s["pixels"]
    lengths = torch.tensor([s["pixels"].shape[1] for s in strips])
    places = torch.tensor(np.array([s["places"] for s in strips]), dtype=torch.float32)
    names = [s["name"] for s in strips]
    return torch.tensor(pixels).permute(0, 3, 1, 2).contiguous(), lengths, places, names


def normal(log: Tensor, seen: Tensor) -> Tensor:
    """Return the network's input: log channels less their mean on the blade, and ``seen``."""
    inner = slice(9, 31)
    weight = seen[:, None, None, :]
    mean = (log[:, :, inner] * weight).sum((2, 3)) / (22 * seen.sum(1))[:, None]
    shown = (log - mean[:, :, None, None]) * weight
    return torch.cat([shown, weight.expand(-1, 1, ROWS, -1)], 1)


def stretched(log: Tensor, lengths: Tensor, places: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return the strips shifted, mirrored and stretched along by chance, with their labels."""
    n, device = len(log), log.device
    factor = torch.exp(torch.empty(n, device=device).uniform_(-0.2, 0.2))
    factor = torch.minimum(factor, (COLUMNS - 2) / lengths)
    new = (lengths * factor).floor()
    shift = torch.rand(n, device=device) * (COLUMNS - new)
    shift = torch.where(torch.rand(n, device=device) < 0.5, shift, torch.zeros_like(shift)).floor()
    # cut the ends by chance, never the labels
    low, high = places.min(1).values, places.max(1).values
    cut_low = torch.rand(n, device=device).pow(3) * (low - 6).clamp(min=0)
    cut_high = lengths - torch.rand(n, device=device).pow(3) * (lengths - high - 6).clamp(min=0)
    column = torch.arange(COLUMNS, device=device)[None].expand(n, -1)
    source = (column - shift[:, None] + 0.5) / factor[:, None] - 0.5
    mirror = torch.rand(n, device=device) < 0.5
    source = torch.where(mirror[:, None], lengths[:, None] - 1 - source, source)
    seen = ((source >= cut_low[:, None]) & (source <= cut_high[:, None] - 1)).float()
    along = (source + 0.5) / COLUMNS * 2 - 1
    flip = torch.where(torch.rand(n, device=device) < 0.5, 1.0, -1.0)
    lean = torch.empty(n, device=device).uniform_(-0.06, 0.06)
    wide = torch.empty(n, device=device).uniform_(0.94, 1.06)
    row = (torch.arange(ROWS, device=device) + 0.5) / ROWS * 2 - 1
    across = flip[:, None] * (row[None] * wide[:, None]) + lean[:, None]
    grid = torch.stack(
        [
            along[:, None, :].expand(-1, ROWS, -1),
            across[:, :, None].expand(-1, -1, COLUMNS),
        ],
        -1,
    )
    out = nn.functional.grid_sample(log, grid, padding_mode="border", align_corners=False)
    moved = torch.where(mirror[:, None], lengths[:, None] - 1 - places, places)
    moved = (moved + 0.5) * factor[:, None] - 0.5 + shift[:, None]
    return out, seen, moved


def flooded(log: Tensor, places: Tensor) -> tuple[Tensor, Tensor]:
    """Return strips on which the fluid reaches further, for half of them, with their new labels."""
    n, device = len(log), log.device
    edge, dry = places[:, 2], torch.sign(places[:, 1] - places[:, 0])
    gap = (places[:, 1] - places[:, 0]).abs()
    column = torch.arange(COLUMNS, device=device)[None]
    off = (column - edge[:, None]) * dry[:, None]  # > 0 on the dry side
    inner = log[:, :, 10:30].mean(2)

    def mean(mask: Tensor) -> Tensor:
        weight = mask.float()[:, None]
        return (inner * weight).sum(2) / weight.sum(2).clamp(min=1)

    ratio = mean((off < -3) & (off > -25)) - mean((off > 3) & (off < 25))
    tells = (ratio[:, 0] - ratio[:, 2]).abs() > 0.15
    reach = torch.rand(n, device=device) * 0.7 * gap
    fits = (edge + dry * reach > 12) & (edge + dry * reach < COLUMNS - 12)
    chosen = tells & fits & (torch.rand(n, device=device) < 0.5)
    reach = torch.where(chosen, reach, torch.zeros_like(reach))
    wave = torch.randn(n, 8, device=device).repeat_interleave(5, 1)
    wave = wave * torch.rand(n, 1, device=device) * 2.0
    soft = 0.5 + torch.rand(n, 1, 1, device=device) * 3
    far = off[:, None, :] - reach[:, None, None] - wave[:, :, None]
    film = torch.sigmoid(-far / soft) * torch.sigmoid(off[:, None, :] / soft)
    film[:, :8] = 0
    film[:, 32:] = 0
    film = film * chosen[:, None, None]
    moved = places.clone()
    middle = wave[:, 19:21].mean(1) * chosen
    moved[:, 2] = edge + dry * (reach + middle)
    return log + film[:, None] * ratio[:, :, None, None], moved


def spoiled(log: Tensor) -> Tensor:
    """Return strips with other light, contrast, blur, noise and spots."""
    n, device = len(log), log.device

    def some(share: float) -> Tensor:
        return (torch.rand(n, device=device) < share).float()[:, None, None, None]

    log = log * (1 + some(0.5) * torch.empty(n, 1, 1, 1, device=device).uniform_(-0.25, 0.3))
    log = log + 0.15 * some(0.5) * torch.randn(n, 3, 1, 1, device=device)
    knots = torch.randn(n, 1, 1, 8, device=device) * 0.25
    log = log + some(0.4) * nn.functional.interpolate(knots, (1, COLUMNS), mode="bilinear")
    blurred = nn.functional.avg_pool2d(log, (3, 5), 1, (1, 2), count_include_pad=False)
    log = torch.lerp(log, blurred, some(0.3) * torch.rand(n, 1, 1, 1, device=device))
    log = log + some(0.5) * 0.12 * torch.rand(n, 1, 1, 1, device=device) * torch.randn_like(log)
    row = torch.arange(ROWS, device=device)[None, :, None]
    column = torch.arange(COLUMNS, device=device)[None, None, :]
    for _ in range(3):
        y = torch.rand(n, 1, 1, device=device) * ROWS
        x = torch.rand(n, 1, 1, device=device) * 300
        tall = 1 + torch.rand(n, 1, 1, device=device) * 5
        long = 1 + torch.rand(n, 1, 1, device=device).pow(2) * 14
        spot = ((((row - y) / tall) ** 2 + ((column - x) / long) ** 2) < 1).float()[:, None]
        log = log + some(0.3) * spot * 0.5 * torch.randn(n, 3, 1, 1, device=device)
    return log


def loss_of(logits: Tensor, seen: Tensor, places: Tensor) -> Tensor:
    """Return the loss of a batch."""
    column = torch.arange(COLUMNS, device=logits.device)[None, None]
    near = torch.exp(-0.5 * ((column - places[:, :, None]) / NEAR) ** 2) * seen[:, None]
    near = near / near.sum(2, keepdim=True).clamp(min=1e-6)
    where = -(near * logits[:, :3].log_softmax(2)).sum(2)
    dry = torch.sign(places[:, 1] - places[:, 0])[:, None]
    off = (column[:, 0] - places[:, 2:3]) * dry
    told = (off.abs() > 2) & (off.abs() < 40) & (seen > 0)
    wet = nn.functional.binary_cross_entropy_with_logits(
        logits[:, 3], (off < 0).float(), reduction="none"
    )
    return where.mean(1).mean() + 0.3 * (wet * told).sum() / told.sum().clamp(min=1)


def levels(model: nn.Module, log: Tensor, lengths: Tensor) -> tuple[Tensor, Tensor]:
    """Return the level of each strip, and the least share of certainty of the three places."""
    column = torch.arange(COLUMNS, device=log.device)
    seen = (column[None] < lengths[:, None]).float()
    chance = model(normal(log, seen))[:, :3].softmax(2)
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
    for a, b in zip(mean.state_dict().values(), model.state_dict().values(), strict=True):
        if a.is_floating_point():
            a.lerp_(b, 1 - keep)
        else:
            a.copy_(b)


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
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def main() -> None:
    """Run the command line."""
    args = arguments()
    torch.manual_seed(args.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    pixels, lengths, places, names = loaded(args.strips)
    known = sorted({n for n in names if n})
    left_out = set(known[args.fold :: 3]) if args.fold is not None else set()
    drawn, given, far = (
        torch.tensor([k for k, n in enumerate(names) if fits(n)], device=device)
        for fits in (lambda n: not n, lambda n: n and n not in left_out, left_out.__contains__)
    )
    print(f"{len(drawn)} drawn, {len(given)} given, {len(far)} left out", flush=True)
    pixels, lengths, places = pixels.to(device), lengths.to(device).float(), places.to(device)
    model = StripNet().to(device)
    mean = copy.deepcopy(model).eval()
    optimiser = torch.optim.AdamW(model.parameters(), args.rate, weight_decay=0.02)
    started, step, told = time.monotonic(), 0, 0.0
    while (spent := time.monotonic() - started) < args.seconds:
        part = spent / args.seconds
        for group in optimiser.param_groups:
            group["lr"] = args.rate * min(1, step / 200) * (0.5 + 0.5 * math.cos(math.pi * part))
        chosen = picked(args, drawn, given)
        log = torch.log(pixels[chosen].float() + 6)
        log, seen, at = stretched(log, lengths[chosen], places[chosen])
        log, at = flooded(log, at)
        loss = loss_of(model(normal(spoiled(log), seen)), seen, at)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        follow(mean, model, min(0.998, step / (step + 20)))
        if spent - told > args.seconds / 10:
            told = spent
            found = judged(mean, pixels, lengths, places, far) if len(far) else ""
            print(f"{spent:4.0f} s, {step} steps, loss {loss.item():.3f} {found}", flush=True)
            save(mean, args.out, args.fold)
    save(mean, args.out, args.fold)
    if len(far):
        print("end:", judged(mean, pixels, lengths, places, far), flush=True)


@torch.no_grad()
def judged(model: nn.Module, pixels: Tensor, lengths: Tensor, places: Tensor, far: Tensor) -> str:
    """Return how the levels of pictures left out are found."""
    off, sure = [], []
    for chunk in far.split(64):
        found, top = levels(model, torch.log(pixels[chunk].float() + 6), lengths[chunk])
        p = places[chunk]
        off.append((found - (p[:, 2] - p[:, 0]) / (p[:, 1] - p[:, 0])).abs())
        sure.append(top)
    error, certain = torch.cat(off), torch.cat(sure)
    good = certain > 0.6
    return (
        f"off: median {error.median():.3f}, within 0.08 {(error < 0.08).float().mean():.1%}; "
        f"sure of {good.float().mean():.1%}, of these within 0.08 "
        f"{(error[good] < 0.08).float().mean():.1%}"
    )


def save(model: nn.Module, out: Path, fold: int | None) -> None:
    """Write the weights."""
    out.mkdir(parents=True, exist_ok=True)
    name = "all" if fold is None else f"fold{fold}"
    torch.save({k: v.half().cpu() for k, v in model.state_dict().items()}, out / f"strip-{name}.pt")


if __name__ == "__main__":
    main()
