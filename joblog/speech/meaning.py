"""When two sentences of a grammar mean the same, so that it does not matter which was spoken.

Where a grammar has tags, a sentence means its tags and its values: 'torqued two seven foot pounds'
is 'torque twenty seven foot pounds'. Values are what rules named ``...value`` or ``...quantity``
match, with the other values that they are mistaken for: 'thirty' is asked back as 13, 'three zero'
is not, and the job must know which of the two it was. Where a grammar has no tags, a sentence means
its words, but for those that only join or ask politely.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joblog.speech.grammar import Grammar
from joblog.speech.parsing import Parse
from joblog.speech.quantities import parse_quantity, range_ends

Words = tuple[str, ...]
VALUES = ("value", "quantity")  # ends of the names of rules that hold a value
# Function words: sentences of a grammar without tags that differ only in these mean the same.
_JOINING = frozenset(
    (
        "a", "an", "the", "i", "i'd", "i'm", "can", "may", "please", "me", "get", "give", "have",
        "want", "like", "make", "would",
    )
)  # fmt: skip


def meaning(words: Words, grammar: Grammar | None) -> Hashable:
    """Return what distinguishes ``words`` from sentences that mean something else."""
    parse = grammar.parse(words) if grammar is not None else None
    if parse is None or not parse.tags:
        return tuple(word for word in words if word not in _JOINING)
    return parse.tags, _values(parse)


def _values(parse: Parse) -> tuple[Hashable, ...]:
    """Return the values said by outermost rules; words that are no value stand for themselves."""
    found: list[Hashable] = []
    reached = 0
    for span in parse.spans:
        if span.start >= reached and span.rule.endswith(VALUES):
            said = parse.words[span.start : span.end]
            found.append(_value(said))
            reached = span.end
    return tuple(found)


def _value(said: Words) -> Hashable:
    """Return what ``said`` is worth; what can be read in two ways stands for itself alone."""
    quantity = parse_quantity(said)
    if quantity is None:
        first, last = range_ends(said) or (None, None)
        if first is None or last is None or first.ambiguous or last.ambiguous:
            return said
        return first.value, first.soundalikes, last.value, last.unit, last.units, last.soundalikes
    if quantity.ambiguous:
        return said
    return quantity.value, quantity.unit, quantity.units, quantity.soundalikes


@dataclass(frozen=True)
class Group:
    """Sentences that mean the same: the best one's place in the list, and their merit together."""

    best: int
    merit: float


def grouped(merits: NDArray[np.float64], meanings: Sequence[Hashable]) -> list[Group]:
    """Return the groups of sentences with the same meaning, best first.

    Merits are natural logarithms: together, sentences have the logarithm of their summed chances.
    """
    groups: dict[Hashable, list[int]] = {}
    for place in map(int, np.argsort(-merits)):
        groups.setdefault(meanings[place], []).append(place)
    found = [
        Group(places[0], float(np.logaddexp.reduce(merits[places]))) for places in groups.values()
    ]
    return sorted(found, key=lambda group: -group.merit)
