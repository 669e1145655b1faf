# ruff: noqa: D101, D102, D103, N812, E741
# Short mathematical names, and numpy arrays added to lists, are meant here.
"""The two networks, and what they are trained towards."""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import nn


class Block(nn.Module):
    def __init__(self, i, o, d=1, s=1):
        super().__init__()
        self.a = nn.Conv2d(i, o, 3, stride=s, padding=d, dilation=d, bias=False)
        self.n = nn.BatchNorm2d(o)

    def forward(self, x):
        return F.relu(self.n(self.a(x)))


class Net(nn.Module):
    def __init__(self, out, ch=(12, 24, 36, 56, 72)):
        super().__init__()
        self.i = Block(3, ch[0])
        self.d = nn.ModuleList(
            [nn.Sequential(Block(ch[i], ch[i + 1]), Block(ch[i + 1], ch[i + 1])) for i in range(4)]
        )
        self.m = nn.Sequential(
            Block(ch[4], ch[4], 2), Block(ch[4], ch[4], 4), Block(ch[4], ch[4], 1)
        )
        self.u = nn.ModuleList([Block(ch[i] + ch[i + 1], ch[i]) for i in range(4)])
        self.v = nn.ModuleList([Block(ch[i], ch[i]) for i in range(1, 4)])
        self.o = nn.Conv2d(ch[0], out, 1)

    def forward(self, x):
        x = (x - 0.45) * 4
        f = [self.i(x)]
        for d in self.d:
            f.append(d(F.max_pool2d(f[-1], 2)))
        y = f[-1] + self.m(f[-1])
        for k in (3, 2, 1, 0):
            y = self.u[k](torch.cat([f[k], F.interpolate(y, scale_factor=2, mode="nearest")], 1))
            if k:
                y = self.v[k - 1](y)
        return self.o(y)


class Residual(nn.Module):
    """Two convolutions whose answer is added to what came in; at first they add nothing."""

    def __init__(self, c, d=1):
        super().__init__()
        self.a = Block(c, c, d)
        self.b = nn.Conv2d(c, c, 3, padding=d, dilation=d, bias=False)
        self.n = nn.BatchNorm2d(c)
        nn.init.zeros_(self.n.weight)

    def forward(self, x):
        return F.relu(x + self.n(self.b(self.a(x))))


class Near(nn.Module):
    """The network for the magnet from near: most of its work is done at a quarter of the pixels.

    Two by two pixels enter as one with twelve channels and leave likewise, so that seven times the
    weights of ``Net`` take no longer.
    """

    def __init__(self, out, ch=(32, 64, 96, 160), deep=(1, 2, 3, 4)):
        super().__init__()
        self.stem = Block(12, ch[0])
        self.down = nn.ModuleList([Block(ch[i], ch[i + 1], s=2) for i in range(3)])
        spread = (1, 1, 1), (1, 1, 1), (1, 1, 1), (1, 2, 4, 1)
        self.deep = nn.ModuleList(
            [
                nn.Sequential(*(Residual(c, spread[i][k]) for k in range(n)))
                for i, (c, n) in enumerate(zip(ch, deep, strict=True))
            ]
        )
        self.whole = nn.Linear(ch[3], ch[3])
        self.join = nn.ModuleList([Block(ch[i] + ch[i + 1], ch[i]) for i in range(3)])
        self.up = nn.ModuleList([Residual(ch[i]) for i in range(3)])
        self.o = nn.Conv2d(ch[0], 4 * out, 1)

    def forward(self, x):
        y = self.stem(F.pixel_unshuffle((x - 0.45) * 4, 2))
        f = []
        for i, deep in enumerate(self.deep):
            y = deep(self.down[i - 1](y) if i else y)
            f.append(y)
        y = y + self.whole(y.mean((2, 3)))[:, :, None, None]
        for k in (2, 1, 0):
            y = torch.cat([f[k], F.interpolate(y, scale_factor=2.0, mode="nearest")], 1)
            y = self.up[k](self.join[k](y))
        return F.pixel_shuffle(self.o(y), 2)


def dice(z, y, dims):
    p = torch.sigmoid(z)
    return 1 - (2 * (p * y).sum(dims) + 50) / ((p + y).sum(dims) + 50)


def loss_c(z, y):
    return F.binary_cross_entropy_with_logits(z, y) + 0.5 * dice(z, y, (2, 3)).mean()


def loss_d(z, y):
    y, count = y[:, :4], y[:, 4]
    b = F.binary_cross_entropy_with_logits(z, y, reduction="none")
    near = F.max_pool2d(F.max_pool2d(y[:, :1], (31, 1), 1, (15, 0)), (1, 31), 1, (0, 15))
    w = 0.15 + 0.85 * near
    fl = (b[:, 2] * (1 + y[:, 2]) * count).mean() * 4 + (b[:, 3] * (1 + y[:, 3])).mean() * 2
    p = torch.sigmoid(z[:, 1]) * y[:, 0]
    q = y[:, 1] * y[:, 0]
    cov = ((p.sum((1, 2)) - q.sum((1, 2))) / y[:, 0].sum((1, 2)).clamp(min=100)).abs().mean()
    return (
        b[:, 0].mean()
        + (b[:, 1] * w[:, 0]).mean()
        + fl
        + 0.3 * dice(z[:, 2], y[:, 2], (1, 2)).mean()
        + 0.2 * cov
    )


GIVEN = 0.7  # how much a given picture counts beside a rendered one


def loss_mixed_d(z, y):
    b, d, e = y
    k = len(b)
    l = loss_d(z[:k], b)
    z = z[k:]
    d, count = d[:, :4], d[:, 4]
    q = F.binary_cross_entropy_with_logits(z, d, reduction="none")
    w = d[:, 0] * (1 - d[:, 2])
    p = torch.sigmoid(z[:, 1])
    cov = ((p * w).sum((1, 2)) / w.sum((1, 2)).clamp(min=100) - e).abs().mean()
    sure = (p * (1 - p) * w).sum() / w.sum()
    return l + GIVEN * (
        q[:, 0].mean()
        + (q[:, 2] * (1 + d[:, 2]) * count).mean() * 4
        + (q[:, 3] * (1 + d[:, 3])).mean() * 2
        + 0.3 * dice(z[:, 2], d[:, 2], (1, 2)).mean()
        + 1.0 * cov
        + 0.3 * sure
    )
