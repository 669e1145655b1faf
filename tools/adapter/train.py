"""Train the noise adapter: a noisy student learns what was said, and to stay near its teacher.

    train.py --bundle DIR --targets FILE
    train.py --bundle DIR --targets FILE --out DIR --seconds N [--fold K] [--seed S]
             [--start adapter.npz]

The first form asks the teacher once how it would write each utterance, for all trainings. With
``--start`` a training goes on from an adapter; soup.py averages the two.

DIR holds ``model.bin`` and ``tokenizer.json``, ``bank/`` (synthesise.py and bundle.py), ``noise.npy``
(noises.py) and ``noise.flac`` (bundle.py). Leaves ``adapter.npz`` in --out, now and then also before
the end, then of the weights as they are. README.md says how the shipped one was made.
"""

from __future__ import annotations

import argparse
import math
import time
from pathlib import Path

import mixing
import model
import numpy as np
import soundfile
import texts
import torch
from bank import Targets, pad, read_banks
from tokenizers import Tokenizer
from torch import Tensor

from joblog.speech.whisper.features import mel_filters
from joblog.speech.whisper.weights import merge_adapter, parse_weights

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
SHARES = {
    "string": 0.31, texts.DIGITS: 0.10, texts.PHRASE: 0.27, texts.ORDER: 0.11,
    "human": 0.08, texts.CHATTER: 0.08, mixing.NOISE_ONLY: 0.05,
}  # fmt: skip
FRAMES = (300, 350, 350, 400, 400, 450, 500, 600, 800)
RECORDED = 0.35  # share of the noise bank that is the recorded and given noise, repeated
EXAM_ROWS = 96
WARP = (0.9, 1.12)  # range of vocal tracts
FLOOR = (
    0.25  # of the learning rate at the end; what is kept is the mean of the second half's weights
)


