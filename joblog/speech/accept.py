"""Accept, ask or reject: what to do with a sentence of which we are so and so sure.

The recogniser gives a calibrated probability that the sentence is right. Acting on it is a matter
of costs: with a right answer free, asking costs 1, and accepting a wrong sentence costs ``stake``;
so accepting pays while ``(1 - confidence) * stake < 1``, which puts the threshold at
``1 - 1 / stake`` (the reject option of Chow, 1970). A wrong torque costs more than a repeated 'step
done'; a string of bare digits (an order number) costs more still, because no unit, no range and no
specification would catch it.
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


@dataclass(frozen=True)
class Stakes:
    """How many asks one silently wrong sentence is worth, by what the sentence holds.

    ``plain`` is for sentences without a number, ``number`` for those with one, ``digits`` for those
    that are nothing but numbers. ``by_tag`` overrides for sentences that carry a tag. ``reject`` is
    the confidence below which not even a question makes sense. The values were chosen on
    figures as docs/ear.md has them, number 8 there says what they mean.
    """

    plain: float = 5.0
    number: float = 10.0
    digits: float = 50.0
    reject: float = 0.20
    by_tag: Mapping[str, float] = field(default_factory=dict)

    def threshold(self, words: Iterable[str], tags: Iterable[str] = ()) -> float:
        """Return the confidence, 0..1, from which a sentence of these words is accepted."""
        said = tuple(words)
        numbers = sum(word in NUMBER_WORDS for word in said)
        stake = self.plain if not numbers else self.number
        if numbers and numbers == len(said):
            stake = self.digits
        chosen = [self.by_tag[tag] for tag in tags if tag in self.by_tag]
        return 1.0 - 1.0 / max(chosen, default=stake)


# With a learnt voice: the confidence was fitted without one, and a colleague may speak under the
# name. At 80 a technician's own digits are silently wrong no more often than without it.
KNOWN_VOICE = Stakes(digits=80.0)


def decide(
    words: tuple[str, ...],
    confidence: float,
    alternatives: tuple[Alternative, ...],
    stakes: Stakes,
    tags: Iterable[str] = (),
) -> tuple[Verdict, str | None]:
    """Return the verdict and, where it is not ACCEPT, the reason in plain words.

    ``confidence`` is the calibrated probability, 0..1, that ``words`` were said; ``alternatives``
    come best first.
    """
    text = " ".join(words)
    if confidence >= stakes.threshold(words, tags):
        return Verdict.ACCEPT, None
    if confidence < stakes.reject:
        return Verdict.REJECT, f"Nothing that can be said here fits; nearest was '{text}'."
    # one that is twenty times less likely would only lengthen the question (our own choice)
    if alternatives and alternatives[0].confidence > confidence / 20:
        return Verdict.ASK, f"Was it '{text}' or '{alternatives[0].text}'?"
    return Verdict.ASK, f"Was it '{text}'?"
