"""The banks of utterances as the trainer sees them, and the written forms that are their targets."""

from __future__ import annotations

import json
import math
import pickle
from dataclasses import dataclass
from pathlib import Path

import mixing
import model
import numpy as np
import soundfile
import texts
import torch
import torch.nn.functional as nnf
from tokenizers import Tokenizer
from torch import Tensor

RATE = 16_000
LONGEST = 9 * RATE  # samples; longer utterances are left out
FORMS = 14  # written forms of one utterance that are weighed


@dataclass
class Banks:
    """All sound in one int16 array, its utterances, and those of ``fold`` kept for measuring."""

    sound: np.ndarray
    items: list[mixing.Utterance]
    held: list[mixing.Utterance]


def read_banks(folder: Path, fold: int) -> Banks:
    """Read every bank of the folder; rows of ``fold`` (none for -1) aren't trained on."""
    sounds, items, held, offset = [], [], [], 0
    for path in sorted(folder.glob("*.jsonl")):
        found = next(p for kind in (".flac", ".ogg") if (p := path.with_suffix(kind)).is_file())
        sound, _ = soundfile.read(found, dtype="int16")
        for line in path.read_text("utf-8").splitlines():
            row = json.loads(line)
            if fold in row.get("apart", ()):
                continue
            if row["start"] + row["length"] > len(sound) or row["length"] > LONGEST:
                continue
            forms = tuple(dict.fromkeys(row["forms"]))
            if row["kind"] == texts.ORDER:
                forms = texts.order_variants(forms)
            item = mixing.Utterance(
                row["kind"], row["start"] + offset, row["length"], row.get("set", ""),
                forms[:FORMS], row["say"], source(row),
            )  # fmt: skip
            (held if row.get("fold") == fold else items).append(item)
        sounds.append(sound)
        offset += len(sound)
    return Banks(np.concatenate(sounds), items, held)


def source(row: dict[str, str]) -> str:
    """Return what spoke: 'human', 'morph', 'neural' or 'formant' (diphones count with those)."""
    if "class" in row:
        return row["class"]
    return "neural" if row.get("engine") == "kokoro" else "formant"


class Targets:
    """Gives utterances their targets, each form as likely as the unadapted teacher finds it.

    So written style stays the teacher's own. Chatter gets the teacher's transcript.
    """

    def __init__(self, base: model.Weights, tokenizer: Tokenizer, device: str) -> None:
        self.base, self.tokenizer, self.device = base, tokenizer, device
        self.styles: dict[int, list[Tensor]] = {}

    def tokens(self, text: str) -> list[int]:
        """Return the tokens of a text."""
        ids: list[int] = self.tokenizer.encode(text, add_special_tokens=False).ids
        return ids

    @torch.no_grad()
    def give(self, items: list[mixing.Utterance], sound: Tensor, filters: Tensor) -> None:
        """Set targets and their chances."""
        order = sorted((i for i in items if i.kind != texts.WORD), key=lambda item: item.length)
        for start in range(0, len(order), 64):
            part = order[start : start + 64]
            with torch.autocast(self.device, torch.bfloat16):
                encoded = self.encode(part, sound, filters)
                chatter = [row for row, item in enumerate(part) if item.kind == texts.CHATTER]
                if chatter:
                    for row, path in zip(chatter, self.greedy(encoded[chatter]), strict=True):
                        part[row].targets, part[row].chances = [path], [1.0]
                self.weigh(part, encoded)
        for item in items:
            if item.kind == texts.WORD:
                item.targets = [self.tokens(form) for form in item.forms]
                item.chances = [1.0] * len(item.targets)

    def keep(self, items: list[mixing.Utterance], path: Path) -> None:
        """Write targets, chances and styles."""
        found = {item.start: (item.targets, item.chances) for item in items}
        with path.open("wb") as file:
            pickle.dump((found, self.styles), file)

    def recall(self, items: list[mixing.Utterance], path: Path) -> None:
        """Set what ``keep`` wrote; the banks must be the same."""
        with path.open("rb") as file:
            found, self.styles = pickle.load(file)
        for item in items:
            item.targets, item.chances = found[item.start]

    def encode(self, items: list[mixing.Utterance], sound: Tensor, filters: Tensor) -> Tensor:
        """Encode utterances, unspoilt, in the shortest input that holds them."""
        longest = max(item.length for item in items) + RATE // 2
        frames = max(400, math.ceil(longest / 320) * 2)
        batch = torch.zeros(len(items), frames * 160, device=self.device)
        for row, item in enumerate(items):
            batch[row, 3200 : 3200 + item.length] = (
                sound[item.start : item.start + item.length].float() / 32768
            )
        return model.encode(self.base, model.log_mel(batch, filters))

    def weigh(self, items: list[mixing.Utterance], encoded: Tensor) -> None:
        """Score every form of every item that has forms."""
        rows = [
            (row, self.tokens(form))
            for row, item in enumerate(items)
            if item.kind != texts.CHATTER
            for form in item.forms
        ]
        if not rows:
            return
        scores = self.score([path for _, path in rows], encoded, [row for row, _ in rows])
        for row, item in enumerate(items):
            mine = [number for number, (owner, _) in enumerate(rows) if owner == row]
            if not mine:
                continue
            chances = (scores[mine].float() / 2).softmax(0)  # flattened: the teacher is too sure
            item.targets = [rows[number][1] for number in mine]
            item.chances = chances.tolist()
            if item.kind == texts.DIGITS and len(mine) == 14:
                count = len(item.say.replace(",", "").split())
                self.styles.setdefault(count, []).append(chances)

    def score(self, paths: list[list[int]], encoded: Tensor, owners: list[int]) -> Tensor:
        """Return the teacher's log-probability of each path given its owner's sound."""
        found = []
        for start in range(0, len(paths), 256):
            tokens, goal = pad(paths[start : start + 256], self.device)
            logits = model.decode(self.base, tokens, encoded[owners[start : start + 256]])
            loss = nnf.cross_entropy(
                logits.transpose(1, 2).float(), goal, ignore_index=-1, reduction="none"
            )
            found.append(-loss.sum(1))
        return torch.cat(found).cpu()

    def greedy(self, encoded: Tensor, longest: int = 48) -> list[list[int]]:
        """Transcribe freely."""
        tokens = torch.tensor([model.PROMPT], device=self.device).repeat(len(encoded), 1)
        for _ in range(longest):
            logits = model.decode(self.base, tokens, encoded)[:, -1]
            logits[:, model.END + 1 :] = -1e9
            following = logits.argmax(-1)
            following[(tokens[:, 2:] == model.END).any(1)] = model.END
            tokens = torch.cat([tokens, following[:, None]], 1)
        paths = tokens[:, 2:].tolist()
        return [path[: path.index(model.END)] if model.END in path else path for path in paths]


def pad(paths: list[list[int]], device: str) -> tuple[Tensor, Tensor]:
    """Return decoder input and goal (-1 where nothing is learnt) for token paths."""
    longest = max(map(len, paths)) + 2
    tokens = torch.full((len(paths), longest), model.END)
    goal = torch.full((len(paths), longest), -1)
    for row, path in enumerate(paths):
        tokens[row, : len(path) + 2] = torch.tensor([*model.PROMPT, *path])
        goal[row, 1 : len(path) + 2] = torch.tensor([*path, model.END])
    return tokens.to(device), goal.to(device)
