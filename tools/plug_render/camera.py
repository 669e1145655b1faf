# ruff: noqa: N812
# Short mathematical names, and numpy arrays added to lists, are meant here.
"""From linear radiance to what a phone saves: blur, noise, white balance, tone, JPEG."""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F

dev = "cuda" if torch.cuda.is_available() else "cpu"
W, H = 1024, 768


def rnd(n, a, b):
    """Return (n, 1, 1, 1) even random numbers."""
    return torch.rand(n, 1, 1, 1, device=dev) * (b - a) + a


_d = torch.tensor(
    [
        [
            math.sqrt((1 if k == 0 else 2) / 8) * math.cos((2 * i + 1) * k * math.pi / 16)
            for i in range(8)
        ]
        for k in range(8)
    ],
    device=dev,
)
_q = torch.tensor(
    [
        [16, 11, 10, 16, 24, 40, 51, 61],
        [12, 12, 14, 19, 26, 58, 60, 55],
        [14, 13, 16, 24, 40, 57, 69, 56],
        [14, 17, 22, 29, 51, 87, 80, 62],
        [18, 22, 37, 56, 68, 109, 103, 77],
        [24, 35, 55, 64, 81, 104, 113, 92],
        [49, 64, 78, 87, 103, 121, 120, 101],
        [72, 92, 95, 98, 112, 100, 103, 99],
    ],
    device=dev,
    dtype=torch.float,
)


def jpeg(x, quality):
    """Quantise in 8 x 8 blocks as JPEG does (tables of ITU-T T.81, annex K)."""
    s = torch.where(quality < 50, 5000 / quality, 200 - 2 * quality) / 100
    q = (_q[None] * s.view(-1, 1, 1)).clamp(min=1)
    m = torch.tensor(
        [[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]], device=dev
    )
    y = torch.einsum("ij,njhw->nihw", m, x * 255) - torch.tensor([128.0, 0, 0], device=dev).view(
        1, 3, 1, 1
    )
    c = F.interpolate(F.avg_pool2d(y[:, 1:], 2), scale_factor=2, mode="bilinear")
    y = torch.cat([y[:, :1], c], 1)
    n, _, h, w = y.shape
    b = y.view(n, 3, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5)
    f = _d @ b @ _d.T
    qq = torch.stack([q, q * 1.4, q * 1.4], 1).view(n, 3, 1, 1, 8, 8)
    f = (f / qq).round() * qq
    b = _d.T @ f @ _d
    y = b.permute(0, 1, 2, 4, 3, 5).reshape(n, 3, h, w) + torch.tensor(
        [128.0, 0, 0], device=dev
    ).view(1, 3, 1, 1)
    return (torch.einsum("ij,njhw->nihw", torch.linalg.inv(m), y) / 255).clamp(0, 1)


def blur(x):
    """Blur by lens, defocus or motion."""
    n = len(x)
    yy, xx = torch.meshgrid(
        torch.arange(-4.0, 5, device=dev), torch.arange(-4.0, 5, device=dev), indexing="ij"
    )
    r = torch.sqrt(xx**2 + yy**2)[None]
    defoc = (torch.rand(n, 1, 1, device=dev) < 0.35) * torch.rand(n, 1, 1, device=dev) * 2.0
    motion = (torch.rand(n, 1, 1, device=dev) < 0.35) * torch.rand(n, 1, 1, device=dev) * 4.2
    ang = torch.rand(n, 1, 1, device=dev) * 6.2832
    al = xx[None] * torch.cos(ang) + yy[None] * torch.sin(ang)
    ac = -xx[None] * torch.sin(ang) + yy[None] * torch.cos(ang)
    s = 0.35 + 0.55 * torch.rand(n, 1, 1, device=dev)
    ker = torch.where(defoc > 0.5, torch.sigmoid((defoc - r) * 4), torch.exp(-(r**2) / (2 * s**2)))
    km = torch.sigmoid((motion / 2 - al.abs()) * 4) * torch.exp(-(ac**2) / (2 * s**2))
    ker = torch.where(motion > 0.6, km, ker)
    ker = ker / ker.sum((1, 2), keepdim=True)
    h, w = x.shape[2:]
    y = F.conv2d(
        F.pad(x.reshape(1, n * 3, h, w), (4,) * 4, mode="reflect"),
        ker.repeat_interleave(3, 0)[:, None],
        groups=3 * n,
    )
    return y.view(n, 3, h, w)


