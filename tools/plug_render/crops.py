# ruff: noqa: D103, N812
# Short mathematical names, and numpy arrays added to lists, are meant here.
"""Square crops of pictures with their labels, from rendered and from given pictures."""

from __future__ import annotations

import math
import threading

import cv2
import numpy as np
import torch
import torch.nn.functional as F
from camera import H, W, camera, dev, rnd, soft_camera

NC, ND = 256, 384
FILM, FLAKE, GRIT, PASTED = 3, 50, 110, 100  # a pasted flake has PASTED more than it had


ORDINARY = 700  # pixels of a flake that counts as it is; at most 4 times is made of smaller ones


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


def turns(m):
    """Return random turns and flips."""
    flip = (torch.rand(m, device=dev) < 0.5) * 2.0 - 1
    return torch.rand(m, device=dev) * 6.2832, flip


class Data:
    """Rendered pictures of a few sizes; a batch has one size. Threads may add to it at any time."""

    def __init__(self):
        self.rows, self.groups = [], {}
        self.turn = threading.Lock()

    def add(self, *row):
        """Keep a row: radiance, ids, rim, magnet, the meter's key and the light's colour."""
        with self.turn:
            self.groups.setdefault(row[0].shape[-1], []).append(len(self.rows))
            self.rows.append(row)

    def batch(self, m):
        """Return m pictures as a camera saw them, and their rows."""
        with self.turn:
            odds = torch.tensor([float(len(g)) for g in self.groups.values()])
            group = list(self.groups.values())[int(torch.multinomial(odds, 1))]
            rows = [self.rows[group[k]] for k in torch.randint(0, len(group), (m,)).tolist()]
        x, key, light = (torch.stack([row[j] for row in rows]) for j in (0, 4, 5))
        return camera(x, key, light), rows


def ellipses(rows, j):
    """Return the rims (j = 2) or magnets (3) of rows as (m, 5)."""
    return torch.tensor(np.array([row[j] for row in rows]), dtype=torch.float, device=dev)


class Given:
    """Given pictures with their truth, kept whole."""

    def __init__(self, given):
        self.x = torch.cat([q[1] for q in given])
        self.n = len(given)

        def el(e):
            return [*e["center_px"], *e["semi_axes_px"], math.radians(e["angle_deg"])]

        truths = [q[2] for q in given]
        self.rim, self.mag = (
            torch.tensor([el(t[key]) for t in truths], device=dev, dtype=torch.float)
            for key in ("plug_rim_ellipse", "magnet_ellipse")
        )
        self.cov = torch.tensor([t["film_coverage"] for t in truths], device=dev)
        self.ids = torch.stack([torch.from_numpy(self._drawn(t)).to(dev) for t in truths])
        self.flaked = torch.tensor([k for k, t in enumerate(truths) if t["flakes"]], device=dev)

    @staticmethod
    def _drawn(truth):
        ids = np.zeros((2 * H, 2 * W), np.uint8)
        for k, f in enumerate(truth["flakes"]):
            corners = np.int32(np.round((np.array(f["polygon_px"]) * 2 + 0.5) * 16))
            cv2.fillPoly(ids, [corners], FLAKE + k, shift=4)
        return ids


def looks(rim, wide):
    """Return centre and side of a whole or of a close look at each rim."""
    m = len(rim)
    r, off = torch.rand(m, device=dev), torch.rand(m, 2, device=dev) - 0.5
    if wide:
        return torch.tensor([[W / 2, H / 2]], device=dev) + off * W * 0.25, W * (0.75 + 0.45 * r)
    c = rim[:, :2] + off * rim[:, 2:3] * 0.35
    gone = (rim[:, 0] < -60) | (rim[:, 0] > W + 60)
    anywhere = torch.rand(m, 2, device=dev) * torch.tensor([W, H], device=dev)
    return torch.where(gone[:, None], anywhere, c), rim[:, 2] * (2.35 + 0.6 * r)


