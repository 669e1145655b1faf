"""Spoken ranges, and what they sound like: 'four to six' is 'forty six' or 'four two six', too.

Both the range and the number are in the grammar, and the recogniser tells most of them apart. Where
what it heard is not what the sheet wants, and what that sounds like is, joblog asks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from joblog.job.said_units import SaidValue, said_values
from joblog.speech.number_words import TEENS, TENS
from joblog.speech.numbers import Quantity
from joblog.speech.quantities import range_ends

TENS_OF = {"four": "forty", "six": "sixty", "seven": "seventy", "eight": "eighty", "nine": "ninety"}
_FIGURE_OF = {tens: figure for figure, tens in TENS_OF.items()}
_TENS_AND_TEENS = TENS.keys() | TEENS.keys()


def said_range(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return the readings of a spoken range, the plain one first; () where it is none.

    What its ends sound like counts where it makes a range: of 'thirty to forty' 13 to 40, not 30
    to 14. So does a single number that sounds like it.
    """
    both = range_ends(words)
    if both is None:
        return ()
    first, last = both

    def made(low: Fraction, high: Fraction, doubt: str = "") -> SaidValue:
        low, high = (high, low) if high < low < 0 else (low, high)
        return SaidValue(low, last.unit or "", last.units, doubt, high)

    ends = (first.value, last.value)
    others = [made(*one, "words") for one in _beside(ends, _values(first), _values(last))]
    if -last.value < first.value < 0:  # 'minus thirty to thirty five': a minus said once for both
        others.insert(0, made(first.value, -last.value, "words"))
    sounds = [made(*one, "sound") for one in _beside(ends, first.soundalikes, last.soundalikes)]
    ones = [replace(v, doubt="sound") for said in _as_numbers(words) for v in said_values(said)]
    return (made(*ends), *others, *sounds, *ones)


def as_range(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return the ranges that one number sounds like."""
    found = (said_range(said)[:1] for said in _as_ranges(words))
    return tuple(replace(v, doubt="sound") for plain in found for v in plain if not v.reversed)


def _values(end: Quantity) -> tuple[Fraction, ...]:
    return tuple(value for value, _ in end.ambiguous)


def _beside(
    ends: tuple[Fraction, Fraction], lows: tuple[Fraction, ...], highs: tuple[Fraction, ...]
) -> Iterator[tuple[Fraction, Fraction]]:
    """Yield the ranges that other values of the ends make, those of both ends first."""
    both = zip(lows, highs, strict=False)
    pairs = (*both, *((low, ends[1]) for low in lows), *((ends[0], high) for high in highs))
    yield from ((low, high) for low, high in pairs if low < high)


def _as_numbers(words: Sequence[str]) -> Iterator[list[str]]:
    """Yield what a range sounds like as one number: 'four two six', 'forty six'."""
    if "to" in words and "from" not in words:
        at = words.index("to")
        yield [*words[:at], "two", *words[at + 1 :]]
        if at == 1 and words[0] in TENS_OF:
            yield [TENS_OF[words[0]], *words[2:]]


def _as_ranges(words: Sequence[str]) -> Iterator[list[str]]:
    """Yield what one number sounds like as a range; 'to' between two numbers may go unheard."""
    for at, word in enumerate(words):
        if word == "two":
            yield [*words[:at], "to", *words[at + 1 :]]
        if word in _TENS_AND_TEENS and at and set(words[:at]) & _TENS_AND_TEENS:
            yield [*words[:at], "to", *words[at:]]
    if words and words[0] in _FIGURE_OF:
        yield [_FIGURE_OF[words[0]], "to", *words[1:]]
