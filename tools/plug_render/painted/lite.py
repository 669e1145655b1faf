# ruff: noqa
"""A U-shaped network whose way down is EfficientNet-Lite0, as ImageNet taught it."""

import torch
import torch.nn.functional as F
from torch import nn
from nets import Block, Residual

ROWS = [
    (3, 1, 1, 16, 1),
    (3, 2, 6, 24, 2),
    (5, 2, 6, 40, 2),
    (3, 2, 6, 80, 3),
    (5, 1, 6, 112, 3),
    (5, 2, 6, 192, 4),
    (3, 1, 6, 320, 1),
]


def pad(x, k, s):
    if s == 1:
        return F.pad(x, (k // 2,) * 4)
    t = max(k - s, 0)
    return F.pad(x, (t // 2, t - t // 2, t // 2, t - t // 2))


class MB(nn.Module):
    def __init__(self, i, o, k, s, e):
        super().__init__()
        m = i * e
        self.k, self.s, self.e, self.same = k, s, e, s == 1 and i == o
        if e > 1:
            self._expand_conv, self._bn0 = (
                nn.Conv2d(i, m, 1, bias=False),
                nn.BatchNorm2d(m, eps=1e-3),
            )
        self._depthwise_conv, self._bn1 = (
            nn.Conv2d(m, m, k, s, groups=m, bias=False),
            nn.BatchNorm2d(m, eps=1e-3),
        )
        self._project_conv, self._bn2 = nn.Conv2d(m, o, 1, bias=False), nn.BatchNorm2d(o, eps=1e-3)

    def forward(self, x):
        y = x
        if self.e > 1:
            y = F.relu6(self._bn0(self._expand_conv(y)))
        y = F.relu6(self._bn1(self._depthwise_conv(pad(y, self.k, self.s))))
        y = self._bn2(self._project_conv(y))
        return x + y if self.same else y


class Lite(nn.Module):
    def __init__(self, out=4, ch=(32, 48, 64, 112, 160)):
        super().__init__()
        self._conv_stem, self._bn0 = (
            nn.Conv2d(3, 32, 3, 2, bias=False),
            nn.BatchNorm2d(32, eps=1e-3),
        )
        blocks, i = [], 32
        for k, s, e, o, r in ROWS:
            for n in range(r):
                blocks.append(MB(i, o, k, s if n == 0 else 1, e))
                i = o
        self._blocks = nn.ModuleList(blocks)
        self.stem = nn.Sequential(Block(12, ch[0]), Residual(ch[0]))
        have = (16, 24, 40, 112, 320)
        self.side = nn.ModuleList([Block(h, c) for h, c in zip(have, ch)])
        self.whole = nn.Linear(ch[4], ch[4])
        self.join = nn.ModuleList(
            [Block(ch[i] + ch[i + 1] + (ch[0] if i == 0 else 0), ch[i]) for i in range(4)]
        )
        self.up = nn.ModuleList([Residual(ch[i]) for i in range(4)])
        self.o = nn.Conv2d(ch[0], 4 * out, 1)

    def forward(self, x):
        y = F.relu6(self._bn0(self._conv_stem(pad((x * 255 - 127) / 128, 3, 2))))
        f, at = [], {0: 0, 2: 1, 4: 2, 10: 3, 15: 4}
        for n, b in enumerate(self._blocks):
            y = b(y)
            if n in at:
                f.append(self.side[at[n]](y))
        y = f[4] + self.whole(f[4].mean((2, 3)))[:, :, None, None]
        fine = self.stem(F.pixel_unshuffle((x - 0.45) * 4, 2))
        for k in (3, 2, 1, 0):
            parts = [f[k], F.interpolate(y, scale_factor=2.0, mode="nearest")] + (
                [fine] if k == 0 else []
            )
            y = self.up[k](self.join[k](torch.cat(parts, 1)))
        return F.pixel_shuffle(self.o(y), 2)

    def taught(self):
        return [p for n, p in self.named_parameters() if n.startswith("_")]