def circle_crops(x, rim, mag):
    outs, labs = [], []
    for wide in (True, False):
        c, side = looks(rim, wide)
        g = affine(c, side, *turns(len(rim)), NC)
        outs.append(take_aa(x, g))
        labs.append(torch.stack([disc(rim, g), disc(mag, g)], 1))
    return torch.cat(outs), torch.cat(labs)


def circle_batch(data, m):
    x, rows = data.batch(m)
    return circle_crops(x, ellipses(rows, 2), ellipses(rows, 3))


def circle_given(given, m):
    i = torch.randint(0, given.n, (m,), device=dev)
    x, y = circle_crops(given.x[i], given.rim[i], given.mag[i])
    return soft_camera(x), y


def magnet_crops(x, ids, mag, *, wander=0.16, least=2.35, most=2.85):
    """Return crops (m, 3, ND, ND), inside (m, ND, ND), ids (m, 1, 2 ND, 2 ND).

    The magnet lies up to ``wander`` / 2 of its radius off the middle; a crop is ``least`` to
    ``most`` radii wide.
    """
    m, a = len(mag), mag[:, 2]
    side = a * (least + (most - least) * torch.rand(m, device=dev))
    c = mag[:, :2] + (torch.rand(m, 2, device=dev) - 0.5) * a[:, None] * wander
    turn, flip = turns(m)
    g = affine(c, side, turn, flip, ND)
    fine = affine(c, side, turn, flip, 2 * ND) * 2 + 0.5
    return take(x, g), disc(mag, g), take(ids, fine, "nearest").round()


def magnet_batch(data, m):
    x, rows = data.batch(m)
    ids = torch.stack([row[1] for row in rows])[:, None]
    return magnet_crops(x, ids, ellipses(rows, 3))


def magnet_given(given, m):
    i = torch.randint(0, given.n, (m,), device=dev)
    return *magnet_crops(given.x[i], given.ids[i][:, None], given.mag[i]), given.cov[i]


def donors(given, m):
    """Return crops and ids of given pictures with flakes, further off the middle, any size."""
    i = given.flaked[torch.randint(0, len(given.flaked), (m,), device=dev)]
    x, _, v = magnet_crops(
        given.x[i], given.ids[i][:, None], given.mag[i], wander=1.4, least=1.6, most=3.6
    )
    return x, v


def moved(x, v):
    """Return crops with what is on them turned, shifted and scaled."""
    m = len(x)
    side = ND * (0.7 + 0.9 * torch.rand(m, device=dev))
    c = (ND - 1) / 2 + (torch.rand(m, 2, device=dev) - 0.5) * 0.5 * ND
    turn, flip = turns(m)
    g, fine = affine(c, side, turn, flip, ND), affine(c, side, turn, flip, 2 * ND) * 2 + 0.5
    return take(x, g), take(v, fine, "nearest").round()


def is_flake(v):
    return (((v >= FLAKE) & (v < GRIT)) | (v >= FLAKE + PASTED)).float()


def kept(w, inside, change):
    """Return ids w without flakes beside the magnet or hardly seen, and without a third of the rest.

    ``change`` (m, ND, ND) is how much each pixel differs from what lies under it.
    """
    m = len(w)
    coarse = w[:, 0, ::4, ::4].long().flatten(1)
    on = (inside[:, ::2, ::2] > 0.5).float().flatten(1)
    count, within, changed = (
        torch.zeros(m, 256, device=dev).scatter_add_(1, coarse, q)
        for q in (torch.ones_like(on), on, change[:, ::2, ::2].flatten(1))
    )
    keep = (within > 0.6 * count) & (changed > 0.09 * count)
    keep &= torch.rand(m, 256, device=dev) < 0.67
    return w * torch.gather(keep, 1, w.long().flatten(1)).view(w.shape)


