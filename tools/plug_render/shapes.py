# ruff: noqa: D103, PLR0917, PLR0915, RUF005, ARG001
# Short mathematical names, and numpy arrays added to lists, are meant here.
"""What lies on a magnet, as a height map: film, hair, flakes, grit. Lengths are mm."""

from __future__ import annotations

import cv2
import numpy as np

FILM, FLAKE = 3, 50  # ids in the tracer; flake k has FLAKE + k, grit FLAKE + 60
TEX = 896


def unit(v):
    v = np.asarray(v, float)
    return v / np.linalg.norm(v)


def fbm(n, cells, rng, octaves=5, gain=0.55):
    out = np.zeros((n, n), np.float32)
    amp = 1.0
    for _ in range(octaves):
        c = int(min(cells, n // 2))
        grid = rng.standard_normal((c + 3, c + 3)).astype(np.float32)
        m = np.float32(
            [[n / c, 0, -rng.uniform(0, 1) * n / c], [0, n / c, -rng.uniform(0, 1) * n / c]]
        )
        out += amp * cv2.warpAffine(
            grid, m, (n, n), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
        )
        amp *= gain
        cells *= 2
    return out / out.std()


def film_map(n, half, rm, coverage, rng, wet):
    """Return film height over its base (n, n), 0 where there is none."""
    y, x = (np.mgrid[:n, :n] * (2 * half / (n - 1)) - half).astype(np.float32)
    r = np.hypot(x, y) / rm
    f = fbm(n, rng.uniform(2.5, 9), rng, 6, rng.uniform(0.45, 0.75))
    # The field is strongest at the magnet's edge: a little film sits there in clumps.
    f += rng.uniform(*((0.2, 3.0) if coverage < 0.4 else (-0.6, 1.4))) * np.minimum(r, 1) ** 2
    f += rng.uniform(0, 0.5) * fbm(n, half * rng.uniform(8, 20), rng, 2)
    inside = r < 1
    cut = np.quantile(f[inside], 1 - coverage)
    spill = rng.uniform(0.03, 0.35) if rng.random() < 0.65 else 0.02
    f -= np.maximum(0, r - 1) * rng.uniform(1.0, 3) / spill
    f[r > 1 + 1.5 * spill] = -9
    amount = np.clip((f - cut) * rng.uniform(2, 12), 0, 1)
    grain = fbm(n, 2 * half / rng.uniform(0.12, 0.4), rng, 3, 0.6)
    thick, rough = rng.uniform(0.05, 0.45), rng.uniform(0.22, 0.4)
    h = np.where(
        amount > 0, thick * np.sqrt(amount) * np.clip(0.55 + rough * grain, 0.06, 1.3) + 0.03, 0
    )
    h = h.astype(np.float32)
    if rng.random() < 0.4:
        add_hair(h, n, half, rng)
    return h


def add_hair(h, n, half, rng):
    k = (n - 1) / (2 * half)
    rows, cols = np.nonzero(h > 0)
    if len(rows) < 50:
        return
    edge = rng.random() < 0.4
    if edge:
        e = (h > 0) & (cv2.erode((h > 0).astype(np.uint8), np.ones((9, 9), np.uint8)) == 0)
        rows, cols = np.nonzero(e)
    count = int(rng.uniform(150, 2500) * (0.3 if edge else 1))
    pick = rng.integers(0, len(rows), count)
    longest = rng.uniform(0.2, 0.9)
    radial, thick = rng.uniform(0, 1), rng.uniform(0.03, 0.09)
    base = h.copy()
    for i in pick:
        x, y = float(cols[i]), float(rows[i])
        out = np.array([x - n / 2, y - n / 2]) / (np.hypot(x - n / 2, y - n / 2) + 1e-6)
        d = unit(
            radial * out
            + (1 - radial) * rng.standard_normal(2) * 0.7
            + 0.15 * rng.standard_normal(2)
        )
        length = longest * rng.uniform(0.3, 1) * k
        z = base[int(y), int(x)] + rng.uniform(0.05, 0.3)
        for s in range(4):
            a, b = s / 4, (s + 1) / 4
            p, q = (
                (x + d[0] * length * a, y + d[1] * length * a),
                (x + d[0] * length * b, y + d[1] * length * b),
            )
            w = max(1, round((thick * (1 - a) + 0.012) * k))
            cv2.line(
                h,
                tuple(int(v * 16) for v in p),
                tuple(int(v * 16) for v in q),
                float(z * (0.75 + 0.12 * s)),
                w,
                cv2.LINE_8,
                4,
            )


def flake_shape(kind, length, rng):
    """Return vertices (m, 3) about 0, triangles as index triples."""
    if kind == "curl":
        m, arc, wid = 7, rng.uniform(1.0, 3.6), rng.uniform(0.12, 0.3)
        t = np.linspace(-arc / 2, arc / 2, m)
        rad = 1.0
        rise = rng.uniform(0, 0.5)
        top = np.stack([rad * np.sin(t), rad * np.cos(t), rise * (t / arc) ** 2 * 4 * 0.3], 1)
        w = wid * arc * (0.4 + 0.6 * np.cos(np.linspace(-1.2, 1.2, m)))
        low = np.stack(
            [(rad - w) * np.sin(t), (rad - w) * np.cos(t), top[:, 2] + rng.uniform(-0.15, 0.15)], 1
        )
        v = np.concatenate([top, low])
        tri = [q for i in range(m - 1) for q in ((i, i + 1, m + i), (i + 1, m + i + 1, m + i))]
    else:
        m = rng.integers(5, 10)
        a = np.sort(rng.uniform(0, 2 * np.pi, m) * 0.35 + np.arange(m) * 2 * np.pi / m * 1.0)
        rad = rng.uniform(0.55, 1.0, m)
        if rng.random() < 0.2:
            rad[::2] *= rng.uniform(0.5, 0.8)
        asp = rng.uniform(0.6, 1.0) if kind == "platelet" else rng.uniform(0.12, 0.32)
        z = rng.uniform(-1, 1, m) * rng.uniform(0.05, 0.22) * asp
        v = np.stack([rad * np.cos(a), asp * rad * np.sin(a), z], 1)
        top = [
            [
                0.1 * rng.standard_normal(),
                0.1 * asp * rng.standard_normal(),
                rng.uniform(-0.05, 0.25) * asp,
            ]
        ]
        if rng.random() < 0.6:  # a second ring of corners: more and steeper facets
            k = rng.uniform(0.35, 0.75, m)
            w = v * k[:, None]
            w[:, 2] = rng.uniform(-1, 1, m) * rng.uniform(0.05, 0.28) * asp
            tri = [
                q
                for i in range(m)
                for q in (
                    (i, (i + 1) % m, m + i),
                    ((i + 1) % m, m + (i + 1) % m, m + i),
                    (m + i, m + (i + 1) % m, 2 * m),
                )
            ]
            v = np.concatenate([v, w, top])
        else:
            v = np.concatenate([v, top])
            tri = [(i, (i + 1) % m, m) for i in range(m)]
    if rng.random() < 0.25:  # nearly flat: one even shade, not facets
        v[:, 2] *= rng.uniform(0.05, 0.4)
    v -= v.mean(0)
    far = np.sqrt(((v[:, None] - v[None]) ** 2).sum(2)).max()
    v = v * (length / far)
    turn = rng.uniform(0, 2 * np.pi)
    tilt = np.deg2rad(rng.uniform(0, 24) if kind != "sliver" else rng.uniform(0, 16))
    ax = rng.uniform(0, 2 * np.pi)
    rz = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    k = np.array([np.cos(ax), np.sin(ax), 0])
    kx = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    rt = np.eye(3) + np.sin(tilt) * kx + (1 - np.cos(tilt)) * kx @ kx
    return v @ rz.T @ rt.T, tri


def lay(height, ids, v, tri, ident, n, half):
    """Draw triangles into the height map where they are on top."""
    k = (n - 1) / (2 * half)
    px = (v[:, :2] + half) * k
    for a, b, c in tri:
        q = px[[a, b, c]]
        x0, y0 = np.floor(q.min(0)).astype(int)
        x1, y1 = np.ceil(q.max(0)).astype(int) + 1
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, n), min(y1, n)
        if x1 <= x0 or y1 <= y0:
            continue
        y, x = np.mgrid[y0:y1, x0:x1]
        m = np.array([[*q[0], 1], [*q[1], 1], [*q[2], 1]]).T
        if abs(np.linalg.det(m)) < 1e-6:
            continue
        w = np.linalg.inv(m) @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
        inside = (w >= -1e-6).all(0).reshape(x.shape)
        z = (v[[a, b, c], 2] @ w).reshape(x.shape)
        view, iv = height[y0:y1, x0:x1], ids[y0:y1, x0:x1]
        win = inside & (z > view)
        view[win] = z[win]
        iv[win] = ident


def resting(v, c, height, soft, half, rng):
    """Return how high a flake about (0, 0, 0) lies at c: nearly always whole on top of the film."""
    k = (len(height) - 1) / (2 * half)
    x, y = ((c + half) * k).astype(int)
    low = float(-v[:, 2].min())
    if rng.random() < 0.12:  # half buried
        return float(soft[y, x]) + rng.uniform(0.02, 0.12) + 0.3 * low
    reach = max(2, int(0.6 * k * float(np.abs(v[:, :2]).max())))
    under = height[max(0, y - reach) : y + reach + 1, max(0, x - reach) : x + reach + 1]
    return float(np.quantile(under, rng.uniform(0.75, 0.98))) + low * rng.uniform(0.6, 1.0) + 0.02


def sheen(bright, rng):
    """Return a flake's row: colour, roughness, unevenness."""
    tone = rng.uniform(0.6, 0.97) if bright else rng.uniform(0.1, 0.38)
    tint = 1 + rng.normal(0, 0.025, 3)
    if rng.random() < 0.12:
        tint = tint + np.array([0.05, 0, -0.08])
    return [*(tone * tint), rng.uniform(0.06, 0.3), rng.uniform(0, 0.3) ** 1.5]


def debris(p, case, rng):
    """Return (height map, id map, flake table, list of flakes)."""
    n, rm = TEX, p["mag_R"]
    half = rm * 1.45 + 0.6
    y, x = (np.mgrid[:n, :n] * (2 * half / (n - 1)) - half).astype(np.float32)
    r = np.hypot(x, y)
    top = p["mag_h"] - p["dome"] * (r / rm) ** 2
    base = np.where(
        r < rm - 0.02, top, np.where(r < p["recess_R"], -p["recess_depth"], 0.0)
    ).astype(np.float32)
    ramp = np.clip((r - rm) / max(0.3, p["recess_R"] - rm + 0.2), 0, 1)
    bridge = np.where(
        r < rm, top, (p["mag_h"] - p["dome"]) * (1 - ramp) - 0.1 * ramp * (r < p["recess_R"])
    ).astype(np.float32)
    height = base - 0.05
    ids = np.zeros((n, n), np.uint8)
    cover = 0.0
    if "film" in case:
        spread = [(0.03, 0.4), (0.3, 0.9), (0.85, 0.99)]
        odds = [0.15, 0.77, 0.08] if "flakes" in case else [0.55, 0.35, 0.1]
        cover = rng.uniform(*spread[rng.choice(3, p=odds)])
        f = film_map(n, half, rm, cover, rng, p["wet"])
        on = f > 0
        height = np.where(on, bridge + f, height).astype(np.float32)
        ids[on] = FILM
    table, flakes = [], []
    k = (n - 1) / (2 * half)
    soft = cv2.GaussianBlur(np.where(ids == FILM, height, bridge), (0, 0), 6)
    if "flakes" in case:
        for _ in range(int(rng.choice([1, 2, 3, 3, 4, 5, 6, 8, 12]))):
            length = float(np.clip(np.exp(rng.normal(0.15, 0.6)), 0.3, min(3.6, 0.8 * rm)))
            kind = str(rng.choice(["platelet", "platelet", "platelet", "sliver", "curl"]))
            v, tri = flake_shape(kind, length, rng)
            rr, a = rm * np.sqrt(rng.uniform(0, 0.95)), rng.uniform(0, 2 * np.pi)
            if rng.random() < 0.2:  # hung over the magnet's edge
                rr = rm * rng.uniform(0.85, 1.02)
            c = np.array([rr * np.cos(a), rr * np.sin(a)])
            if flakes and rng.random() < 0.2:  # beside another, touching it or nearly
                near = flakes[int(rng.integers(len(flakes)))]
                apart = 0.5 * (length + near["length_mm"]) * rng.uniform(0.4, 1.0)
                c = near["vertices"][:, :2].mean(0) + apart * np.array([np.cos(a), np.sin(a)])
                c *= min(1.0, 0.95 * rm / max(1e-6, float(np.hypot(*c))))
            v = v + [c[0], c[1], resting(v, c, height, soft, half, rng)]
            bright = rng.random() < 0.65
            table.append(sheen(bright, rng))
            lay(height, ids, v, tri, FLAKE + len(flakes), n, half)
            said = {"length_mm": length, "shape": kind, "tone": "bright" if bright else "dark"}
            flakes.append({**said, "vertices": v})
    grit = 0
    if case != "clean" and rng.random() < 0.55:
        grit = int(rng.choice([4, 6, 20, 30]))
        table += [[0.8, 0.8, 0.8, 0.2, 0.2]]
        ident = FLAKE + 60
        for _ in range(grit):
            v, tri = flake_shape("platelet", rng.uniform(0.06, 0.27), rng)
            rr, a = rm * np.sqrt(rng.uniform(0, 1)), rng.uniform(0, 2 * np.pi)
            c = np.array([rr * np.cos(a), rr * np.sin(a)])
            at = ((c + half) * k).astype(int)
            if ids[at[1], at[0]] >= FLAKE:
                continue
            lay(height, ids, v + [c[0], c[1], height[at[1], at[0]] + 0.04], tri, ident, n, half)
    full = np.zeros((128, 5), np.float32)
    full[: len(table)] = table if table else full[:0]
    full[60] = [0.8, 0.8, 0.8, 0.2, 0.2]
    return height, ids, full, flakes, grit, half
