# ruff: noqa
"""Paint flakes, grit and bright spots on labelled pictures of magnets."""

import math

import cv2
import numpy as np

FLAKE = 50
SS = 4  # a painted piece is drawn so many times finer


def linear(x):
    x = x.astype(np.float32) / 255
    return np.where(x < 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4).astype(np.float32)


def coded(x):
    x = np.clip(x, 0, 1)
    return np.where(x < 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-6) ** (1 / 2.4) - 0.055)


def outline(rng, shape):
    """Return corners (k, 2) of a piece about 1 long."""
    if shape == "curl":
        bend, n = rng.uniform(0.6, 2.2), 7
        t = np.linspace(-0.5, 0.5, n)
        width = (
            rng.uniform(0.10, 0.28) * (1 - 0.7 * (2 * np.abs(t)) ** 2) * rng.uniform(0.6, 1.2, n)
        )
        x, y = np.sin(bend * t) / bend, (1 - np.cos(bend * t)) / bend
        nx, ny = -np.sin(bend * t), np.cos(bend * t)
        return np.concatenate(
            [
                np.stack([x + nx * width, y + ny * width], 1),
                np.stack([x - nx * width, y - ny * width], 1)[::-1],
            ]
        )
    k = rng.integers(5, 12)
    a = np.sort((np.arange(k) + rng.uniform(-0.4, 0.4, k)) / k * 2 * math.pi)
    r = rng.uniform(0.5, 1.0, k) if rng.random() < 0.4 else rng.uniform(0.75, 1.0, k)
    flat = rng.uniform(0.5, 1.0) if shape == "platelet" else rng.uniform(0.12, 0.32)
    return np.stack([np.cos(a) * r, np.sin(a) * r * flat], 1)


def feret(p):
    return np.sqrt(((p[:, None] - p[None]) ** 2).sum(2).max())


def noise(rng, shape, cell):
    h, w = shape
    g = rng.standard_normal((max(2, int(h / cell) + 2), max(2, int(w / cell) + 2))).astype(
        np.float32
    )
    return cv2.resize(g, (w, h), interpolation=cv2.INTER_CUBIC)