def paste(x, v, inside, others, *, share):
    """Lay some flakes of other pictures (``others``: those and their ids) over some of these."""
    m, (other, w) = len(x), others
    gain = (x.mean((1, 2, 3)) / other.mean((1, 2, 3)).clamp(min=0.02)).view(-1, 1, 1, 1) ** 0.6
    gain = gain.clamp(0.5, 1.8) * rnd(m, 0.8, 1.25)
    dim = (torch.rand(m, 1, 1, 1, device=dev) < 0.25) * rnd(m, 0.0, 0.65)  # dark on dark film
    other = (other * gain * (1 - dim)).clamp(0, 1)
    w = torch.where((w >= FLAKE) & (w < GRIT), w, torch.zeros_like(w))
    w = kept(w, inside, (other - x).abs().mean(1))
    w = w * (torch.rand(m, 1, 1, 1, device=dev) < share)
    soft = F.avg_pool2d((w > 0).float(), 2)
    return x * (1 - soft) + other * soft, torch.where(w > 0, w + PASTED, v)


def patched(x, v, w, *, share):
    """Lay what isn't flake over some pictures, in the outlines of flakes (ids ``w``).

    It comes from the picture before: so a sharp edge round a bright or dark spot, as of a hole in
    the film, is not yet a flake.
    """
    y, u = x.roll(1, 0), v.roll(1, 0)
    on = is_flake(w) * (1 - is_flake(u)) * (1 - is_flake(v))
    on = on * (torch.rand(len(x), 1, 1, 1, device=dev) < share)
    soft = F.avg_pool2d(on, 2)
    return x * (1 - soft) + y * soft, torch.where(on > 0, u, v)


def smallness(v, flake):
    """Return how much each pixel of a flake counts (m, ND, ND): 1 for large ones, to 4 for small."""
    m = len(v)
    coarse = v[:, 0, ::2, ::2].long()
    flat = coarse.flatten(1)
    area = torch.zeros(m, 256, device=dev).scatter_add_(1, flat, torch.ones_like(flat).float())
    weight = (ORDINARY / area.clamp(min=1)).sqrt().clamp(1, 4)
    return torch.gather(weight, 1, flat).view(coarse.shape) * (flake > 0) + (flake == 0)


def labels(inside, v):
    """Return (m, 5, ND, ND): inside, film, flake, a flake's inner part, what a flake counts."""
    flake = is_flake(v)
    lo, hi = -F.max_pool2d(-v, 5, 1, 2), F.max_pool2d(v, 5, 1, 2)
    core = flake * ((hi == v) & (lo == v)).float()
    film, flake, core = (F.avg_pool2d(q, 2)[:, 0] for q in ((v == FILM).float(), flake, core))
    return torch.stack([inside, film, flake, core, smallness(v, flake)], 1)


def debris_batch(data, m):
    x, inside, v = magnet_batch(data, m)
    x, v = paste(x, v, inside, moved(x.roll(1, 0), v.roll(1, 0)), share=0.25)
    return x, labels(inside, v)


def mixed_circle(drawn, given, m):
    x, y = circle_given(given, m)
    return torch.cat([drawn[0], x]), torch.cat([drawn[1], y])


def mixed_debris(drawn, given, m, *, patches=0.0):
    """Return pictures, and (labels of the rendered, labels of the given, their film coverage).

    ``patches`` is the share of pictures with something that isn't a flake in a flake's outline.
    """
    x, inside, v, cov = magnet_given(given, m)
    n = len(drawn[0]) + m
    ours, theirs = moved(drawn[0], drawn[2]), donors(given, n - n // 3)
    i = torch.randperm(n, device=dev)
    other, w = (torch.cat([a[: n // 3], b])[i] for a, b in zip(ours, theirs, strict=True))
    x0, v0 = drawn[0], drawn[2]
    if patches:  # rendered on rendered and given on given: film of a given one has no outline
        x0, v0 = patched(x0, v0, w.roll(1, 0)[: n - m], share=patches)
        x, v = patched(x, v, w.roll(1, 0)[n - m :], share=patches)
    x, inside, v = (torch.cat(q) for q in ((x0, x), (drawn[1], inside), (v0, v)))
    x, v = paste(x, v, inside, (other, w), share=0.5)
    x = torch.cat([x[:-m], soft_camera(x[-m:])])
    y = labels(inside, v)
    return x, (y[:-m], y[-m:], cov)
