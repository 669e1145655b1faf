"""``joblog bench fit``: fit ranking and confidence on labelled speech, and say how good they are.

Ranking: the sentence that was spoken should be the likeliest of the N-best list under a softmax of
weighted measures (maximum likelihood, weights pulled towards their start). Confidence: logistic
regression of 'the best sentence is right' on the evidence. Both are judged on folds that they were
not fitted on. A command recording stays in one fold with all its noises; digit strings are cut from
a few speakers' takes, which folds share, so figures for digits flatter.
"""

from __future__ import annotations

import json
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from joblog.audio.types import RATE
from joblog.errors import InputError, UsageError
from joblog.speech.bench import Condition, conditions
from joblog.speech.meaning import grouped, meaning
from joblog.speech.shipped import note_shipped
from joblog.speech.whisper.confidence import CALIBRATION, EVIDENCE, Calibration, weigh
from joblog.speech.whisper.engine import WhisperEngine
from joblog.speech.whisper.evidence import FEATURES
from joblog.speech.whisper.search import Free
from joblog.speech.whisper.sound import prepare

Floats = NDArray[np.float64]
RANKING = ("score", "weight", "tokens", "end", "missing", "twice", "second", "crowded")
START = {
    "score": 1.0, "weight": 1.0, "tokens": -0.2, "end": 1.4, "missing": -20.0, "twice": 0.0,
    "second": 0.5, "crowded": -10.0,
}  # fmt: skip
FOLDS = 5
FEWEST = 100  # sounds with a right sentence: thirteen measures are weighed
PULL = 1.0  # towards the start, found on people repeating words: the labelled sets show few drops


@dataclass(frozen=True)
class Case:
    """One utterance as analysed: measures of its sentences, which are right, and the rest."""

    key: str  # recordings with the same key stay in one fold
    name: str
    measures: Floats
    words: tuple[tuple[str, ...], ...]
    meanings: tuple[Hashable, ...]
    right: NDArray[np.bool_]
    free: Free
    duration: float
    contrast: float


def gather(engine: WhisperEngine, rows: Sequence[Condition]) -> list[Case]:
    """Analyse every sound of the rows once."""
    cases = []
    for row in rows:
        for number, item in enumerate(row.items):
            prepared = prepare(item.samples)
            if prepared.why is not None:
                continue
            found = engine.analyse(prepared, row.grammar)
            if not found.sentences:
                continue
            fits = item.right or (lambda _: False)
            right = np.array([fits(" ".join(s.words)) for s in found.sentences])
            free = replace(found.free, attention=[])
            words = tuple(s.words for s in found.sentences)
            key = f"{row.name.split(',')[0]} {number}"
            seconds = len(item.samples) / RATE
            meanings = tuple(meaning(said, row.grammar) for said in words)
            # a sentence that means the same as a right one is right
            meant = {mine for mine, fit in zip(meanings, right, strict=True) if fit}
            right = np.array([mine in meant for mine in meanings])
            cases.append(
                Case(
                    key, row.name, found.measures, words, meanings, right, free, seconds,
                    prepared.contrast,
                )
            )  # fmt: skip
        print(f"  analysed: {row.name}", flush=True)
    return cases


def fit_ranking(cases: Sequence[Case], steps: int = 500) -> dict[str, float]:
    """Return ranking weights by maximum likelihood (Adam on a few hundred small softmaxes)."""
    columns = [FEATURES.index(name) for name in RANKING]
    start = np.array([START[name] for name in RANKING])
    scale = np.array([1.0, 1.0, 0.5, 0.5, 4.0, 1.0, 0.3, 4.0])
    data = [(c.measures[:, columns], c.right) for c in cases if c.right.any() and not c.right.all()]
    weights, mean, square = start.copy(), np.zeros(len(start)), np.zeros(len(start))
    for step in range(1, steps + 1):
        slope = PULL * (weights - start) / scale**2
        for measures, right in data:
            chance = np.exp(measures @ weights - (measures @ weights).max())
            chance /= chance.sum()
            hit = chance * right / max(float((chance * right).sum()), 1e-12)
            slope -= (hit - chance) @ measures / len(data)
        slope *= scale
        mean, square = 0.9 * mean + 0.1 * slope, 0.99 * square + 0.01 * slope**2
        rise = (mean / (1 - 0.9**step)) / (np.sqrt(square / (1 - 0.99**step)) + 1e-9)
        weights -= 0.02 * scale * rise
        weights[1] = weights[0] = 1.0  # only ratios matter; grammar weights count in full
    return {name: round(float(w), 3) for name, w in zip(RANKING, weights, strict=True)}


