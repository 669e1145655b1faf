"""Put together what training needs, on a machine that has the recordings.

    bundle.py --speech FOLDER --out DIR [--voices FOLDER] [--noise-share 0.55]

FOLDER holds ``commands/``, ``digits/`` and ``noise/`` as ``joblog bench speech`` takes them. Human
recordings become banks like those of synthesise.py: ``DIR/bank/NAME.flac`` and NAME.jsonl. Each
human row says its ``fold`` (0 to 3): recordings number fold, fold + 4, ... of the orders, and one
speaker of the digits, so that four trainings measure what they never heard. Of each noise only the
first part goes in; the rest measures. ``--voices`` are folders with bank.jsonl (file, text, speaker,
source, human, and parents where a voice was morphed from others) of further recordings.
"""

from __future__ import annotations

import argparse
import json
import random
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import texts
from synthesise import trim

from joblog.speech.bench import slots_of
from joblog.speech.engines import get_engine
from joblog.speech.grammar import Grammar

RATE = 16_000
GAP = RATE // 10
FOLDS = 4
Row = dict[str, Any]


class Bank:
    """Writes utterances one after the other."""

    def __init__(self, out: Path, name: str) -> None:
        out.mkdir(parents=True, exist_ok=True)
        self.sound = soundfile.SoundFile(str(out / f"{name}.flac"), "w", RATE, 1)
        self.index = (out / f"{name}.jsonl").open("w", encoding="utf-8")
        self.position = 0

    def add(self, samples: np.ndarray, row: Row) -> None:
        """Append one utterance, its peak brought to 0.5."""
        peak = float(np.abs(samples).max(initial=0.0))
        if peak == 0.0 or len(samples) < RATE // 20:
            return
        level = (samples * (0.5 / peak)).astype(np.float32)
        row = {**row, "start": self.position, "length": len(samples)}
        self.index.write(json.dumps(row, ensure_ascii=False) + "\n")
        self.sound.write(np.concatenate([level, np.zeros(GAP, np.float32)]))
        self.position += len(samples) + GAP

    def close(self) -> None:
        """Finish both files."""
        self.sound.close()
        self.index.close()
        print(f"{self.index.name}: {self.position / RATE / 60:.1f} min")


def orders(folder: Path, bank: Bank) -> None:
    """Add the human orders, with the words that joblog hears in the clean sound.

    The labels hold slots, not words: a recording whose heard slots differ from them is left out.
    """
    labels = json.loads((folder / "labels.json").read_text("utf-8"))
    engine, grammar = get_engine(), Grammar.from_file(folder / "commands.gram")
    slots = frozenset(slot for found in labels.values() for slot in found)
    for number, name in enumerate(sorted(labels)):
        samples = read(folder / name)
        heard = engine.hear(samples, grammar).text
        if slots_of(grammar, heard, slots) != labels[name]:
            print(f"left out: {name}")
            continue
        letters = heard.replace("i'd", "I'd").replace("can i", "can I").replace("may i", "may I")
        letters = letters.replace("i want", "I want")
        figures = letters
        for word, figure in (("eight", "8"), ("twelve", "12"), ("sixteen", "16"), ("twenty", "20")):
            figures = figures.replace(f"{word} ounce", f"{figure} ounce")
        forms = texts.order_variants(texts.written(letters, figures))
        row = {"kind": "human", "say": heard, "forms": forms, "class": "human"}
        bank.add(trim(samples), {**row, "fold": number % FOLDS})


def digits(folder: Path, bank: Bank) -> None:
    """Add single digits, each speaker a set and a fold of its own."""
    speakers = speakers_of(folder)
    for path in sorted(folder.glob("*.flac")):
        digit, speaker, _ = path.stem.split("_")
        word = texts.ONES[int(digit)]
        row = {"kind": texts.WORD, "say": word, "forms": texts.digit_forms([word])}
        row |= {"set": f"human-{speaker}", "class": "human", "fold": speakers.index(speaker)}
        bank.add(read(path), row)


def speakers_of(folder: Path) -> list[str]:
    """Return who says the single digits; their place is their fold."""
    return sorted({path.stem.split("_")[1] for path in folder.glob("*.flac")})


def voices(folder: Path, bank: Bank, speakers: list[str]) -> None:
    """Add further recordings that say digits, numbers or phrases."""
    rng = random.Random(1)
    for line in (folder / "bank.jsonl").read_text("utf-8").splitlines():
        entry = json.loads(line)
        words = entry["text"].lower().replace("-", " ").replace(",", " ").split()
        parents = entry.get("parents", [])
        kind = "morph" if parents else "human" if entry.get("human") else "neural"
        row: Row = {"say": " ".join(words), "class": kind, "source": entry["source"]}
        if apart := [speakers.index(parent) for parent in parents if parent in speakers]:
            row["apart"] = (
                apart  # a child of a speaker who is kept for measuring is kept out as well
            )
        if words and all(word in texts.DIGIT_WORDS for word in words):
            row["kind"] = texts.WORD if len(words) == 1 else texts.DIGITS
            row["forms"] = texts.digit_forms(words)
            if len(words) == 1:
                row["set"] = f"{entry['source']}-{entry['speaker']}"
        elif 1 <= len(words) <= 14:
            row |= {"kind": texts.PHRASE, "forms": texts.spelt(tuple(words), rng)}
        else:
            continue
        bank.add(read(folder / "bank" / Path(entry["file"]).name), row)


def read(path: Path) -> np.ndarray:
    """Read a sound as float32, 16 kHz."""
    samples: np.ndarray = soundfile.read(path, dtype="float32")[0]
    return samples


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--voices", type=Path, nargs="*", default=[])
    parser.add_argument("--noise-share", type=float, default=0.55)
    given = parser.parse_args()
    target = given.out / "bank"
    for name, make in (("commands", orders), ("digits", digits)):
        bank = Bank(target, f"human-{name}")
        make(given.speech / name, bank)
        bank.close()
    for number, folder in enumerate(given.voices):
        bank = Bank(target, f"voices{number}")
        voices(folder, bank, speakers_of(given.speech / "digits"))
        bank.close()
    parts = [read(path) for path in sorted((given.speech / "noise").glob("*.flac"))]
    kept = [part[: int(len(part) * given.noise_share)] for part in parts]
    soundfile.write(given.out / "noise.flac", np.concatenate(kept), RATE)


if __name__ == "__main__":
    main()
