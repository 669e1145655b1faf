"""What is done to strips by chance while the network learns: shape, fluid, light, fingers.

All take strips as log(8-bit + 6), shape (n, 3, ROWS, COLUMNS), and places as columns, (n, 3): lower
mark, upper mark, wet edge.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor, nn

ROWS, COLUMNS = 60, 1152


def stretched(
    log: Tensor, lengths: Tensor, places: Tensor
) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Return the strips shifted, mirrored and stretched along by chance, with their labels.

    The last is which of the three places were cut off, for a twelfth of the strips one of them.
    """
    n, device = len(log), log.device

    def chance(*shape: int) -> Tensor:
        return torch.rand(*shape, device=device)

    factor = torch.exp(torch.empty(n, device=device).uniform_(-0.3, 0.25))
    factor = torch.minimum(factor, (COLUMNS - 2) / lengths)
    new = (lengths * factor).floor()
    shift = chance(n) * (COLUMNS - new)
    shift = torch.where(chance(n) < 0.5, shift, torch.zeros_like(shift)).floor()
    # cut the ends by chance, seldom the labels
    order = places.sort(1).values
    low, high = order[:, 0], order[:, 2]
    cut_low = chance(n).pow(3) * (low - 12).clamp(min=0)
    cut_high = lengths - chance(n).pow(3) * (lengths - high - 12).clamp(min=0)
    lost = chance(n)
    inside = order[:, 1] - low > 30
    cut_low = torch.where(
        (lost < 0.04) & inside, low + 6 + chance(n) * (order[:, 1] - low - 20), cut_low
    )
    inside = high - order[:, 1] > 30
    cut_high = torch.where(
        (lost > 0.96) & inside, high - 6 - chance(n) * (high - order[:, 1] - 20), cut_high
    )
    gone = (places < cut_low[:, None]) | (places > cut_high[:, None] - 1)
    column = torch.arange(COLUMNS, device=device)[None].expand(n, -1)
    plain = (column - shift[:, None] + 0.5) / factor[:, None] - 0.5
    period = 120 + 500 * chance(n, 1)
    swing = (chance(n, 1) * 0.25 - 0.05).clamp(min=0) * period / 6.283
    phase = chance(n, 1) * 6.283
    source = plain + swing * torch.sin(6.283 * plain / period + phase)
    mirror = chance(n) < 0.5
    source = torch.where(mirror[:, None], lengths[:, None] - 1 - source, source)
    seen = ((source >= cut_low[:, None]) & (source <= cut_high[:, None] - 1)).float()
    seen = seen[:, ::2].repeat_interleave(2, 1)
    along = (source + 0.5) / COLUMNS * 2 - 1
    flip = torch.where(chance(n) < 0.5, 1.0, -1.0)
    lean = torch.empty(n, device=device).uniform_(-0.06, 0.06)
    wide = torch.empty(n, device=device).uniform_(0.92, 1.08)
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
    goal = torch.where(mirror[:, None], lengths[:, None] - 1 - places, places)
    moved = goal
    for _ in range(12):
        moved = goal - swing * torch.sin(6.283 * moved / period + phase)
    moved = (moved + 0.5) * factor[:, None] - 0.5 + shift[:, None]
    return out, seen, moved, gone


