"""From measures to a ranking and a calibrated probability.

Two small linear models, fitted on labelled speech (docs/ear.md says on which) and kept in
``calibration.json`` beside this file: one ranks the sentences found for an utterance, the other
(logistic regression) gives the probability that the best one is right.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from joblog.speech.meaning import Group
from joblog.speech.shipped import check_shipped
from joblog.speech.whisper.evidence import FEATURES
from joblog.speech.whisper.search import Free

Measures = NDArray[np.float64]

EVIDENCE = (
    "gap",  # how much better the free hypothesis fits, nats per token
    "margin",  # rank score ahead of the best sentence that means something else, at most 10
    "score",  # log probability per token
    "allowed",  # log share of the probability on allowed tokens, per token
    "end",  # log probability of ending there
    "least",  # log probability of the worst token
    "missing",  # share of the explained sound that this sentence leaves out
    "twice",  # attention shared by distant tokens, per token
    "rate",  # tokens per second of sound
    "contrast",  # decades between loud and quiet frames
    "second",  # the second ear's log probability per sign; 0 where it was not asked
    "seconded",  # by how much the second ear prefers this sentence to the others
    "crowded",  # seconds by which digits stand closer than is usual
)
CALIBRATION = Path(__file__).parent / "calibration.json"
MARGIN_CAP = (
    10.0  # nats; a lead of more says no more, and one sentence alone has no lead to measure
)
# A sentence that leaves out more than this was cut short: 'battery voltage twelve' where 'twelve
# point six volts at rest' was said, at 0.98. Of 1057 sentences that were right none left out more
# than 0.37, of 16 that were cut short, and sure of it, none less than 0.41.
MOST_MISSING = 0.39
CUT_SHORT = 0.45  # its probability at most: no one asked about it takes it for likely


@dataclass(frozen=True)
class Calibration:
    """Weights of both models by the names of their measures."""

    rank: Mapping[str, float]
    confidence: Mapping[str, float]

    @staticmethod
    @cache
    def shipped() -> Calibration:
        """Return the calibration that belongs to the shipped recogniser.

        Raises ModelError where its file is missing or altered.
        """
        check_shipped(CALIBRATION)
        content = json.loads(CALIBRATION.read_text())
        return Calibration(content["rank"], content["confidence"])

    def merits(self, measures: Measures) -> NDArray[np.float64]:
        """Return the rank score of each sentence, (sentences,), in nats; the highest is the best.

        ``measures``: (sentences, len(FEATURES)).
        """
        weights = np.array([self.rank.get(name, 0.0) for name in FEATURES])
        merits: NDArray[np.float64] = measures @ weights
        return merits

    def probability(self, evidence: NDArray[np.float64]) -> float:
        """Return the probability, 0..1, that a sentence with this evidence is right.

        ``evidence``: (len(EVIDENCE),). A logistic regression, but for sentences that were cut
        short: it was fitted on speech in which there are none.
        """
        weights = np.array([self.confidence.get(name, 0.0) for name in EVIDENCE])
        logit = float(evidence @ weights) + self.confidence["constant"]
        sure = 1.0 / (1.0 + math.exp(-min(max(logit, -30.0), 30.0)))
        cut_short = evidence[EVIDENCE.index("missing")] > MOST_MISSING
        return min(sure, CUT_SHORT) if cut_short else sure


def weigh(
    measures: Measures,
    groups: Sequence[Group],
    free: Free,
    duration: float,
    contrast: float,
) -> NDArray[np.float64]:
    """Return the evidence (len(EVIDENCE),) for the first group's best sentence.

    ``measures``: (sentences, len(FEATURES)); ``groups`` of sentences that mean the same, the best
    first; ``duration`` of the sound in seconds; ``contrast`` as in :class:`Prepared`.
    """
    named = dict(zip(FEATURES, measures[groups[0].best], strict=True))
    margin = groups[0].merit - groups[1].merit if len(groups) > 1 else np.inf
    seconds = measures[[group.best for group in groups], FEATURES.index("second")]
    seconded = float(seconds[0] - seconds[1:].max()) if len(groups) > 1 else MARGIN_CAP
    tokens = max(named["tokens"], 1.0) + 1.0
    # Per token of its own: summed, a free hypothesis that babbles on in noise would look poor and
    # the gap small, just where nothing was said.
    free_score = float(np.mean(free.scores)) if free.scores else 0.0
    return np.array(
        [
            free_score - named["score"] / tokens,
            min(margin, MARGIN_CAP),
            named["score"] / tokens,
            named["allowed"] / tokens,
            named["end"],
            named["least"],
            named["missing"],
            named["twice"] / tokens,
            named["tokens"] / max(duration, 0.3),
            contrast,
            named["second"] / max(named["signs"], 1.0),
            min(max(seconded, -MARGIN_CAP), MARGIN_CAP) if named["signs"] else 0.0,
            named["crowded"],
        ]
    )
