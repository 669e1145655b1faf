"""Training examples, made on the GPU: voices cut together, bent, filtered, reverberated and drowned.

A batch holds, for each row, the sound as a clean microphone would hear it (for the teacher) and as a
shop or a telephone would (for the student), and what should be written down.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import texts
import torch
from torch import Tensor

RATE = 16_000
FRAME = 2048  # the frame whose loudest instance sets the signal-to-noise ratio
NOISE_ONLY = "noise"
SOURCES = {
    "human": 0.4,
    "morph": 0.15,
    "neural": 0.28,
    "formant": 0.17,
}  # shares of strings cut together


@dataclass
class Utterance:
    """One utterance in the bank; ``targets`` holds token lists with their probabilities."""

    kind: str
    start: int
    length: int
    group: str  # words of one voice share a group
    forms: tuple[str, ...]
    say: str
    source: str  # 'human', 'morph', 'neural' or 'formant'
    targets: list[list[int]] = field(default_factory=list)
    chances: list[float] = field(default_factory=list)


@dataclass
class Batch:
    """Clean and spoilt sound (rows, samples), tokens (rows, length, END-padded), and row weights."""

    clean: Tensor
    spoilt: Tensor
    targets: list[list[int]]
    kinds: list[str]


class Mixer:
    """Draws batches from a bank of utterances and a bank of noises, both int16 on the GPU."""

    def __init__(
        self,
        sound: Tensor,
        bank: list[Utterance],
        noise: Tensor,
        shares: dict[str, float],
        seed: int,
        *,
        tokens: Callable[[str], list[int]],
    ) -> None:
        self.sound, self.noise, self.tokens = sound, noise, tokens
        self.device = sound.device
        self.rng = random.Random(seed)
        self.random = torch.Generator(device=self.device)
        self.random.manual_seed(seed)
        self.kinds: dict[str, list[Utterance]] = {}
        self.sets: dict[str, dict[str, list[Utterance]]] = {}
        self.voices: dict[str, list[str]] = {}  # sets of digits by what spoke them
        for item in bank:
            self.kinds.setdefault(item.kind, []).append(item)
            if item.kind == texts.WORD and item.group:
                self.sets.setdefault(item.group, {}).setdefault(item.say, []).append(item)
        for name, words in self.sets.items():
            if len(words) >= 9:
                speaker = next(iter(words.values()))[0].source
                self.voices.setdefault(speaker, []).append(name)
        spoken = {*self.kinds, "string" if self.voices else "", NOISE_ONLY}
        self.shares = {kind: share for kind, share in shares.items() if kind in spoken}
        self.styles: dict[int, list[float]] = {}  # see ``string``

    def uniform(self, rows: int, low: float, high: float) -> Tensor:
        """Draw one number a row, shape (rows, 1)."""
        return torch.rand(rows, 1, device=self.device, generator=self.random) * (high - low) + low

    def chance(self, rows: int, share: float) -> Tensor:
        """Draw True for about ``share`` of the rows, shape (rows, 1)."""
        return self.uniform(rows, 0, 1) < share

    def string(self, room: int) -> tuple[list[tuple[Utterance, int, int, float]], list[str]]:
        """Cut single digits of one voice together: (word, skip, gap before, gain) and the words.

        The words are cut close or a little into, as in hand-labelled digits; gaps are mostly short.
        """
        speakers = list(self.voices)
        speaker = self.rng.choices(speakers, [SOURCES[name] for name in speakers])[0]
        words = self.sets[self.rng.choice(self.voices[speaker])]
        count = self.rng.choices([1, 2, 3, 4, 5], [8, 27, 30, 30, 5])[0]
        parts: list[tuple[Utterance, int, int, float]] = []
        used = 0
        said = []
        for place in range(count):
            word = self.rng.choice(
                [name for name in words if name != "oh" or self.rng.random() < 0.3]
            )
            item = self.rng.choice(words[word])
            skip = int(self.rng.uniform(0, 0.06) * RATE)
            gap = self.rng.choice(
                [self.rng.uniform(0, 0.1), self.rng.uniform(0.05, 0.3), self.rng.uniform(0.1, 0.5)]
            )
            before = 0 if place == 0 else int(gap * RATE)
            length = item.length - 2 * skip
            if used + before + length > room:
                break
            used += before + length
            parts.append((item, skip, before, 10 ** (self.rng.uniform(-4, 4) / 20)))
            said.append(word)
        return parts, said

    def draw(
        self, rows: int, samples: int
    ) -> tuple[list[list[tuple[Utterance, int, int, float]]], list[list[int]], list[str]]:
        """Draw what each row says: its parts, its target tokens and its kind."""
        names = self.rng.choices(list(self.shares), list(self.shares.values()), k=rows)
        plans, targets, kinds = [], [], []
        room = int(samples * 0.86) - RATE // 4
        for wanted in names:
            # what is cut off isn't said: where nothing of a kind is short enough, another kind is
            chosen = self.fitting(wanted, room)
            kind = wanted
            if chosen is None and wanted != NOISE_ONLY:
                kind = "string" if self.voices else NOISE_ONLY
            if kind == NOISE_ONLY:
                plans.append([])
                targets.append([])
            elif kind == "string":
                parts, said = self.string(room)
                forms = texts.digit_forms(said)
                chances = self.styles.get(len(parts)) or [1.0] * len(forms)
                plans.append(parts)
                targets.append(self.tokens(self.rng.choices(forms, chances)[0]))
            else:
                assert chosen is not None
                plans.append([(chosen, 0, 0, 1.0)])
                targets.append(self.rng.choices(chosen.targets, chosen.chances)[0])
            kinds.append(kind)
        return plans, targets, kinds

    def fitting(self, kind: str, room: int) -> Utterance | None:
        """Draw an utterance of a kind that is shorter than ``room`` samples; None if there is none."""
        short = [item for item in self.rng.choices(self.kinds.get(kind, [None]), k=12) if item]
        return next((item for item in short if item.length < room), None)

    def weights(self, batch: Batch) -> tuple[Tensor, Tensor]:
        """Return what the written form and the teacher's opinion count for each row.

        Rows of noise, and some of chatter, get a command that nobody spoke as their target: there
        only the teacher's opinion of it counts.
        """
        write = torch.ones(len(batch.kinds), device=self.device)
        follow = torch.full((len(batch.kinds),), 0.1, device=self.device)
        for row, kind in enumerate(batch.kinds):
            if kind == NOISE_ONLY or (kind == texts.CHATTER and self.rng.random() < 0.3):
                kinds = [k for k in (texts.DIGITS, texts.PHRASE, "human") if k in self.kinds]
                other = self.rng.choice(self.kinds[self.rng.choice(kinds)])
                batch.targets[row] = self.rng.choices(other.targets, other.chances)[0]
                write[row], follow[row] = 0.0, 1.0
            elif kind == texts.CHATTER:
                write[row], follow[row] = 0.3, 1.0
        return write, follow

    def place(
        self, plans: list[list[tuple[Utterance, int, int, float]]], samples: int
    ) -> tuple[Tensor, Tensor]:
        """Lay the parts of each row out in time; returns the sound and each row's end in samples."""
        rows = len(plans)
        time = torch.arange(samples, device=self.device).float()[None]
        pace = self.uniform(rows, 0.88, 1.14)
        row_sound = torch.zeros(rows, samples, device=self.device)
        cursor = np.array(
            [self.rng.choice([0.02, 0.1, 0.3, 0.6]) * self.rng.random() * RATE for _ in plans]
        )
        paces = pace[:, 0].tolist()
        for number in range(max((len(plan) for plan in plans), default=0)):
            start, begin, length, gain = (np.zeros(rows) for _ in range(4))
            for row, plan in enumerate(plans):
                if number < len(plan):
                    item, skip, before, loud = plan[number]
                    size = (item.length - 2 * skip) / paces[row]
                    begin[row] = cursor[row] + before / paces[row]
                    start[row], length[row], gain[row] = item.start + skip, size, loud
                    cursor[row] = begin[row] + size
            columns = [
                torch.tensor(part, device=self.device, dtype=torch.float64)[:, None]
                for part in (start, begin, length, gain)
            ]
            since = time.double() - columns[1]
            inside = (since >= 0) & (since < columns[2])
            source = columns[0] + since * pace.double()
            index = source.clamp(0, len(self.sound) - 2).long()
            share = (source - index).clamp(0, 1).float()
            value = self.sound[index].float() * (1 - share) + self.sound[index + 1].float() * share
            edge = (since.clamp(min=0) / 80).clamp(max=1) * (
                (columns[2] - since).clamp(min=0) / 80
            ).clamp(max=1)
            row_sound += torch.where(
                inside, value * edge.float() * columns[3].float(), torch.zeros_like(value)
            )
        for row, plan in enumerate(plans):
            if not plan:
                cursor[row] = self.rng.uniform(0.5, 0.9) * samples
        tail = np.array(
            [self.rng.choice([0.05, 0.3, 0.8]) * self.rng.random() * RATE for _ in plans]
        )
        end = torch.tensor(np.minimum(cursor + tail, samples), device=self.device).float()[:, None]
        return row_sound / 32768.0, end

    def filters(self, rows: int, bins: int) -> Tensor:
        """Return a gain for each frequency: telephone bands, microphones, distance."""
        hertz = torch.linspace(0, RATE / 2, bins, device=self.device)[None]
        knots = (
            torch.randn(rows, 1, 10, device=self.device, generator=self.random)
            * self.uniform(rows, 0, 6)[:, None]
        )
        decibel = torch.nn.functional.interpolate(
            knots, size=bins, mode="linear", align_corners=True
        )[:, 0]
        gain = 10 ** (decibel / 20)
        top = torch.where(
            self.chance(rows, 0.45),
            self.uniform(rows, 3300, 4000),
            torch.full((rows, 1), 8000.0, device=self.device),
        )
        low = torch.where(
            self.chance(rows, 0.3),
            self.uniform(rows, 60, 350),
            torch.zeros(rows, 1, device=self.device),
        )
        gain = gain * torch.sigmoid((top - hertz) / self.uniform(rows, 5, 60))
        return gain * torch.sigmoid((hertz - low) / 15 + 3)

    def rooms(self, rows: int, size: int) -> Tensor:
        """Return the spectrum of a random reverberation for each row (1 for most)."""
        length = 8000
        time = torch.arange(length, device=self.device)[None] / RATE
        late = torch.randn(rows, length, device=self.device, generator=self.random)
        late = late * torch.exp(-6.9 * time / self.uniform(rows, 0.1, 0.7)) * (time > 0.002)
        late = (
            late / (late.norm(dim=1, keepdim=True) + 1e-9) * 10 ** (self.uniform(rows, -22, 1) / 20)
        )
        late = late * self.chance(rows, 0.4)
        late[:, 0] = 1.0
        return torch.fft.rfft(late, size)

    def noises(self, rows: int, samples: int) -> Tensor:
        """Return noise for each row: a stretch of the noise bank, or talkers at once."""
        pace = self.uniform(rows, 0.75, 1.35)
        reach = int(samples * 1.35) + 2
        start = (self.uniform(rows, 0, 1) * (len(self.noise) - reach)).double()
        source = start + torch.arange(samples, device=self.device)[None] * pace.double()
        sound = self.noise[source.long()].float() / 32768.0
        talked = self.chance(rows, 0.08)[:, 0].nonzero()[:, 0]
        babble = torch.zeros(len(talked), samples, device=self.device)
        for _ in range(5):
            start = self.uniform(len(talked), 0, 1) * (len(self.sound) - samples - 1)
            index = start.long() + torch.arange(samples, device=self.device)[None]
            babble += self.sound[index].float() / 32768.0 * self.uniform(len(talked), 0.2, 1)
        sound[talked] = babble
        return sound

    def batch(self, rows: int, samples: int) -> Batch:
        """Make one batch of ``rows`` rows of ``samples`` samples."""
        plans, targets, kinds = self.draw(rows, samples)
        clean, end = self.place(plans, samples)
        time = torch.arange(samples, device=self.device)[None]
        within = (time < end).float()
        silent = torch.tensor([not plan for plan in plans], device=self.device)[:, None]
        touched = self.chance(rows, 0.85) | silent
        spectrum = torch.fft.rfft(clean, samples * 2)
        bent = spectrum * self.filters(rows, samples + 1) * self.rooms(rows, samples * 2)
        speech = (
            torch.where(touched, torch.fft.irfft(bent, samples * 2)[:, :samples], clean) * within
        )
        noise = self.noises(rows, samples) * within
        hard = torch.where(
            self.chance(rows, 0.65), self.uniform(rows, 0, 12), self.uniform(rows, -3, 30)
        )
        loud, hum = loudest(speech), loudest(noise)
        scale = (loud / (hum * 10 ** (hard / 10)).clamp(min=1e-12)).sqrt()
        scale = torch.where(silent, torch.ones_like(scale), scale)
        quiet = ~silent & self.chance(rows, 0.12)
        mixed = speech + noise * scale * ~quiet
        mixed = self.telephone(mixed, rows) * within
        floor = torch.randn(
            rows, samples, device=self.device, generator=self.random
        ) * 10 ** self.uniform(rows, -5, -3)
        mixed = mixed / mixed.abs().amax(1, keepdim=True).clamp(min=1e-6) + floor * within * touched
        level = torch.where(
            self.chance(rows, 0.5),
            torch.full((rows, 1), 0.5, device=self.device),
            self.uniform(rows, 0.03, 1),
        )
        level = torch.where(self.chance(rows, 0.04), self.uniform(rows, 1, 4), level)
        clean = clean * within
        clean = clean / clean.abs().amax(1, keepdim=True).clamp(min=1e-6) * 0.5
        spoilt = (mixed * level).clamp(-1, 1)
        clean = torch.where(silent, spoilt, clean)
        return Batch(clean, spoilt, targets, kinds)

    def telephone(self, sound: Tensor, rows: int) -> Tensor:
        """Send some rows through eight-bit mu-law (ITU-T G.711's curve, mu = 255)."""
        peak = sound.abs().amax(1, keepdim=True).clamp(min=1e-6)
        level = sound / peak
        bent = level.sign() * torch.log1p(255 * level.abs()) / math.log(256)
        steps = (bent * 127).round() / 127
        back = steps.sign() * torch.expm1(steps.abs() * math.log(256)) / 255
        return torch.where(self.chance(rows, 0.1), back * peak, sound)


def loudest(sound: Tensor) -> Tensor:
    """Return the energy of each row's loudest whole frame, shape (rows, 1)."""
    frames = sound.shape[1] // FRAME
    return (
        sound[:, : frames * FRAME]
        .reshape(sound.shape[0], frames, FRAME)
        .square()
        .sum(2)
        .amax(1, keepdim=True)
    )
