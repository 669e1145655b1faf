"""Fit ranking and confidence on speech that the trained weights never heard.

    crossfit.py gather --bundle DIR --models OUT --fold K --part I --parts N --out CASES.pickle
    crossfit.py fit CASES.pickle ... [--out calibration.json]

OUT holds ``fold0/adapter.npz``, ``fold0/second_ear.npz`` and so on: four trainings, each without one
speaker's digits, a quarter of the human orders and a quarter of the job phrases. ``gather`` lets each
of them analyse just what it missed, in the second part of the noises (training had the first), and
sound that holds no command. ``fit`` fits on three folds and judges on the fourth, four times, prints
that, and fits on all. The shipped weights are trained on everything, so nothing here was measured on
them: they should do a little better.
"""

from __future__ import annotations

import argparse
import json
import math
import pickle
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import texts
from numpy.typing import NDArray

from joblog.audio.mixing import mix
from joblog.audio.types import RATE, Samples
from joblog.speech.accept import Stakes
from joblog.speech.bench import DIGITS, TOOLS, Condition, Item, cut, slots_of
from joblog.speech.fit import Case, evidence_of, expected_calibration_error, fit, gather
from joblog.speech.grammar import Grammar
from joblog.speech.meaning import grouped, meaning
from joblog.speech.second_ear import SecondEar
from joblog.speech.shipped import note_shipped
from joblog.speech.whisper.engine import WhisperEngine

FOLDS = 4
SPELLING = f"""#JSGF V1.0;
grammar spelling;
<sign> = {" | ".join([*texts.ALPHABET, *DIGITS])};
<two> = <sign> <sign>;
public <spelled> = <two> [<sign>] | <two> <two> [<sign>] | <two> <two> <two>;
"""
STRINGS = 100  # digit strings a fold and condition
Row = dict[str, Any]


@dataclass
class Material:
    """Everything that measures one fold."""

    rows: list[tuple[Row, Samples]]  # human and synthetic utterances of this fold
    noises: dict[str, Samples]  # second parts
    chatter: list[Samples]
    orders: Grammar
    labels: dict[str, dict[str, str]]
    digits: Grammar
    sheets: list[Grammar]
    spelling: Grammar


def read_material(bundle: Path, fold: int) -> Material:
    """Read the bundle's rows of one fold, noises and grammars."""
    rows = []
    for path in sorted((bundle / "bank").glob("*.jsonl")):
        mine = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
        mine = [row for row in mine if row.get("fold") == fold]
        if not mine:
            continue
        found = next(p for kind in (".flac", ".ogg") if (p := path.with_suffix(kind)).is_file())
        sound, _ = soundfile.read(found, dtype="float32")
        rows += [(row, sound[row["start"] : row["start"] + row["length"]]) for row in mine]
    exam = bundle / "exam"
    noises = {
        p.stem: soundfile.read(p, dtype="float32")[0] for p in sorted((exam / "noise").iterdir())
    }
    chatter = [
        soundfile.read(p, dtype="float32")[0] for p in sorted((exam / "chatter").glob("*.flac"))
    ]
    sheets = json.loads((exam / "sheets.json").read_text("utf-8"))
    return Material(
        rows, noises, chatter,
        Grammar.from_file(exam / "commands.gram"),
        json.loads((exam / "labels.json").read_text("utf-8")),
        Grammar.from_file(exam / "digits.gram"),
        [Grammar.from_text(text) for text in sheets],
        Grammar.from_text(SPELLING),
    )  # fmt: skip


