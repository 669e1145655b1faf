"""Accept, ask or reject: what to do with a sentence of which we are so and so sure.

The recogniser gives a calibrated probability that the sentence is right. Acting on it is a matter
of costs: with a right answer free, asking costs 1, and accepting a wrong sentence costs ``stake``;
so accepting pays while ``(1 - confidence) * stake < 1``, which puts the threshold at
``1 - 1 / stake``. A wrong torque costs more than a repeated 'step done', hence two stakes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from joblog.speech.types import Alternative, Verdict

NUMBER_WORDS = frozenset(
    (
        "zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
        "niner", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen",
        "seventeen", "eighteen", "nineteen", "twenty", "thirty", "forty", "fifty", "sixty",
        "seventy", "eighty", "ninety", "hundred", "thousand", "point", "half", "quarter", "third",
        "thirds", "quarters",
    )
)  # fmt: skip
# Words whose presence or absence changes no order: sentences that differ only here mean the same.
_POLITE = frozenset(
    (
        "a", "an", "the", "i", "i'd", "i'm", "can", "may", "please", "me", "get", "give", "have",
        "want", "like", "make", "would",
    )
)  # fmt: skip


@dataclass(frozen=True)
class Stakes:
    """How many asks one silently wrong sentence is worth, by what the sentence holds.

    ``by_tag`` overrides for sentences that carry a tag. ``reject`` is the confidence below which
    not even a question makes sense.
    """

    plain: float = 5.0
    number: float = 7.5
    reject: float = 0.10
    by_tag: Mapping[str, float] = field(default_factory=dict)

    def threshold(self, words: Iterable[str], tags: Iterable[str] = ()) -> float:
        """Return the confidence from which a sentence is accepted."""
        stake = self.number if NUMBER_WORDS.intersection(words) else self.plain
        chosen = [self.by_tag[tag] for tag in tags if tag in self.by_tag]
        return 1.0 - 1.0 / max(chosen, default=stake)


def meaning(words: Iterable[str]) -> tuple[str, ...]:
    """Return what is left of a sentence without its polite words."""
    return tuple(word for word in words if word not in _POLITE)


def decide(
    words: tuple[str, ...],
    confidence: float,
    alternatives: tuple[Alternative, ...],
    stakes: Stakes,
    tags: Iterable[str] = (),
) -> tuple[Verdict, str | None]:
    """Return the verdict and, where it is not ACCEPT, the reason in plain words."""
    text = " ".join(words)
    if confidence >= stakes.threshold(words, tags):
        return Verdict.ACCEPT, None
    if confidence < stakes.reject:
        return Verdict.REJECT, "That was no phrase that can be said here."
    if alternatives and alternatives[0].confidence > confidence / 20:
        return Verdict.ASK, f"Was it '{text}' or '{alternatives[0].text}'?"
    return Verdict.ASK, f"Was it '{text}'?"
