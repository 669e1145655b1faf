"""Train the second ear: a general speech embedding and a head that says which digit ends where.

    second.py start --out START.npz
    second.py train --bundle DIR --start START.npz --out OUT --seconds N [--seed S]
    second.py export WEIGHTS.npz [WEIGHT] ... --out FOLDER

``start`` reads the embedding as its makers trained it (needs the package onnx). ``train`` mixes strings
of digits, phrases, talk and bare noise as the recogniser's training does (mixing.py) and trains five
networks side by side on the same sound: four that each leave out one speaker's digits, and what was
morphed from them, and one on everything. It leaves ``fold0.npz`` to ``fold3.npz`` and ``all.npz``.
``export`` averages weights and writes ``second_ear.onnx`` and ``second_ear.npz``.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from pathlib import Path

import embedding
import mixing
import model
import numpy as np
import texts
import torch
import torch.nn.functional as nnf
from bank import read_banks
from soup import weighted
from torch import Tensor
from train import DEVICE, WARP, read_noise

from joblog.speech.second_ear import DIGITS, MARGIN, NETWORK, signs

SHARES = {
    "string": 0.78, texts.DIGITS: 0.04, texts.PHRASE: 0.10, texts.CHATTER: 0.04,
    mixing.NOISE_ONLY: 0.04,
}  # fmt: skip
LENGTHS = (30_000, 40_000, 48_000, 56_000)  # samples
FOLDS = 4
WIDTH, MOST_BANDS = 160, 4
HEAD_RATE, BODY_RATE, FLOOR = 2e-3, 5e-4, 0.1


class Mixer(mixing.Mixer):
    """Remembers what each row of the last batch says, and in whose voice."""

    said: list[tuple[list[str], str]]

    def draw(
        self, rows: int, samples: int
    ) -> tuple[list[list[tuple[mixing.Utterance, int, int, float]]], list[list[int]], list[str]]:
        """Draw as the base class does."""
        plans, targets, kinds = super().draw(rows, samples)
        words = [[word for part in plan for word in part[0].say.split()] for plan in plans]
        voices = [plan[0][0].group if plan else "" for plan in plans]
        self.said = list(zip(words, voices, strict=True))
        return plans, targets, kinds


class Ear(torch.nn.Module):
    """The embedding and the head that ``joblog.speech.second_ear`` computes, with drop-out."""

    def __init__(self, start: dict[str, np.ndarray]) -> None:
        super().__init__()
        self.body = embedding.Embedding(start)
        self.n = torch.nn.LayerNorm(96)
        self.a = torch.nn.Conv1d(96, WIDTH, 5, padding=2)
        self.b = torch.nn.Conv1d(WIDTH, WIDTH, 5, padding=2)
        self.c = torch.nn.Conv1d(WIDTH, WIDTH, 3, padding=1)
        self.o = torch.nn.Conv1d(WIDTH, len(DIGITS) + 2, 1)

    def forward(self, features: Tensor) -> Tensor:
        """Return log probabilities (batch, time, signs) of log-mel features (batch, frames, 32)."""

        def bend(value: Tensor) -> Tensor:
            return nnf.dropout(nnf.gelu(value, approximate="tanh"), 0.15, self.training)

        x = self.n(self.body(features))
        x = x + 0.1 * torch.randn_like(x) if self.training else x
        x = bend(self.a(x.transpose(1, 2)))
        x = x + bend(self.b(x))
        x = x + bend(self.c(x))
        return self.o(x).transpose(1, 2).log_softmax(-1)


def kept_out(folder: Path, fold: int) -> set[str]:
    """Return the voices that a fold must not learn from."""
    voices = set()
    for path in sorted((folder / "bank").glob("*.jsonl")):
        for line in path.read_text("utf-8").splitlines():
            row = json.loads(line)
            human = row.get("class") == "human" and row.get("fold") == fold
            if row.get("set") and (human or fold in row.get("apart", ())):
                voices.add(row["set"])
    return voices


class Trainer:
    """Trains the networks of all folds, and the one on everything, on the same sound."""

    def __init__(self, bundle: Path, start: Path, seed: int, rows: int) -> None:
        torch.manual_seed(seed)
        self.rows = rows
        banks = read_banks(bundle / "bank", -1)
        for item in banks.items:
            item.targets, item.chances = [[0]], [1.0]  # the recogniser's, not used here
        noise = torch.tensor(read_noise(bundle), device=DEVICE)
        sound = torch.tensor(banks.sound, device=DEVICE)
        self.mixer = Mixer(sound, banks.items, noise, SHARES, seed, tokens=lambda _: [0])
        with np.load(start) as archive:
            first = {name: archive[name].astype(np.float32) for name in archive.files}
        self.names = [*(f"fold{fold}" for fold in range(FOLDS)), "all"]
        self.apart = [kept_out(bundle, fold) for fold in range(FOLDS)] + [set()]
        self.ears = [Ear(first).to(DEVICE) for _ in self.names]
        self.kept = [[p.detach().clone() for p in ear.parameters()] for ear in self.ears]

    def losses(self) -> Tensor:
        """Return the mean loss a row of each network, of what it may learn from."""
        samples = self.mixer.rng.choice(LENGTHS)
        with torch.no_grad():
            spoilt = self.mixer.batch(self.rows, samples).spoilt
            warp = self.mixer.uniform(self.rows, *WARP)
            warp = torch.where(self.mixer.chance(self.rows, 0.6), warp, torch.ones_like(warp))
            heard = self.ears[0].body.features(nnf.pad(spoilt, (MARGIN, MARGIN)), warp)
            bands = heard.transpose(1, 2)
            heard = model.masked(bands, self.mixer.random, MOST_BANDS).transpose(1, 2)
        goals = [signs(words) for words, _ in self.mixer.said]
        lengths = torch.tensor([len(goal) for goal in goals], device=DEVICE)
        goal = torch.tensor([sign for row in goals for sign in row], device=DEVICE)
        found = []
        for ear, apart in zip(self.ears, self.apart, strict=True):
            said = ear(heard).transpose(0, 1)
            frames = torch.full_like(lengths, len(said))
            loss = nnf.ctc_loss(said, goal, frames, lengths, reduction="none", zero_infinity=True)
            mine = torch.tensor(
                [float(voice not in apart) for _, voice in self.mixer.said], device=DEVICE
            )
            found.append((loss * mine).sum() / mine.sum())
        return torch.stack(found)

    def train(self, seconds: float, out: Path) -> None:
        """Train for ``seconds``, the learning rates falling along a cosine."""
        bodies = [p for ear in self.ears for p in ear.body.parameters()]
        mine = {id(p) for p in bodies}
        heads = [p for ear in self.ears for p in ear.parameters() if id(p) not in mine]
        groups = [{"params": bodies, "most": BODY_RATE}, {"params": heads, "most": HEAD_RATE}]
        optimiser = torch.optim.AdamW(groups, lr=HEAD_RATE, weight_decay=0.02)
        begun, steps, shown, counted = time.time(), 0, 0.0, 0
        while (done := (time.time() - begun) / seconds) < 1:
            slope = FLOOR + (1 - FLOOR) * math.cos(done * math.pi / 2) ** 2
            for group in optimiser.param_groups:
                group["lr"] = group["most"] * min(1.0, (steps + 1) / 100) * slope
            losses = self.losses()
            optimiser.zero_grad(set_to_none=True)
            losses.sum().backward()  # type: ignore[no-untyped-call]
            for ear in self.ears:
                torch.nn.utils.clip_grad_norm_(ear.parameters(), 1.0)
            optimiser.step()
            counted += done > 0.5
            with torch.no_grad():  # the plain mean of the weights since half-time
                for kept, ear in zip(self.kept, self.ears, strict=True):
                    for mean, value in zip(kept, ear.parameters(), strict=True):
                        mean.lerp_(value, 1 / max(1, counted))
            steps += 1
            if time.time() - shown > seconds / 12:
                shown = time.time()
                values = " ".join(f"{value:.3f}" for value in losses.tolist())
                print(f"{shown - begun:5.0f} s step {steps} losses {values}", flush=True)
                self.save(out)  # the machine may be taken away
        self.save(out)
        print(f"{steps} steps of {self.rows} rows", flush=True)

    def save(self, out: Path) -> None:
        """Write the mean weights of every network."""
        for name, ear, kept in zip(self.names, self.ears, self.kept, strict=True):
            names = [name for name, _ in ear.named_parameters()]
            values = [value.cpu().numpy().astype(np.float16) for value in kept]
            np.savez(out / f"{name}.npz", **dict(zip(names, values, strict=True)))  # type: ignore[arg-type]


def export(parts: dict[Path, float], folder: Path) -> None:
    """Write the weighted mean of trainings as the product reads it."""
    mean: dict[str, np.ndarray] = {}
    for path, weight in parts.items():
        with np.load(path) as archive:
            for name in archive.files:
                value = archive[name].astype(np.float32) * weight / sum(parts.values())
                mean[name] = mean[name] + value if name in mean else value
    inner = "body.parts."
    body = {n.removeprefix(inner): v for n, v in mean.items() if n.startswith(inner)}
    head = {n: v.astype(np.float16) for n, v in mean.items() if not n.startswith(inner)}
    folder.mkdir(parents=True, exist_ok=True)
    embedding.write(NETWORK, body, folder / "second_ear.onnx")
    np.savez(folder / "second_ear.npz", **head)  # type: ignore[arg-type]


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    steps = parser.add_subparsers(dest="step", required=True)
    first, second, third = (steps.add_parser(name) for name in ("start", "train", "export"))
    for part in (first, second, third):
        part.add_argument("--out", type=Path, required=True)
    second.add_argument("--bundle", type=Path, required=True)
    second.add_argument("--start", type=Path, required=True)
    second.add_argument("--seconds", type=float, required=True)
    second.add_argument("--seed", type=int, default=1)
    second.add_argument("--rows", type=int, default=192)
    third.add_argument("parts", nargs="+")
    given = parser.parse_args()
    if given.step == "start":
        np.savez(given.out, **embedding.read(NETWORK))  # type: ignore[arg-type]
    elif given.step == "train":
        given.out.mkdir(parents=True, exist_ok=True)
        trainer = Trainer(given.bundle, given.start, given.seed, given.rows)
        trainer.train(given.seconds, given.out)
    else:
        export(weighted(given.parts), given.out)


if __name__ == "__main__":
    main()