def strings(material: Material, fold: int) -> Iterator[Condition]:
    """Yield strings of two to four digits of the fold's speaker, clean and with each tool."""
    takes: dict[str, list[Samples]] = {}
    for row, sound in material.rows:
        if row["kind"] == "word" and row.get("class") == "human":
            takes.setdefault(row["say"], []).append(sound)
    for noise, snr in [("", 0), *((n, s) for n in TOOLS for s in (6, 12))]:
        rng = np.random.default_rng(100 + fold)
        items = []
        for _ in range(STRINGS if snr < 12 else STRINGS // 4):
            digits = [DIGITS[d] for d in rng.integers(0, 10, int(rng.integers(2, 5)))]
            parts = [np.zeros(RATE // 4, np.float32)]
            for digit in digits:
                parts.append(takes[digit][int(rng.integers(len(takes[digit])))])
                parts.append(np.zeros(int(rng.uniform(0.08, 0.25) * RATE), np.float32))
            sound = np.concatenate([*parts, np.zeros(RATE // 5, np.float32)])
            if noise:
                sound = mix(sound, material.noises[noise], snr, rng)
            items.append(Item(sound, " ".join(digits).__eq__))
        yield Condition(f"digits {noise or 'clean'} {snr or ''}".strip(), material.digits, items)


def orders(material: Material, fold: int) -> Iterator[Condition]:
    """Yield the human orders of the fold in kitchen noise."""
    slots = frozenset(slot for found in material.labels.values() for slot in found)
    grammar = material.orders

    def judge(wanted: dict[str, str]) -> Any:
        return lambda text: slots_of(grammar, text, slots) == wanted

    spoken = [(row, sound) for row, sound in material.rows if row["kind"] == "human"]
    for snr in (6, 9, 12, 15, 18, 21, 24):
        rng = np.random.default_rng(1000 * fold + snr)
        items = [
            Item(
                mix(sound, material.noises["kitchen-a"], snr, rng),
                judge(slots_of(grammar, row["say"], slots)),
            )
            for row, sound in spoken
        ]
        yield Condition(f"orders {snr}", grammar, items)


def phrases(material: Material, fold: int) -> Iterator[Condition]:
    """Yield job phrases in tool noise, and each sort of sentence against a grammar without it."""
    rng = np.random.default_rng(50 + fold)
    spoken = [(row, sound) for row, sound in material.rows if row["kind"] == "phrase"]
    padded = [(row, np.pad(sound, (RATE // 4, RATE // 4))) for row, sound in spoken]
    loud = [
        (row, mix(s, material.noises[TOOLS[int(rng.integers(4))]], rng.uniform(6, 20), rng))
        for row, s in padded
    ]

    def judge(say: str, grammar: Grammar) -> Any:
        wanted = meaning(tuple(say.split()), grammar)
        return lambda text: meaning(tuple(text.split()), grammar) == wanted

    for number, grammar in enumerate(material.sheets):
        for name, sounds in (("phrases quiet", padded), ("phrases in tools", loud)):
            items = [
                Item(sound, judge(row["say"], grammar))
                for at, (row, sound) in enumerate(sounds)
                if at % 2 == (name == "phrases quiet") and number == home(row, material.sheets)
            ]
            if items:
                yield Condition(name, grammar, items)
    letters = [
        Item(sound, row["say"].__eq__)
        for row, sound in loud
        if set(row["say"].split()) & set(texts.ALPHABET)
    ]
    if letters:
        yield Condition("spelling alphabet in tools", material.spelling, letters)
    human = [sound for row, sound in material.rows if row["kind"] == "human"]
    yield Condition(
        "orders, no job phrase", material.sheets[0], [Item(s, None) for s in human[::2]]
    )
    yield Condition("phrases, no order", material.orders, [Item(s, None) for _, s in loud[::4]])


def home(row: Row, sheets: list[Grammar]) -> int:
    """Return the first sheet whose grammar holds the sentence, -1 for none."""
    return next((i for i, g in enumerate(sheets) if g.parse(row["say"]) is not None), -1)


def nothing(material: Material, fold: int) -> Iterator[Condition]:
    """Yield talk, tools and silence in which nobody speaks a command."""
    talk = [piece for sound in material.chatter for piece in cut(sound)][fold::FOLDS]
    tools = [piece for sound in material.noises.values() for piece in cut(sound)][fold::FOLDS]
    for name, grammar in (
        ("orders", material.orders), ("digits", material.digits), ("job", material.sheets[fold]),
    ):  # fmt: skip
        yield Condition(f"chatter, {name} grammar", grammar, [Item(s, None) for s in talk])
        yield Condition(f"tools alone, {name} grammar", grammar, [Item(s, None) for s in tools])


def analyse(bundle: Path, models: Path, fold: int, part: tuple[int, int], out: Path) -> None:
    """Analyse one part of a fold's material with the weights that did not have it."""
    material = read_material(bundle, fold)
    mine = models / f"fold{fold}"
    second = SecondEar(head=mine / "second_ear.npz")
    engine = WhisperEngine(bundle, mine / "adapter.npz", threads=1, second=second)
    rows = []
    for make in (strings, orders, phrases, nothing):
        for row in make(material, fold):
            mine = row.items[part[0] :: part[1]]
            if mine:
                rows.append(Condition(f"{row.name}", row.grammar, mine))
    cases = gather(engine, rows)
    with out.open("wb") as file:
        pickle.dump([(fold, case) for case in cases], file)


def judge(paths: list[Path], out: Path | None, diagram: Path | None) -> None:
    """Cross-validate over the folds, print the figures, and write the fit on all."""
    found: list[tuple[int, Case]] = []
    for path in paths:
        with path.open("rb") as file:
            found += pickle.load(file)
    chances, rights, rows = [], [], []
    for held in range(FOLDS):
        fitted = fit([case for fold, case in found if fold != held])
        for _, case in ((f, c) for f, c in found if f == held):
            evidence, right = evidence_of(case, fitted)
            best = grouped(fitted.merits(case.measures), case.meanings)[0].best
            chances.append(fitted.probability(evidence))
            rights.append(right)
            rows.append((case.name, case.words[best]))
    chance, right = np.array(chances), np.array(rights)
    table(chance, right, rows)
    error = expected_calibration_error(chance, right)
    print(f"{len(found)} cases, expected calibration error {error:.4f}")
    if diagram is not None:
        diagram.write_text(reliability(chance, right), encoding="utf-8")
    if out is not None:
        final = fit([case for _, case in found])
        content = {"rank": dict(final.rank), "confidence": dict(final.confidence)}
        out.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
        note_shipped(out)


def table(
    chance: NDArray[np.float64], right: NDArray[np.bool_], rows: list[tuple[str, tuple[str, ...]]]
) -> None:
    """Print for each condition what joblog would accept at its own thresholds."""
    stakes = Stakes()
    taken = np.array([p >= stakes.threshold(w) for p, (_, w) in zip(chance, rows, strict=True)])
    for name in dict.fromkeys(name for name, _ in rows):
        mine = np.array([other == name for other, _ in rows])
        count = mine.sum()
        good, bad = (mine & taken & right).sum(), (mine & taken & ~right).sum()
        asked = (mine & ~taken & right).sum()
        print(
            f"  {name:32} n={count:4}  {good / count:6.1%} accepted and right, {bad:3} "
            f"({bad / count:.2%}) silently wrong, {asked / count:5.1%} asked though right, "
            f"best sentence right {(good + asked) / count:6.1%}"
        )


def reliability(chance: NDArray[np.float64], right: NDArray[np.bool_], bins: int = 10) -> str:
    """Return the reliability diagram as SVG: confidence said across, share right upwards."""
    size, edge = 300, 40
    marks = []
    for number in range(bins):
        low = number / bins
        inside = (chance >= low) & (chance < low + 1 / bins + 1e-9 * (number == bins - 1))
        if inside.sum() >= 5:
            x = edge + size * float(chance[inside].mean())
            y = edge + size * (1 - float(right[inside].mean()))
            spread = size * 1.96 * math.sqrt(0.25 / inside.sum())
            marks.append(
                f'<path d="M{x:.1f} {max(edge, y - spread):.1f}V{min(edge + size, y + spread):.1f}" '
                f'stroke="#777"/><circle cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
                f'<text x="{x + 7:.1f}" y="{y + 14:.1f}">{inside.sum()}</text>'
            )
    whole = size + 2 * edge
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole} {whole}" width="{whole}" '
        'font-family="sans-serif" font-size="11" role="img" aria-label="Reliability diagram">'
        f'<rect width="{whole}" height="{whole}" fill="#fff"/>'
        f'<path d="M{edge} {edge}V{edge + size}H{edge + size}" fill="none" stroke="#000"/>'
        f'<path d="M{edge} {edge + size}L{edge + size} {edge}" stroke="#777" stroke-dasharray="4"/>'
        f'{"".join(marks)}<text x="{edge + 60}" y="{whole - 12}">confidence that joblog stated</text>'
        f'<text transform="translate(16 {edge + 210}) rotate(-90)">share that was right</text>'
        f'<text x="{edge - 4}" y="{edge + size + 14}">0</text>'
        f'<text x="{edge + size - 4}" y="{edge + size + 14}">1</text>'
        f'<text x="{edge - 14}" y="{edge + 5}">1</text></svg>\n'
    )


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    steps = parser.add_subparsers(dest="step", required=True)
    collect = steps.add_parser("gather")
    for name in ("--bundle", "--models", "--out"):
        collect.add_argument(name, type=Path, required=True)
    for name in ("--fold", "--part", "--parts"):
        collect.add_argument(name, type=int, required=True)
    fitting = steps.add_parser("fit")
    fitting.add_argument("cases", type=Path, nargs="+")
    fitting.add_argument("--out", type=Path)
    fitting.add_argument("--diagram", type=Path, help="reliability diagram, SVG")
    given = parser.parse_args()
    if given.step == "gather":
        analyse(given.bundle, given.models, given.fold, (given.part, given.parts), given.out)
    else:
        judge(given.cases, given.out, given.diagram)


if __name__ == "__main__":
    main()