def metering(x):
    """Return the key (n,) that a phone's meter reads from linear pictures (n, 3, h, w)."""
    h, w = x.shape[2:]
    x = x.float()
    centre = x[:, :, h // 4 : 3 * h // 4, w // 4 : 3 * w // 4].mean((1, 2, 3))
    return 0.5 * x.mean((1, 2, 3)) + 0.5 * centre


def camera(x, key, light, clean=False):
    """Linear radiance (n, 3, h, w) to 8-bit-like sRGB in 0..1.

    ``key`` (n,) is ``metering`` of the whole picture, ``light`` (n, 3) the lamps' colour, which the
    white balance takes out for the most part.
    """
    n = len(x)
    x = x.float()
    if not clean:
        x = blur(x)
    ev = rnd(n, -1.1, 1.1) if not clean else 0
    x = x * (0.17 / key.clamp(min=1e-3)).view(-1, 1, 1, 1) * (2.0**ev)
    wb = light.float().clamp(min=0.05).view(n, 3, 1, 1) ** -rnd(n, 0.4, 1.0)
    wb = wb * (1 + 0.03 * torch.randn(n, 3, 1, 1, device=dev))
    x = x * wb
    if not clean:
        x = x + torch.randn_like(x) * (rnd(n, 0, 0.015) * torch.sqrt(x.clamp(min=0) + 0.01) * 1.2)
    knee = rnd(n, 0.6, 0.9)
    x = x.clamp(min=0)
    x = torch.where(x > knee, knee + (1 - knee) * (1 - torch.exp(-(x - knee) / (1 - knee))), x)
    x = torch.where(x < 0.0031308, 12.92 * x, 1.055 * x.clamp(min=1e-6) ** (1 / 2.4) - 0.055)
    con = rnd(n, 0, 0.35)
    x = x * (1 - con) + con * (x * x * (3 - 2 * x))
    if not clean:
        sharp = rnd(n, 0, 1.0)
        x = (x + sharp * (x - F.avg_pool2d(F.pad(x, (1,) * 4, mode="reflect"), 3, 1))).clamp(0, 1)
        x = jpeg(x, rnd(n, 68, 95).view(-1))
    return x.clamp(0, 1)


def soft_camera(x):
    """Vary a picture that a camera has already seen: tone, colour, light from a side, blur, noise."""
    n = len(x)
    side = F.interpolate(
        torch.randn(n, 1, 3, 3, device=dev), x.shape[2:], mode="bicubic", align_corners=True
    )
    x = x * rnd(n, 0.75, 1.3) * (1 + 0.06 * torch.randn(n, 3, 1, 1, device=dev))
    x = (x * torch.exp(side * rnd(n, 0, 0.25))).clamp(0, 1) ** rnd(n, 0.75, 1.35)
    dull = torch.rand(n, device=dev) < 0.35
    x[dull] = blur(x[dull]) if bool(dull.any()) else x[dull]
    if torch.rand(1).item() < 0.5:
        k = rnd(n, -0.5, 0.8)  # sharper or softer
        x = x * (1 - k) + k * F.avg_pool2d(F.pad(x, (1,) * 4, mode="reflect"), 3, 1)
    x = (x + torch.randn_like(x) * rnd(n, 0, 0.02)).clamp(0, 1)
    return jpeg(x, rnd(n, 60, 95).view(-1)) if torch.rand(1).item() < 0.4 else x