def covered(log: Tensor, places: Tensor, share: float) -> tuple[Tensor, Tensor, Tensor]:
    """Return strips with a finger or a rag over a part, for a share of them.

    Half of these lie over one of the three places. The others returned are the span that is hidden
    on the axis, (n, 2), and which strips have one.
    """
    n, device = len(log), log.device

    def chance(*shape: int) -> Tensor:
        return torch.rand(*shape, device=device)

    chosen = chance(n) < share
    which = torch.randint(3, (n,), device=device)
    at = places.gather(1, which[:, None])[:, 0] + 10 * torch.randn(n, device=device)
    at = torch.where(chance(n) < 0.5, at, chance(n) * COLUMNS * 0.7)
    half = 12 + 50 * chance(n)
    row = torch.arange(ROWS, device=device, dtype=torch.float32)[None, :, None]
    column = torch.arange(COLUMNS, device=device, dtype=torch.float32)[None, None]
    lean = 0.5 * torch.randn(n, 1, 1, device=device)
    off = (column - at[:, None, None] + lean * (row - 29.5)) / half[:, None, None]
    reach = torch.where(chance(n) < 0.3, 20 + 30 * chance(n), 90 + 0 * half)[:, None, None]
    side = torch.where(chance(n, 1, 1) < 0.5, row, 59 - row)
    bulge = reach - 18 * off.square()
    inside = torch.minimum((1 - off.abs()) * half[:, None, None], bulge - side)
    mask = torch.sigmoid(inside / (0.5 + 2.5 * chance(n, 1, 1))) * chosen[:, None, None]
    skin = torch.tensor([0.25, 0.0, -0.3], device=device) * (chance(n, 1) < 0.5)
    colour = 2 + 3.3 * chance(n, 1) + skin + 0.25 * torch.randn(n, 3, device=device)
    shade = 0.4 * torch.randn(n, 1, 1, device=device) * off - 0.5 * off.square() * chance(n, 1, 1)
    coarse = nn.functional.interpolate(
        torch.randn(n, 1, 15, 144, device=device), (ROWS, COLUMNS), mode="bilinear"
    )
    thing = colour[:, :, None, None] + shade[:, None] + 0.2 * chance(n, 1, 1, 1) * coarse
    thing = thing + 0.1 * torch.randn_like(log)
    mask = mask[:, None]
    hides = chosen & (mask[:, 0, 26:34].mean(1).amax(1) > 0.5)
    middle = mask[:, 0, 26:34].mean(1) > 0.5
    first = middle.float().argmax(1)
    last = COLUMNS - 1 - middle.flip(1).float().argmax(1)
    return log * (1 - mask) + thing * mask, torch.stack([first, last], 1), hides


def step_of(log: Tensor, off: Tensor) -> Tensor:
    """Return the wet side's mean log channels less the dry side's, near the edge, (n, 3)."""
    inner = log[:, :, 15:45].mean(2)

    def mean(mask: Tensor) -> Tensor:
        weight = mask.float()[:, None]
        return (inner * weight).sum(2) / weight.sum(2).clamp(min=1)

    return mean((off < -6) & (off > -50)) - mean((off > 6) & (off < 50))


