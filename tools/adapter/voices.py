"""What a learnt voice brings: digits of a speaker whom the weights never heard.

    voices.py --bundle DIR --models OUT [--folds 0 1 2 3]

Each speaker's first four takes of every digit are put together to strings of four and learnt from, as
a technician's reading is (joblog.speech.voice; here ten strings, of which two are held back). The
other takes make the strings that are measured, at 6 dB with each tool, by the weights of the fold that
had none of this speaker: with the head of all, with the learnt one, and with one that learnt another
speaker's voice, as if a colleague spoke under that name. The shipped confidence decides.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace
from pathlib import Path

import crossfit
import numpy as np

from joblog.audio.types import RATE, Samples
from joblog.speech.accept import KNOWN_VOICE, Stakes
from joblog.speech.bench import DIGITS, Condition
from joblog.speech.fit import Case, evidence_of, gather
from joblog.speech.second_ear import Head, SecondEar, crowding, log_probabilities, signs
from joblog.speech.voice import Read, learn_voice
from joblog.speech.whisper.confidence import Calibration
from joblog.speech.whisper.engine import WhisperEngine
from joblog.speech.whisper.evidence import FEATURES
from joblog.speech.whisper.sound import prepare
from joblog.web.other_words import other_words

TAKES = 4  # of each digit, to learn from
SECOND = FEATURES.index("second")


def parted(material: crossfit.Material) -> tuple[dict[str, list[Samples]], crossfit.Material]:
    """Return the takes to learn from, and the material without them."""
    taken: dict[str, list[Samples]] = {digit: [] for digit in DIGITS}
    rest = []
    for row, sound in material.rows:
        if row["kind"] == "word" and row.get("class") == "human":
            if len(taken[row["say"]]) < TAKES:
                taken[row["say"]].append(sound)
                continue
            rest.append((row, sound))
    return taken, replace(material, rows=rest)


def reading(taken: dict[str, list[Samples]]) -> list[Read]:
    """Return strings of four digits, with pauses of 0.05 to 0.3 s, each take once."""
    rng = np.random.default_rng(5)
    pool = [(digit, sound) for digit, sounds in taken.items() for sound in sounds]
    order = rng.permutation(len(pool))
    strings = []
    for at in range(0, len(pool), 4):
        mine = [pool[k] for k in order[at : at + 4]]
        parts = [np.zeros(RATE // 5, np.float32)]
        for _, sound in mine:
            parts += [sound, np.zeros(int(rng.uniform(0.05, 0.3) * RATE), np.float32)]
        strings.append((np.concatenate(parts), tuple(digit for digit, _ in mine)))
    return strings


def with_head(case: Case, embedded: np.ndarray, head: Head) -> Case:
    """Return a case as the second ear measures it with ``head``."""
    rows = [signs(words) for words in case.words]
    heard = head(embedded)
    scores = [log_probabilities(heard, rows), np.array(list(map(len, rows))), crowding(heard, rows)]
    measures = case.measures.copy()
    measures[:, SECOND : SECOND + 3] = np.column_stack(scores)
    return replace(case, measures=measures)


def counted(case: Case, stakes: Stakes) -> tuple[str, ...]:
    """Return what counts of one string."""
    calibration = Calibration.shipped()
    evidence, right = evidence_of(case, calibration)
    taken = calibration.probability(evidence) >= stakes.threshold(("one",))
    return (*(["found"] if right else []), *([("right" if right else "wrong")] if taken else []))


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundle", type=Path, required=True)
    parser.add_argument("--models", type=Path, required=True)
    parser.add_argument("--folds", type=int, nargs="+", default=list(range(crossfit.FOLDS)))
    given = parser.parse_args()
    words = other_words()
    for fold in given.folds:
        mine = given.models / f"fold{fold}"
        ear = SecondEar(head=mine / "second_ear.npz")
        engine = WhisperEngine(given.bundle, mine / "adapter.npz", threads=1, second=ear)
        taken, rest = parted(crossfit.read_material(given.bundle, fold))
        colleague, _ = parted(crossfit.read_material(given.bundle, (fold + 1) % crossfit.FOLDS))
        learnt = learn_voice(reading(taken), ear, others=words)
        print(f"fold {fold}: held back {learnt.before} -> {learnt.after} of {learnt.trials}")
        others = learn_voice(reading(colleague), ear, others=words)
        cases = [
            (case, ear.embed(prepare(item.samples).samples))
            for row in crossfit.strings(rest, fold)
            if row.name.endswith(" 6")
            for item in row.items
            for case in gather(engine, [Condition(row.name, row.grammar, [item])])
        ]
        heads = {
            "of all": ear.head,
            "learnt": Head(learnt.weights),
            "another's": Head(others.weights),
        }
        for name, head in heads.items():
            found: Counter[str] = Counter()
            stakes = Stakes() if head is ear.head else KNOWN_VOICE
            for case, embedded in cases:
                found.update(counted(with_head(case, embedded, head), stakes))
            share = {kind: found[kind] / len(cases) for kind in ("found", "right")}
            print(
                f"fold {fold}, head {name:10} n={len(cases)} found {share['found']:.1%} "
                f"accepted and right {share['right']:.1%}, {found['wrong']} wrong",
                flush=True,
            )


if __name__ == "__main__":
    main()