def evidence_of(case: Case, calibration: Calibration) -> tuple[Floats, bool]:
    """Return the evidence of the best sentence, and whether it is right."""
    groups = grouped(calibration.merits(case.measures), case.meanings)
    row = weigh(case.measures, groups, case.free, case.duration, case.contrast)
    return row, bool(case.right[groups[0].best])


def fit_confidence(rows: Floats, right: NDArray[np.bool_]) -> dict[str, float]:
    """Return logistic regression weights on the evidence, lightly pulled to zero."""
    centre, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    x = np.column_stack([(rows - centre) / spread, np.ones(len(rows))])
    weights = np.zeros(x.shape[1])
    ridge = np.full(x.shape[1], 2.0 / len(x))
    ridge[-1] = 0.0
    for _ in range(60):  # Newton's method
        chance = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        slope = x.T @ (chance - right) / len(x) + ridge * weights
        bend = (x * (chance * (1 - chance))[:, None]).T @ x / len(x) + np.diag(ridge + 1e-9)
        weights -= np.linalg.solve(bend, slope)
    plain = weights[:-1] / spread
    result = {name: round(float(w), 4) for name, w in zip(EVIDENCE, plain, strict=True)}
    result["constant"] = round(float(weights[-1] - plain @ centre), 4)
    return result


def expected_calibration_error(chance: Floats, right: NDArray[np.bool_], bins: int = 10) -> float:
    """Return the mean distance of confidence and share right over equal bins, weighted by size."""
    place = np.minimum((chance * bins).astype(int), bins - 1)
    total = 0.0
    for b in range(bins):
        inside = place == b
        if inside.any():
            total += inside.mean() * abs(chance[inside].mean() - right[inside].mean())
    return float(total)


def run(folder: Path, every: int, out: Path | None) -> None:
    """Fit on ``folder``, print cross-validated figures, and write the weights to ``out``."""
    from joblog.speech.engines import get_engine

    engine = get_engine()
    assert isinstance(engine, WhisperEngine)
    target = out or CALIBRATION
    if not target.parent.is_dir():
        raise UsageError(f"{target} can't be written: there is no folder {target.parent}.")
    cases = gather(engine, list(conditions(folder, every)))
    right = sum(bool(case.right.any()) for case in cases)
    if right < FEWEST:
        raise InputError(
            f"{folder} has {right} sounds in which what was said was found at all; a fit to fewer "
            f"than {FEWEST} would be worth nothing, so the weights stay as they are."
        )
    fold = {key: i % FOLDS for i, key in enumerate(sorted({c.key for c in cases}))}
    chances, rights, names = [], [], []
    for held in range(FOLDS):
        fitted = fit([c for c in cases if fold[c.key] != held])
        for case in (c for c in cases if fold[c.key] == held):
            row, right = evidence_of(case, fitted)
            chances.append(fitted.probability(row))
            rights.append(right)
            names.append(case.name)
    report(np.array(chances), np.array(rights), names)
    final = fit(cases)
    content = {"rank": dict(final.rank), "confidence": dict(final.confidence)}
    target.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    note_shipped(target)
    print(f"weights are in {target}")


def fit(cases: Sequence[Case]) -> Calibration:
    """Return both models fitted on ``cases``."""
    ranked = Calibration(fit_ranking(cases), {"constant": 0.0})
    rows, right = zip(*(evidence_of(case, ranked) for case in cases), strict=True)
    return Calibration(ranked.rank, fit_confidence(np.array(rows), np.array(right)))


def report(chance: Floats, right: NDArray[np.bool_], names: Sequence[str]) -> None:
    """Print what would be accepted at the two usual thresholds, by condition."""
    print(f"expected calibration error {expected_calibration_error(chance, right):.3f}")
    for low in np.arange(0, 1, 0.1):
        inside = (chance >= low) & (chance < low + 0.1 + 1e-9)
        if inside.any():
            said, was = chance[inside].mean(), right[inside].mean()
            print(f"  said {said:.2f}, was {was:.2f}, n {inside.sum()}")
    for name in dict.fromkeys(names):
        mine = np.array([n == name for n in names])
        for threshold in (0.9, 0.95):
            taken = mine & (chance >= threshold)
            good, bad = (taken & right).sum(), (taken & ~right).sum()
            best = (mine & right).sum()
            print(
                f"  {name:34} at {threshold}: {good / mine.sum():6.1%} accepted and right, "
                f"{bad / mine.sum():5.1%} silently wrong, "
                f"best sentence right {best / mine.sum():6.1%}"
            )
