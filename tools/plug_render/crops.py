# ruff: noqa: D101, D102, D103, N803, N806, N812
# Short mathematical names, and numpy arrays added to lists, are meant here.
"""Square crops of pictures with their labels, from rendered and from given pictures."""

from __future__ import annotations

import math

import cv2
import numpy as np
import torch
import torch.nn.functional as F
from camera import H, W, camera, dev, soft_camera


def affine(c, side, turn, flip, n_out):
    """Output pixel grid (m, n, n, 2) in source pixels: centre c (m,2), side in source px."""
    t = (torch.arange(n_out, device=dev) + 0.5) / n_out - 0.5
    y, x = torch.meshgrid(t, t, indexing="ij")
    x, y = x[None] * side.view(-1, 1, 1), y[None] * side.view(-1, 1, 1)
    x = x * flip.view(-1, 1, 1)
    co, si = torch.cos(turn).view(-1, 1, 1), torch.sin(turn).view(-1, 1, 1)
    return torch.stack(
        [c[:, 0].view(-1, 1, 1) + x * co - y * si, c[:, 1].view(-1, 1, 1) + x * si + y * co], -1
    )


def take(img, g, mode="bilinear", pad="border"):
    h, w = img.shape[2:]
    q = torch.stack([(g[..., 0] * 2 + 1) / w - 1, (g[..., 1] * 2 + 1) / h - 1], -1)
    return F.grid_sample(img.float(), q, mode=mode, padding_mode=pad, align_corners=False)


def take_aa(img, g):
    """Average of 2x2 places per pixel when shrinking a lot."""
    dx = (g[:, :, 1:2] - g[:, :, :1])[:, :1] / 4
    dy = (g[:, 1:2] - g[:, :1])[:, :, :1] / 4
    return sum(take(img, g + a * dx + b * dy) for a in (-1, 1) for b in (-1, 1)) / 4


def disc(e, g):
    """Soft inside of ellipses e (m,5) at places g (m,n,n,2): about one output pixel wide edge."""
    x, y = g[..., 0] - e[:, 0].view(-1, 1, 1), g[..., 1] - e[:, 1].view(-1, 1, 1)
    co, si = torch.cos(e[:, 4]).view(-1, 1, 1), torch.sin(e[:, 4]).view(-1, 1, 1)
    a, b = e[:, 2].view(-1, 1, 1), e[:, 3].view(-1, 1, 1)
    u, v = (x * co + y * si) / a, (-x * si + y * co) / b
    r = torch.sqrt(u * u + v * v + 1e-9)
    px = (g[:, 0, 1] - g[:, 0, 0]).norm(dim=-1).view(-1, 1, 1)
    return ((1 - r) * b / px + 0.5).clamp(0, 1)


NC, ND = 256, 384


class Data:
    def __init__(self):
        self.rgb, self.ids, self.rim, self.mag, self.truth = [], [], [], [], []

    def add(self, rgb, ids, t):
        self.rgb.append(rgb)
        self.ids.append(ids)
        self.rim.append(t["rim"])
        self.mag.append(t["magnet"])
        self.truth.append(t)

    def freeze(self):
        self.n = len(self.rgb)
        self.R = torch.tensor(np.array(self.rim), dtype=torch.float, device=dev)
        self.M = torch.tensor(np.array(self.mag), dtype=torch.float, device=dev)

    def batch(self, m):
        i = torch.randint(0, self.n, (m,))
        x = camera(torch.stack([self.rgb[k] for k in i]))
        return x, i


def circle_batch(D, m):
    x, i = D.batch(m)
    R, M = D.R[i.to(dev)], D.M[i.to(dev)]
    outs, labs = [], []
    for wide in (True, False):
        r = torch.rand(m, device=dev)
        a = R[:, 2]
        if wide:
            side = W * (0.75 + 0.45 * r)
            c = (
                torch.tensor([[W / 2, H / 2]], device=dev)
                + (torch.rand(m, 2, device=dev) - 0.5) * W * 0.25
            )
        else:
            side = a * (2.35 + 0.6 * r)
            c = R[:, :2] + (torch.rand(m, 2, device=dev) - 0.5) * a[:, None] * 0.35
            off = (R[:, 0] < -60) | (R[:, 0] > W + 60)
            c = torch.where(
                off[:, None], torch.rand(m, 2, device=dev) * torch.tensor([W, H], device=dev), c
            )
        turn = torch.rand(m, device=dev) * 6.2832
        flip = (torch.rand(m, device=dev) < 0.5) * 2.0 - 1
        g = affine(c, side, turn, flip, NC)
        outs.append(take_aa(x, g))
        labs.append(torch.stack([disc(R, g), disc(M, g)], 1))
    return torch.cat(outs), torch.cat(labs)