class Painter:
    """One labelled picture, to be painted on many times."""

    def __init__(self, rgb, truth):
        self.rgb, self.truth = rgb, truth
        self.lin = linear(rgb)
        e = truth["magnet_ellipse"]
        self.c, self.axes = np.array(e["center_px"]), np.array(e["semi_axes_px"])
        self.turn = math.radians(e["angle_deg"])
        self.mm = truth["mm_per_px"]
        mask = np.zeros(rgb.shape[:2], np.uint8)
        cv2.ellipse(mask, (tuple(self.c), tuple(2 * self.axes), e["angle_deg"]), 255, -1)
        inside = self.lin[mask > 0]
        lum = inside.mean(1)
        rim = truth["plug_rim_ellipse"]
        whole = np.zeros_like(mask)
        cv2.ellipse(
            whole,
            (tuple(rim["center_px"]), tuple(2 * np.array(rim["semi_axes_px"])), rim["angle_deg"]),
            255,
            -1,
        )
        steel = self.lin[whole > 0]
        ls = steel.mean(1)
        self.white = float(np.quantile(ls, 0.97))
        self.dark = float(np.quantile(lum, 0.2))
        top = steel[ls > np.quantile(ls, 0.7)]
        top = top[top.max(1) < 0.95] if (top.max(1) < 0.95).sum() > 50 else top
        cast = top.mean(0)
        self.cast = cast / cast.mean()
        cam = truth["camera"]
        self.soft = math.sqrt(
            0.55**2 + (cam["defocus_radius_px"] / 1.8) ** 2 + (cam["motion_px"] / 4.5) ** 2
        )
        self.grain = 0.0035 * cam["noise"]
        self.base = np.zeros((2 * rgb.shape[0], 2 * rgb.shape[1]), np.uint8)
        for k, f in enumerate(truth["flakes"]):
            corners = np.int32(np.round((np.array(f["polygon_px"]) * 2 + 0.5) * 16))
            cv2.fillPoly(self.base, [corners], FLAKE + k, shift=4)

    def place(self, rng, most=0.95):
        r, a = math.sqrt(rng.random()) * most, rng.uniform(0, 2 * math.pi)
        u = np.array([math.cos(a), math.sin(a)]) * r * self.axes
        co, si = math.cos(self.turn), math.sin(self.turn)
        return self.c + [u[0] * co - u[1] * si, u[0] * si + u[1] * co]

    def leaned(self, p):
        """Foreshorten corners as the magnet's face is."""
        co, si = math.cos(self.turn), math.sin(self.turn)
        u = np.stack([p[:, 0] * co + p[:, 1] * si, -p[:, 0] * si + p[:, 1] * co], 1)
        u[:, 1] *= self.axes[1] / self.axes[0]
        return np.stack([u[:, 0] * co - u[:, 1] * si, u[:, 0] * si + u[:, 1] * co], 1)

    def piece(self, rng, length_px, lamp, shine):
        """Return (alpha, colour) of a flake at SS times, in a square patch, or None."""
        shape = rng.choice(["platelet", "sliver", "curl"], p=[0.58, 0.26, 0.16])
        p = outline(rng, shape)
        a = rng.uniform(0, 2 * math.pi)
        p = p @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        p = self.leaned(p * (length_px / feret(p)))
        p -= (p.max(0) + p.min(0)) / 2
        half = int(np.abs(p).max() + 6)
        n = 2 * half * SS
        q = np.int32(np.round(((p + half) * SS - 0.5) * 16))
        alpha = np.zeros((n, n), np.uint8)
        cv2.fillPoly(alpha, [q], 255, shift=4)
        alpha = alpha.astype(np.float32) / 255
        yy, xx = np.mgrid[:n, :n].astype(np.float32)
        m = 1 + rng.poisson(min(1.0 + length_px / 9, 9)) if rng.random() < 0.75 else 1
        wob = noise(rng, (n, n), 6 * SS) * (0.8 * SS)
        seeds = (
            np.array([p[rng.integers(len(p))] * rng.uniform(0, 0.9) for _ in range(m)]) + half
        ) * SS
        if rng.random() < 0.45:  # facets round a point, as of crumpled foil
            s = seeds[0]
            cuts = np.sort(rng.uniform(-math.pi, math.pi, m))
            cell = np.searchsorted(cuts, np.arctan2(yy + wob - s[1], xx + wob - s[0])) % m
        else:
            d = np.stack([(xx + wob - s[0]) ** 2 + (yy + wob - s[1]) ** 2 for s in seeds])
            cell = d.argmin(0)
        dark = rng.random() < 0.4
        normal = rng.normal(0, 0.5, (m, 2))
        slope = rng.normal(0, 0.012 * 40 / max(length_px, 8), (m, 2, 2)) / SS
        cx, cy = xx - n / 2, yy - n / 2
        nx = normal[cell, 0] + slope[cell, 0, 0] * cx + slope[cell, 0, 1] * cy
        ny = normal[cell, 1] + slope[cell, 1, 0] * cx + slope[cell, 1, 1] * cy
        if shape == "curl":
            nx = nx + rng.choice([-1, 1]) * 1.2 * cy / (length_px * SS)
            ny = ny + rng.choice([-1, 1]) * 1.2 * cx / (length_px * SS)
        wide = rng.uniform(0.12, 0.4)
        spec = np.exp(-((nx - lamp[0]) ** 2 + (ny - lamp[1]) ** 2) / (2 * wide**2))
        w = self.white
        ground = rng.uniform(0.02, 0.13) if dark else rng.uniform(0.12, 0.6)
        gain = rng.uniform(0.03, 0.45) if dark else rng.uniform(0.3, 1.3)
        vary = np.exp(rng.normal(0, rng.uniform(0.2, 0.9), m))[cell]
        b = w * shine * (ground * vary + gain * spec)
        if rng.random() < 0.6:  # an edge that catches the light
            gx, gy = (
                cv2.Sobel(cv2.GaussianBlur(alpha, (0, 0), SS), cv2.CV_32F, 1, 0),
                cv2.Sobel(cv2.GaussianBlur(alpha, (0, 0), SS), cv2.CV_32F, 0, 1),
            )
            t = rng.uniform(0, 2 * math.pi)
            face = np.clip(math.cos(t) * gx + math.sin(t) * gy, 0, None)
            face = face / max(float(face.max()), 1e-6)
            b = b + face**2 * w * shine * rng.uniform(0.1, 1.2)
        b = b * np.exp(rng.uniform(0.03, 0.25) * noise(rng, (n, n), 2.5 * SS))
        if rng.random() < 0.4:  # film lies on a part of it
            cover = noise(rng, (n, n), max(3, length_px / 6) * SS * rng.uniform(0.6, 1.6))
            cover += noise(rng, (n, n), 2 * SS) * 0.6
            edge = rng.uniform(0.6, 1.8)
            alpha = alpha * (cover < edge)
        tint = (
            self.cast
            * np.exp(rng.normal(0, 0.05, 3))
            * (np.array([1.25, 0.95, 0.8]) if rng.random() < 0.15 else 1.0)
        )
        return alpha, b[..., None] * tint.astype(np.float32), half

    def lay(self, lin, rng, at, alpha, colour, half, shadow):
        """Composite a patch on ``lin``; return its visible mask at 2x and where, or None."""
        x0, y0 = int(round(at[0])) - half, int(round(at[1])) - half
        n = 2 * half
        h, w = lin.shape[:2]
        if x0 < 2 or y0 < 2 or x0 + n > w - 2 or y0 + n > h - 2:
            return None
        small = cv2.resize(alpha, (n, n), interpolation=cv2.INTER_AREA)
        pre = cv2.resize(colour * alpha[..., None], (n, n), interpolation=cv2.INTER_AREA)
        s = self.soft
        a, c = cv2.GaussianBlur(small, (0, 0), s), cv2.GaussianBlur(pre, (0, 0), s)
        view = lin[y0 : y0 + n, x0 : x0 + n]
        if shadow is not None:
            dx, dy, deep, wide = shadow
            m = np.float32([[1, 0, dx], [0, 1, dy]])
            sh = cv2.GaussianBlur(cv2.warpAffine(small, m, (n, n)), (0, 0), wide)
            view *= (1 - deep * sh * (1 - a))[..., None]
        before = coded(view)
        after = view * (1 - a[..., None]) + c
        fine = cv2.resize(alpha, (2 * n, 2 * n), interpolation=cv2.INTER_AREA) > 0.5
        change = np.abs(coded(after) - before).mean(2)
        seen = change[small > 0.5]
        if seen.size < 5 or np.quantile(seen, 0.8) < 0.03:
            return None
        view[:] = after
        return fine, 2 * x0, 2 * y0

    def painted(self, rng):
        """Return (rgb, ids at twice the pixels) with a few more flakes on the magnet."""
        lin, ids = self.lin.copy(), self.base.copy()
        lamp = rng.normal(0, 0.45, 2)
        t = rng.uniform(0, 2 * math.pi)
        k = len(self.truth["flakes"])
        count = 1 + rng.poisson(2.2) if rng.random() < 0.88 else rng.integers(6, 14)
        touched = np.zeros(lin.shape[:2], np.float32)

        def spots(many, least, most):
            for _ in range(many):
                mm = rng.uniform(least, most)
                half = int(mm / self.mm + 6)
                n = 2 * half * SS
                f = noise(rng, (n, n), max(mm / self.mm, 2) * SS * rng.uniform(0.25, 0.6))
                yy, xx = np.mgrid[:n, :n].astype(np.float32)
                r = np.hypot(xx - n / 2, yy - n / 2) / (mm / self.mm / 2 * SS)
                al = 1 / (1 + np.exp(np.clip((r - 1 + 0.35 * f) * rng.uniform(4, 14), -30, 30)))
                b = self.white * rng.uniform(0.15, 1.2) * np.exp(0.3 * noise(rng, (n, n), 8 * SS))
                self.lay(
                    lin,
                    rng,
                    self.place(rng),
                    al.astype(np.float32),
                    (b[..., None] * self.cast).astype(np.float32),
                    half,
                    None,
                )

        if rng.random() < 0.4:
            spots(rng.integers(2, 14), 0.08, 0.24)  # grit: too small to count
        if rng.random() < 0.25:
            spots(rng.integers(1, 4), 0.3, 1.2)  # bright places without facets
        for _ in range(int(count)):
            u = rng.random()
            mm = (
                math.exp(rng.uniform(math.log(0.3), math.log(1.0)))
                if u < 0.66
                else math.exp(rng.uniform(math.log(0.8), math.log(3.4)))
            )
            px = mm / self.mm
            if px < 5 or px > 0.9 * self.axes[0] or k > 55:
                continue
            at = self.place(rng)
            x, y = int(at[0] * 2), int(at[1] * 2)
            if (
                not (0 <= x < ids.shape[1] and 0 <= y < ids.shape[0])
                or ids[
                    max(0, y - int(px)) : y + int(px) + 1, max(0, x - int(px)) : x + int(px) + 1
                ].any()
            ):
                continue
            al, co, half = self.piece(rng, px, lamp, rng.uniform(0.6, 1.3))
            far = rng.uniform(0.5, 1.2 + px / 12)
            shadow = (
                far * math.cos(t),
                far * math.sin(t),
                rng.uniform(0.2, 0.8),
                rng.uniform(0.7, 1 + px / 14),
            )
            got = self.lay(lin, rng, at, al, co, half, shadow if rng.random() < 0.85 else None)
            if got is None:
                continue
            fine, x0, y0 = got
            part = ids[y0 : y0 + fine.shape[0], x0 : x0 + fine.shape[1]]
            part[fine] = FLAKE + k
            k += 1
            touched[
                y0 // 2 : y0 // 2 + fine.shape[0] // 2, x0 // 2 : x0 // 2 + fine.shape[1] // 2
            ] = 1
        out = coded(lin)
        sharp = rng.uniform(0, 1.0) if self.soft < 1 else rng.uniform(0, 0.5)
        changed = np.clip(np.abs(out - self.rgb / 255).max(2) * 20, 0, 1)
        changed = cv2.GaussianBlur(changed.astype(np.float32), (0, 0), 1)[..., None]
        out = out + changed * sharp * (out - cv2.GaussianBlur(out, (0, 0), 1.2))
        out = out + changed * rng.normal(0, self.grain, out.shape)
        return (np.clip(out, 0, 1) * 255 + 0.5).astype(np.uint8), ids
