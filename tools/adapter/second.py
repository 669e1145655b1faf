"""Train the second ear's head: which digit ends where, from a general embedding of noisy sound.

    second.py hear --bundle DIR --minutes N --seed S --out ROWS.pickle
    second.py train ROWS.pickle ... --bundle DIR [--fold K] --out second_ear.npz

``hear`` mixes strings of digits, phrases, talk and bare noise as the recogniser's training does
(mixing.py) and keeps what the embedding makes of them, with the words and the voice. ``train`` leaves
out what the speaker of fold K spoke, and voices morphed from that speaker.
"""

from __future__ import annotations

import argparse
import json
import math
import pickle
import time
from pathlib import Path

import mixing
import numpy as np
import onnxruntime
import texts
import torch
import torch.nn.functional as nnf
from bank import read_banks
from torch import Tensor
from train import read_noise

from joblog.speech.second_ear import DIGITS, MARGIN, NETWORK, signs
from joblog.speech.shipped import note_shipped

SHARES = {
    "string": 0.78, texts.DIGITS: 0.04, texts.PHRASE: 0.10, texts.CHATTER: 0.04,
    mixing.NOISE_ONLY: 0.04,
}  # fmt: skip
LENGTHS = (30_000, 40_000, 48_000, 56_000)  # samples
ROWS, BATCH, WIDTH, EPOCHS, RATE = 16, 64, 160, 8, 2e-3
Row = tuple[np.ndarray, list[str], str]  # embedding (time, 96), words, voice


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


def hear(folder: Path, minutes: float, seed: int) -> list[Row]:
    """Mix for so many minutes and return what the embedding makes of it."""
    torch.set_num_threads(1)
    banks = read_banks(folder / "bank", -1)
    for item in banks.items:
        item.targets, item.chances = [[0]], [1.0]  # the recogniser's, not used here
    noise = torch.tensor(read_noise(folder))
    mixer = Mixer(torch.tensor(banks.sound), banks.items, noise, SHARES, seed, tokens=lambda _: [0])
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    network = onnxruntime.InferenceSession(NETWORK, options)
    name = network.get_inputs()[0].name
    rows: list[Row] = []
    until = time.time() + 60 * minutes
    while time.time() < until:
        sound = mixer.batch(ROWS, mixer.rng.choice(LENGTHS)).spoilt.numpy()
        padded = np.pad(sound.astype(np.float32), ((0, 0), (MARGIN, MARGIN)))
        found = network.run(None, {name: padded})[0][:, :, 0].astype(np.float16)
        rows += [(e, *said) for e, said in zip(found, mixer.said, strict=True)]
    return rows


class Head(torch.nn.Module):
    """The network that ``joblog.speech.second_ear.Head`` computes, with drop-out."""

    def __init__(self) -> None:
        super().__init__()
        self.n = torch.nn.LayerNorm(96)
        self.a = torch.nn.Conv1d(96, WIDTH, 5, padding=2)
        self.b = torch.nn.Conv1d(WIDTH, WIDTH, 5, padding=2)
        self.c = torch.nn.Conv1d(WIDTH, WIDTH, 3, padding=1)
        self.o = torch.nn.Conv1d(WIDTH, len(DIGITS) + 2, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Return log probabilities (batch, time, signs) of embeddings (batch, time, 96)."""

        def bend(value: Tensor) -> Tensor:
            return nnf.dropout(nnf.gelu(value, approximate="tanh"), 0.15, self.training)

        x = bend(self.a(self.n(x).transpose(1, 2)))
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


def train(rows: list[Row], seed: int) -> Head:
    """Train by connectionist temporal classification on batches of similar length."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    head = Head()
    optimiser = torch.optim.AdamW(head.parameters(), lr=RATE, weight_decay=0.02)
    order = sorted(range(len(rows)), key=lambda n: len(rows[n][0]))
    batches = [order[start : start + BATCH] for start in range(0, len(order), BATCH)]
    steps = EPOCHS * len(batches)
    for step in range(steps):
        if step % len(batches) == 0:
            turns = rng.permutation(len(batches))
        mine = [rows[n] for n in batches[turns[step % len(batches)]]]
        lengths = torch.tensor([len(row[0]) for row in mine])
        x = torch.zeros(len(mine), int(lengths.max()), 96)
        for place, row in zip(x, mine, strict=True):
            place[: len(row[0])] = torch.tensor(row[0]).float()
        x = x + 0.1 * x.std() * torch.randn_like(x)
        goals = [signs(row[1]) for row in mine]
        loss = nnf.ctc_loss(
            head(x).transpose(0, 1),
            torch.tensor([sign for goal in goals for sign in goal]),
            lengths,
            torch.tensor([len(goal) for goal in goals]),
            zero_infinity=True,
        )
        falling = 0.02 + 0.98 * math.cos(math.pi / 2 * step / steps) ** 2
        for group in optimiser.param_groups:
            group["lr"] = RATE * min(1.0, (step + 1) / 50) * falling
        optimiser.zero_grad()
        loss.backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(head.parameters(), 1.0)
        optimiser.step()
        if step % len(batches) == 0:
            print(f"epoch {step // len(batches)} loss {float(loss.detach()):.3f}", flush=True)
    return head


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    steps = parser.add_subparsers(dest="step", required=True)
    first, second = steps.add_parser("hear"), steps.add_parser("train")
    for part in (first, second):
        part.add_argument("--bundle", type=Path, required=True)
        part.add_argument("--seed", type=int, default=1)
        part.add_argument("--out", type=Path, required=True)
    first.add_argument("--minutes", type=float, default=7)
    second.add_argument("rows", type=Path, nargs="+")
    second.add_argument("--fold", type=int, default=-1)
    given = parser.parse_args()
    if given.step == "hear":
        given.out.write_bytes(pickle.dumps(hear(given.bundle, given.minutes, given.seed)))
        return
    rows = [row for path in given.rows for row in pickle.loads(path.read_bytes())]
    apart = kept_out(given.bundle, given.fold) if given.fold >= 0 else set()
    head = train([row for row in rows if row[2] not in apart], given.seed)
    weights = {name: value.numpy().astype(np.float16) for name, value in head.state_dict().items()}
    np.savez(given.out, **weights)  # type: ignore[arg-type]
    note_shipped(given.out)


if __name__ == "__main__":
    main()
