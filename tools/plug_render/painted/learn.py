# ruff: noqa
"""python go.py paint | learn NAME KIND SEED"""

import copy, json, math, multiprocessing as mp, os, sys, threading, time
from argparse import Namespace
from pathlib import Path
import cv2, numpy as np

HERE = Path(__file__).parent
E = lambda n, d: type(d)(os.environ.get(n, d))
SHM = Path(E("S_SHM", "/dev/shm/painted"))
OUT = Path(E("S_OUT", "out"))
V, END, RENDER = E("S_V", 72), E("S_END", 0.0), E("S_RENDER", 70.0)
BATCH, GIVENS, PAINTED, RATE = (
    E("S_BATCH", 32),
    E("S_GIVENS", 18),
    E("S_PAINTED", 0.75),
    E("S_RATE", 7e-4),
)


def names():
    t = json.loads((HERE / "given/truth.json").read_text())
    return [
        (n, q)
        for n, q in sorted(t.items())
        if n.startswith("plug") and q["usable"] and (HERE / "given" / n).exists()
    ]


def paint_one(job):
    cv2.setNumThreads(1)
    from paint import Painter

    k, v = job
    n, t = names()[k]
    p = Painter(cv2.imread(str(HERE / "given" / n))[:, :, ::-1].copy(), t)
    rng = np.random.default_rng([k, v, E("S_SEED", 1)])
    return [p.painted(rng) for _ in range(6)]