def offsets(places: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return columns beyond the edge (> 0 on the dry side), the dry way and the marks' distance."""
    dry = torch.sign(places[:, 1] - places[:, 0])
    column = torch.arange(COLUMNS, device=places.device)[None]
    return (column - places[:, 2:3]) * dry[:, None], dry, (places[:, 1] - places[:, 0]).abs()


def cleared(log: Tensor, places: Tensor, share: float) -> tuple[Tensor, Tensor]:
    """Return strips whose fluid has lost its colour, for a share of the coloured ones, and which.

    Red light passes red and amber fluid nearly unseen: the red channel stands for all three, and
    what it still loses under the fluid is given back where the colour says that there is fluid.
    Streaks, shine and lip stay as they are.
    """
    n, device = len(log), log.device
    off, _, _ = offsets(places)
    step = step_of(log, off)
    other = torch.where((step[:, 0] - step[:, 1]) > (step[:, 0] - step[:, 2]), 1, 2)
    d = step[:, 0] - step.gather(1, other[:, None])[:, 0]
    luck = torch.rand(n, device=device)
    chosen = (d > 0.15) & (luck < 1.5 * share)
    tint = torch.rand(n, 3, device=device) * 0.9 * torch.rand(n, 1, device=device)
    tint = tint * (luck > share)[:, None]  # a third of them gets another colour
    c = log[:, 0] - log.gather(1, other[:, None, None, None].expand(-1, 1, ROWS, COLUMNS))[:, 0]
    c = nn.functional.avg_pool2d(c[:, None], 5, 1, 2)[:, 0]
    dry = ((off > 6) & (off < 50)).float()[:, None]
    plain = (c[:, 15:45] * dry).sum((1, 2)) / (30 * dry.sum((1, 2))).clamp(min=1)
    m = ((c - plain[:, None, None]) / d.clamp(min=0.1)[:, None, None]).clamp(0, 1)
    back = step[:, 0] + 0.12 * torch.randn(n, device=device)
    grey = log[:, 0] - m * back[:, None, None]
    inner = log[:, :, 15:45]
    cast = (inner * dry[:, None]).sum((2, 3)) / (30 * dry.sum((1, 2)))[:, None].clamp(min=1)
    cast = cast - cast[:, :1] + 0.03 * torch.randn(n, 3, device=device)
    wave = torch.randn(n, 3, 1, 12, device=device) * 0.015
    wave = nn.functional.interpolate(wave, (ROWS, COLUMNS), mode="bilinear")
    new = grey[:, None] + cast[:, :, None, None] + wave - m[:, None] * tint[:, :, None, None]
    row = torch.arange(ROWS, device=device, dtype=torch.float32)
    on = ((25.5 - (row - 29.5).abs()) / 1.5 + 0.5).clamp(0, 1)[None, None, :, None]
    on = on * chosen[:, None, None, None]
    return log * (1 - on) + new * on, chosen & (luck < share)


def flooded(log: Tensor, places: Tensor, free: Tensor) -> tuple[Tensor, Tensor]:
    """Return strips on which the fluid reaches further, for half of ``free``, with new labels."""
    n, device = len(log), log.device
    off, dry, gap = offsets(places)
    edge = places[:, 2]
    ratio = step_of(log, off)
    tells = (ratio[:, 0] - ratio[:, 2]).abs() > 0.15
    reach = torch.rand(n, device=device) * 0.7 * gap
    fits = (edge + dry * reach > 24) & (edge + dry * reach < COLUMNS - 24)
    chosen = free & tells & fits & (torch.rand(n, device=device) < 0.5)
    reach = torch.where(chosen, reach, torch.zeros_like(reach))
    wave = torch.randn(n, 10, device=device).repeat_interleave(6, 1)
    wave = wave * torch.rand(n, 1, device=device) * 4.0
    soft = 1 + torch.rand(n, 1, 1, device=device) * 6
    far = off[:, None, :] - reach[:, None, None] - wave[:, :, None]
    film = torch.sigmoid(-far / soft) * torch.sigmoid(off[:, None, :] / soft)
    film[:, :4] = 0
    film[:, 56:] = 0
    film = film * chosen[:, None, None]
    moved = places.clone()
    middle = wave[:, 29:31].mean(1) * chosen
    moved[:, 2] = edge + dry * (reach + middle)
    return log + film[:, None] * ratio[:, :, None, None], moved


def mirrored(n: int, device: torch.device) -> Tensor:
    """Return light that bare steel mirrors, as log factors, (n, 1, ROWS, COLUMNS)."""
    strength = 0.15 + 0.75 * torch.rand(n, 1, 1, 1, device=device).square()
    knots = torch.randn(n, 1, 3, 16, device=device) * strength
    smooth = nn.functional.interpolate(knots, (ROWS, COLUMNS), mode="bicubic")
    soft = 4 + 40 * torch.rand(n, 1, 1, 1, device=device)
    hard = torch.tanh(smooth / strength * 60 / soft) * strength
    return torch.where(torch.rand(n, 1, 1, 1, device=device) < 0.6, smooth, hard)


def spoiled(log: Tensor) -> Tensor:
    """Return strips with other light, contrast, blur, noise and spots."""
    n, device = len(log), log.device

    def some(share: float) -> Tensor:
        return (torch.rand(n, device=device) < share).float()[:, None, None, None]

    log = log * (1 + some(0.5) * torch.empty(n, 1, 1, 1, device=device).uniform_(-0.25, 0.3))
    log = log + 0.15 * some(0.5) * torch.randn(n, 3, 1, 1, device=device)
    log = log + some(0.6) * mirrored(n, device)
    log = log.clamp(max=math.log(261))
    blurred = nn.functional.avg_pool2d(log, (3, 7), 1, (1, 3), count_include_pad=False)
    log = torch.lerp(log, blurred, some(0.3) * torch.rand(n, 1, 1, 1, device=device))
    log = log + some(0.5) * 0.12 * torch.rand(n, 1, 1, 1, device=device) * torch.randn_like(log)
    row = torch.arange(ROWS, device=device)[None, :, None]
    column = torch.arange(COLUMNS, device=device)[None, None, :]
    for _ in range(3):
        y = torch.rand(n, 1, 1, device=device) * ROWS
        x = torch.rand(n, 1, 1, device=device) * 700
        tall = 1 + torch.rand(n, 1, 1, device=device) * 8
        long = 1 + torch.rand(n, 1, 1, device=device).pow(2) * 28
        spot = ((((row - y) / tall) ** 2 + ((column - x) / long) ** 2) < 1).float()[:, None]
        log = log + some(0.3) * spot * 0.5 * torch.randn(n, 3, 1, 1, device=device)
    return log