def debris_batch(D, m):
    x, i = D.batch(m)
    M = D.M[i.to(dev)]
    a = M[:, 2]
    side = a * (2.35 + 0.5 * torch.rand(m, device=dev))
    c = M[:, :2] + (torch.rand(m, 2, device=dev) - 0.5) * a[:, None] * 0.16
    turn = torch.rand(m, device=dev) * 6.2832
    flip = (torch.rand(m, device=dev) < 0.5) * 2.0 - 1
    g = affine(c, side, turn, flip, ND)
    y = take_aa(x, g) if False else take(x, g)
    ids = torch.stack([D.ids[k] for k in i])[:, None]
    g2 = affine(c, side, turn, flip, 2 * ND) * 2 + 0.5
    v = take(ids, g2, "nearest").round()
    film = F.avg_pool2d((v == 3).float(), 2)[:, 0]
    flake = ((v >= 50) & (v < 110)).float()
    lo = -F.max_pool2d(-v, 5, 1, 2)
    hi = F.max_pool2d(v, 5, 1, 2)
    core = F.avg_pool2d(flake * ((hi == v) & (lo == v)).float(), 2)[:, 0]
    flake = F.avg_pool2d(flake, 2)[:, 0]
    return y, torch.stack([disc(M, g), film, flake, core], 1)


class Dev:
    def __init__(self, DEV):
        self.x = torch.cat([q[1] for q in DEV])
        self.n = len(DEV)

        def el(e):
            return [*e["center_px"], *e["semi_axes_px"], math.radians(e["angle_deg"])]

        self.R = torch.tensor(
            [el(q[2]["plug_rim_ellipse"]) for q in DEV], device=dev, dtype=torch.float
        )
        self.M = torch.tensor(
            [el(q[2]["magnet_ellipse"]) for q in DEV], device=dev, dtype=torch.float
        )
        self.cov = torch.tensor([q[2]["film_coverage"] for q in DEV], device=dev, dtype=torch.float)
        ids = []
        for q in DEV:
            m = np.zeros((2 * H, 2 * W), np.uint8)
            for k, f in enumerate(q[2]["flakes"]):
                cv2.fillPoly(
                    m,
                    [np.int32(np.round((np.array(f["polygon_px"]) * 2 + 0.5) * 16))],
                    50 + k,
                    shift=4,
                )
            ids.append(torch.from_numpy(m).to(dev))
        self.ids = torch.stack(ids)

    def circle(self, m):
        i = torch.randint(0, self.n, (m,), device=dev)
        R, M = self.R[i], self.M[i]
        x = soft_camera(self.x[i])
        a = R[:, 2]
        outs, labs = [], []
        for wide in (True, False):
            r = torch.rand(m, device=dev)
            if wide:
                side = W * (0.75 + 0.45 * r)
                c = (
                    torch.tensor([[W / 2, H / 2]], device=dev)
                    + (torch.rand(m, 2, device=dev) - 0.5) * W * 0.25
                )
            else:
                side = a * (2.35 + 0.6 * r)
                c = R[:, :2] + (torch.rand(m, 2, device=dev) - 0.5) * a[:, None] * 0.35
            g = affine(
                c,
                side,
                torch.rand(m, device=dev) * 6.2832,
                (torch.rand(m, device=dev) < 0.5) * 2.0 - 1,
                NC,
            )
            outs.append(take_aa(x, g))
            labs.append(torch.stack([disc(R, g), disc(M, g)], 1))
        return torch.cat(outs), torch.cat(labs)

    def debris(self, m):
        i = torch.randint(0, self.n, (m,), device=dev)
        M = self.M[i]
        x = soft_camera(self.x[i])
        a = M[:, 2]
        side = a * (2.35 + 0.5 * torch.rand(m, device=dev))
        c = M[:, :2] + (torch.rand(m, 2, device=dev) - 0.5) * a[:, None] * 0.16
        turn = torch.rand(m, device=dev) * 6.2832
        flip = (torch.rand(m, device=dev) < 0.5) * 2.0 - 1
        g = affine(c, side, turn, flip, ND)
        y = take(x, g)
        v = take(
            self.ids[i][:, None], affine(c, side, turn, flip, 2 * ND) * 2 + 0.5, "nearest"
        ).round()
        flake = (v >= 50).float()
        lo = -F.max_pool2d(-v, 5, 1, 2)
        hi = F.max_pool2d(v, 5, 1, 2)
        core = F.avg_pool2d(flake * ((hi == v) & (lo == v)).float(), 2)[:, 0]
        lab = torch.stack(
            [disc(M, g), torch.zeros_like(core), F.avg_pool2d(flake, 2)[:, 0], core], 1
        )
        return y, lab, self.cov[i]


def mixed_circle(D, V, m):
    a, b = circle_batch(D, m - m // 3)
    c, d = V.circle(m // 3)
    return torch.cat([a, c]), torch.cat([b, d])


def mixed_debris(D, V, m):
    a, b = debris_batch(D, m - m // 3)
    c, d, e = V.debris(m // 3)
    return torch.cat([a, c]), (b, d, e)