class Trainer:
    """Holds the teacher, the banks and the student's changes."""

    def __init__(self, bundle: Path, known: Path, fold: int, seed: int, batch_frames: int) -> None:
        torch.manual_seed(seed)
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        self.batch_frames = batch_frames
        self.base = model.load_base(bundle / "model.bin", DEVICE)
        self.filters = torch.tensor(mel_filters(), device=DEVICE)
        banks = read_banks(bundle / "bank", fold)
        sound = torch.tensor(banks.sound, device=DEVICE)
        targets = Targets(self.base, Tokenizer.from_file(str(bundle / "tokenizer.json")), DEVICE)
        targets.recall(banks.items + banks.held, known)
        items = [item for item in banks.items if item.targets]
        noise = torch.tensor(read_noise(bundle), device=DEVICE)
        self.mixer = mixing.Mixer(sound, items, noise, dict(SHARES), seed, tokens=targets.tokens)
        styles = {n: torch.stack(found).mean(0).tolist() for n, found in targets.styles.items()}
        self.mixer.styles = styles
        held = [item for item in banks.held if item.targets] or items
        self.exam = mixing.Mixer(
            sound, held, noise, {"string": 0.5, "human": 0.5}, 99, tokens=targets.tokens
        )
        self.exam.styles = styles
        print({kind: len(found) for kind, found in self.mixer.kinds.items()}, flush=True)
        self.change = model.Change(self.base)
        self.kept = [value.detach().clone() for value in self.change.parameters()]

    def start_from(self, model_bin: Path, adapter: Path) -> None:
        """Go on from an adapter."""
        weights = parse_weights(model_bin.read_bytes())
        merge_adapter(weights, adapter)
        with torch.no_grad():
            for name, delta in zip(self.change.names, self.change.deltas, strict=True):
                delta.copy_(torch.tensor(weights[name], device=DEVICE) - self.base[name])
        self.kept = [value.detach().clone() for value in self.change.parameters()]

    def examine(self) -> str:
        """Return the student's cross-entropy a sentence on held-out speech, strings and orders."""
        found: dict[str, list[float]] = {}
        for _ in range(4):
            batch = self.exam.batch(EXAM_ROWS, 500 * 160)
            tokens, goal = pad(batch.targets, DEVICE)
            with torch.no_grad(), torch.autocast(DEVICE, torch.bfloat16):
                weights = self.change.merged(self.base)
                heard = model.encode(weights, model.log_mel(batch.spoilt, self.filters))
                logits = model.decode(weights, tokens, heard)
            loss = torch.nn.functional.cross_entropy(
                logits.transpose(1, 2).float(), goal, ignore_index=-1, reduction="none"
            ).sum(1)
            for kind, value in zip(batch.kinds, loss.tolist(), strict=True):
                found.setdefault(kind, []).append(value)
        return " ".join(f"{kind} {np.mean(values):.3f}" for kind, values in sorted(found.items()))

    def spoil(self, sound: Tensor) -> Tensor:
        """Return the student's features: with other vocal tracts, and with parts hidden."""
        rows = len(sound)
        warp = self.mixer.uniform(rows, *WARP)
        warp = torch.where(self.mixer.chance(rows, 0.6), warp, torch.ones_like(warp))
        return model.masked(model.log_mel(sound, self.filters, warp), self.mixer.random)

    def step(self, frames: int) -> tuple[Tensor, dict[str, Tensor]]:
        """Return the loss of one batch and its parts.

        ``written``: cross-entropy of what was said. ``distilled``: divergence from what the teacher
        makes of the clean sound, the whole of it for chatter and for noise without speech.
        ``near``: distance of the encoded sound from the teacher's.
        """
        with torch.no_grad():
            batch = self.mixer.batch(max(4, self.batch_frames // frames), frames * 160)
            hear = model.log_mel(batch.clean, self.filters)
            heard = self.spoil(batch.spoilt)
        write, follow = self.mixer.weights(batch)
        tokens, goal = pad(batch.targets, DEVICE)
        mask = goal >= 0
        with torch.autocast(DEVICE, torch.bfloat16):
            with torch.no_grad():
                known = model.encode(self.base, hear)
                taught = model.decode(self.base, tokens, known, mask)
            weights = self.change.merged(self.base)
            encoded = model.encode(weights, heard)
            logits = model.decode(weights, tokens, encoded, mask)
        said = logits.float().log_softmax(-1)
        teacher = taught.float().log_softmax(-1)
        right = -said.gather(1, goal[mask][:, None])[:, 0]
        apart = (teacher.exp() * (teacher - said)).sum(1)
        share, weight = (part[:, None].expand_as(goal)[mask] for part in (write, follow))
        near = (encoded.float() - known.float()).square().mean() / known.float().square().mean()
        written, distilled = (share * right).mean(), (weight * apart).mean()
        loss = written + distilled + 0.1 * near
        return loss, {"written": written, "distilled": distilled, "near": near}

    def train(self, seconds: float, rate: float, out: Path) -> None:
        """Train for ``seconds``, the learning rate falling along a cosine."""
        optimiser = torch.optim.AdamW(
            self.change.parameters(), lr=rate, weight_decay=0.01, betas=(0.9, 0.98)
        )
        begun, steps, shown, counted = time.time(), 0, 0.0, 0
        while (done := (time.time() - begun) / seconds) < 1:
            falling = FLOOR + (1 - FLOOR) * math.cos(done * math.pi / 2) ** 2
            slope = min(1.0, (steps + 1) / 100) * falling
            for group in optimiser.param_groups:
                group["lr"] = rate * slope
            loss, parts = self.step(self.mixer.rng.choice(FRAMES))
            optimiser.zero_grad(set_to_none=True)
            loss.backward()  # type: ignore[no-untyped-call]
            torch.nn.utils.clip_grad_norm_(self.change.parameters(), 1.0)
            optimiser.step()
            counted += done > 0.5
            with torch.no_grad():  # the plain mean of the weights since half-time
                for mean, value in zip(self.kept, self.change.parameters(), strict=True):
                    mean.lerp_(value, 1 / max(1, counted))
            if time.time() - shown > seconds / 12:
                shown = time.time()
                values = " ".join(f"{k} {float(v.detach()):.3f}" for k, v in parts.items())
                print(
                    f"{shown - begun:5.0f} s step {steps} {values} exam: {self.examine()}",
                    flush=True,
                )
                self.change.save(out / "adapter.npz")  # the machine may be taken away
            steps += 1
        print(f"{steps} steps; exam: {self.examine()}", flush=True)
        with torch.no_grad():
            for mean, value in zip(self.kept, self.change.parameters(), strict=True):
                value.copy_(mean)
        print(f"what is kept; exam: {self.examine()}", flush=True)
        self.change.save(out / "adapter.npz")


def ask_teacher(bundle: Path, out: Path) -> None:
    """Write the targets of every utterance."""
    base = model.load_base(bundle / "model.bin", DEVICE)
    banks = read_banks(bundle / "bank", -1)
    sound = torch.tensor(banks.sound, device=DEVICE)
    targets = Targets(base, Tokenizer.from_file(str(bundle / "tokenizer.json")), DEVICE)
    targets.give(banks.items, sound, torch.tensor(mel_filters(), device=DEVICE))
    targets.keep(banks.items, out)


def read_noise(bundle: Path) -> np.ndarray:
    """Return made noise and the given noise, repeated to its share; int16."""
    made: np.ndarray = np.load(bundle / "noise.npy")
    given, _ = soundfile.read(bundle / "noise.flac", dtype="int16")
    times = max(1, round(RECORDED * len(made) / (1 - RECORDED) / len(given)))
    return np.concatenate([made, np.tile(given, times)])


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundle", type=Path, required=True)
    parser.add_argument("--targets", type=Path, required=True)
    parser.add_argument("--out", type=Path, help="without it, only --targets is written")
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--fold", type=int, default=-1, help="human rows kept for measuring")
    parser.add_argument("--rate", type=float, default=2e-4)
    parser.add_argument("--start", type=Path, help="an adapter to go on from")
    parser.add_argument("--batch-frames", type=int, default=64_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    if given.out is None:
        ask_teacher(given.bundle, given.targets)
        return
    given.out.mkdir(parents=True, exist_ok=True)
    begun = time.time()
    trainer = Trainer(given.bundle, given.targets, given.fold, given.seed, given.batch_frames)
    if given.start:
        trainer.start_from(given.bundle / "model.bin", given.start)
    print(f"{time.time() - begun:.0f} s ready on {DEVICE}", flush=True)
    trainer.train(given.seconds, given.rate, given.out)


if __name__ == "__main__":
    main()