def paint():
    rows = names()
    SHM.mkdir(parents=True, exist_ok=True)
    with mp.Pool(E("S_CPU", 56)) as pool:
        got = pool.map(paint_one, [(k, v) for k in range(len(rows)) for v in range(V // 6)], 1)
    x = np.stack(
        [
            np.stack([a for g in got[k * (V // 6) : (k + 1) * (V // 6)] for a, _ in g])
            for k in range(len(rows))
        ]
    )
    i = np.stack(
        [
            np.stack([b for g in got[k * (V // 6) : (k + 1) * (V // 6)] for _, b in g])
            for k in range(len(rows))
        ]
    )
    np.save(SHM / "x.npy", x)
    np.save(SHM / "i.npy", i)
    (SHM / "ok").write_text("")
    print("painted", x.shape, flush=True)


def learn(name, kind, seed):
    import torch
    import torch.nn.functional as F
    from torch import nn
    import train, crops
    from camera import dev, soft_camera
    from nets import Near, loss_d, loss_mixed_d
    from lite import Lite

    torch.manual_seed(seed)
    args = Namespace(workers=E("S_WORKERS", 13), seed=seed, most=E("S_MOST", 7000), net="debris")
    R = train.Rendering(
        args,
        train.Tracer(HERE / "librender_cuda.so" if not E("S_LIB", "") else Path(E("S_LIB", ""))),
    )
    R.go(8, seconds=RENDER)
    R.wait()
    R.go(1, pause=2.5)
    data = R.data
    while not (SHM / "ok").exists():
        time.sleep(0.5)
    X = torch.from_numpy(np.load(SHM / "x.npy")).to(dev)
    I = torch.from_numpy(np.load(SHM / "i.npy")).to(dev)
    rows = train.given_pictures(HERE / "given")
    rows = [r for r in rows]
    parts = {f"fold{k}": [i for i in range(len(rows)) if i % 3 != k] for k in range(3)}
    parts["all"] = list(range(len(rows)))
    base = crops.Given(rows)

    class Set:
        def __init__(self, idx):
            self.idx = torch.tensor(idx, device=dev)
            self.fl = torch.tensor([i for i in idx if i in set(base.flaked.tolist())], device=dev)

        def magnet(self, m):
            i = self.idx[torch.randint(0, len(self.idx), (m,), device=dev)]
            v = torch.randint(0, X.shape[1], (m,), device=dev)
            p = torch.rand(m, device=dev) < PAINTED
            x = torch.where(
                p[:, None, None, None], X[i, v].permute(0, 3, 1, 2).float() / 255, base.x[i]
            )
            ids = torch.where(p[:, None, None], I[i, v], base.ids[i])[:, None]
            return *crops.magnet_crops(x, ids, base.mag[i]), base.cov[i]

        def donors(self, m):
            i = self.fl[torch.randint(0, len(self.fl), (m,), device=dev)]
            x, _, v = crops.magnet_crops(
                base.x[i], base.ids[i][:, None], base.mag[i], wander=1.4, least=1.6, most=3.6
            )
            return x, v

    crops.magnet_given = lambda g, m: g.magnet(m)
    crops.donors = lambda g, m: g.donors(m)
    sets = [Set(p) for p in parts.values()]
    nets = []
    for part in parts:
        if kind == "lite":
            net = Lite()
            import q8

            s = q8.dq(torch.load(HERE / "lite0.q8", map_location="cpu"))
            miss = net.load_state_dict(s, strict=False)
            left = [
                k for k in miss.unexpected_keys if not k.startswith(("_conv_head", "_bn1", "_fc"))
            ]
            assert not left and not [k for k in miss.missing_keys if k.startswith("_")], (
                left,
                miss.missing_keys,
            )
        else:
            net = Near(4)
            import q8

            s = {
                k: q8.dq(v) for k, v in torch.load(HERE / f"{kind}.q8", map_location="cpu").items()
            }
            net.load_state_dict(s[part])
        nets.append(net.to(dev).to(memory_format=torch.channels_last))
    if kind == "lite":
        for n in nets[1:]:
            n.load_state_dict(nets[0].state_dict())

    def groups(net):
        if kind != "lite":
            return [{"params": list(net.parameters()), "k": 1.0}]
        t = net.taught()
        ids = {id(p) for p in t}
        return [
            {"params": t, "k": 0.4},
            {"params": [p for p in net.parameters() if id(p) not in ids], "k": 1.6},
        ]

    opts = [
        torch.optim.AdamW(groups(n), RATE, weight_decay=1e-3, fused=dev == "cuda") for n in nets
    ]
    means = [train.Mean() for _ in nets]
    start, step, seen, kept = time.time(), 0, [], time.time()
    end = END or time.time() + E("S_TRAIN", 60.0)
    print(name, "windows", len(data.rows), "train for", end - start, flush=True)
    for n in nets:
        n.train()

    def save(mean=True):
        for part, m, n in zip(parts, means, nets):
            st = m.state() if m.count else n.state_dict()
            h = {
                k: (v.half() if v.is_floating_point() and v.dim() > 1 else v).cpu()
                for k, v in st.items()
            }
            torch.save(h, OUT / f".{name}-{part}.pt")
            (OUT / f".{name}-{part}.pt").rename(OUT / f"{name}-{part}.pt")

    while (past := (time.time() - start) / (end - start)) < 1:
        rate = RATE * min(1, step / 150 + 0.005) * (0.5 + 0.5 * math.cos(math.pi * past)) + 1e-5
        drawn = crops.magnet_batch(data, BATCH - GIVENS)
        for net, opt, g in zip(nets, opts, sets):
            x, y = crops.mixed_debris(drawn, g, GIVENS, patches=0.12)
            for q in opt.param_groups:
                q["lr"] = rate * q["k"]
            with torch.autocast(dev, torch.bfloat16):
                z = net(x.contiguous(memory_format=torch.channels_last))
            loss = loss_mixed_d(z.float(), y)
            opt.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            opt.step()
            seen.append(loss.detach())
        step += 1
        if past > 0.6 and step % 10 == 0:
            for m, n in zip(means, nets):
                m.add(n)
        if step % 100 == 0:
            print(
                name,
                step,
                f"{torch.stack(seen).mean().item():.4f} {past:.2f} windows {len(data.rows)}",
                flush=True,
            )
            seen = []
        if time.time() - kept > 120:
            kept = time.time()
            save()
    save()
    print(name, "steps", step, flush=True)
    os._exit(0)


if __name__ == "__main__":
    OUT.mkdir(parents=True, exist_ok=True)
    paint() if sys.argv[1] == "paint" else learn(sys.argv[2], sys.argv[3], int(sys.argv[4]))
