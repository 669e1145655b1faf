"""Spoken ranges, and what they sound like.

Both the range and the number are in the grammar, and the recogniser tells most of them apart. Where
what it heard is not what the sheet wants, and what that may mean too is, joblog asks. The ways in
which one may be taken for the other:

    a range             another range   why
    minus five to ten   -10 to -5       a minus said once may be that of both ends
    one twenty to two   1.2 to 2        an end is read in another way
    thirty to forty     13 to 40        an end sounds like another number

    a range             a number        why
    four to six         four two six    'to' sounds like 'two'
    four to six         forty six       'four to' sounds like 'forty'
    ten to twelve       ten twelve      'to' goes unheard (so only the number is in doubt)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from joblog.job.said_units import SaidValue, said_values
from joblog.speech.number_words import TEENS, TENS
from joblog.speech.numbers import Quantity
from joblog.speech.quantities import range_ends

TENS_OF = {"four": "forty", "six": "sixty", "seven": "seventy", "eight": "eighty", "nine": "ninety"}
_FIGURE_OF = {tens: figure for figure, tens in TENS_OF.items()}
_TENS_AND_TEENS = TENS.keys() | TEENS.keys()
Ends = tuple[Fraction, Fraction]  # the lower, the higher


def said_range(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return the readings of a spoken range, the plain one first; () where it is none."""
    both = range_ends(words)
    if both is None:
        return ()
    first, last = both

    def ranges(ends: Iterable[Ends], doubt: str) -> list[SaidValue]:
        return [SaidValue(low, last.unit or "", last.units, doubt, high) for low, high in ends]

    lows, highs = ([value for value, _ in end.ambiguous] for end in both)
    return (
        *ranges([_plain(first, last)], ""),
        *ranges(_minus_for_both(first, last), "words"),
        *ranges(_other_ends(first, last, lows, highs), "words"),
        *ranges(_other_ends(first, last, first.soundalikes, last.soundalikes), "sound"),
        *(replace(v, doubt="sound") for said in _as_numbers(words) for v in said_values(said)),
    )


def as_range(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return the ranges that one number sounds like."""
    found = (said_range(said)[:1] for said in _as_ranges(words))
    return tuple(replace(v, doubt="sound") for plain in found for v in plain if not v.reversed)


def _plain(first: Quantity, last: Quantity) -> Ends:
    """Return both ends as said; below zero the greater size is the lower end."""
    ends = (first.value, last.value)
    return ends[::-1] if last.value < first.value < 0 else ends


def _minus_for_both(first: Quantity, last: Quantity) -> Iterator[Ends]:
    """'Minus five to ten': -10 to -5."""
    if -last.value < first.value < 0:
        yield -last.value, first.value


def _other_ends(
    first: Quantity, last: Quantity, lows: Sequence[Fraction], highs: Sequence[Fraction]
) -> Iterator[Ends]:
    """Yield the ranges with other values of both ends, then of one: 'thirty to forty' is 13 to 40.

    None that would be said the wrong way round: it isn't 30 to 14.
    """
    both = zip(lows, highs, strict=False)
    pairs = (*both, *((low, last.value) for low in lows), *((first.value, high) for high in highs))
    yield from ((low, high) for low, high in pairs if low < high)


def _as_numbers(words: Sequence[str]) -> Iterator[list[str]]:
    """Yield what a range sounds like as one number: 'four to six' is 'four two six', 'forty six'.

    'From four to six' and 'between four and six' sound like none.
    """
    if "to" in words and "from" not in words:
        at = words.index("to")
        yield [*words[:at], "two", *words[at + 1 :]]
        if at == 1 and words[0] in TENS_OF:
            yield [TENS_OF[words[0]], *words[2:]]


def _as_ranges(words: Sequence[str]) -> Iterator[list[str]]:
    """Yield what one number sounds like as a range: the ways above, backwards."""
    for at, word in enumerate(words):
        if word == "two":  # 'four two six': 'four to six'
            yield [*words[:at], "to", *words[at + 1 :]]
        if word in _TENS_AND_TEENS and at and set(words[:at]) & _TENS_AND_TEENS:
            yield [*words[:at], "to", *words[at:]]  # 'ten twelve': 'ten to twelve'
    if words and words[0] in _FIGURE_OF:  # 'forty six': 'four to six'
        yield [_FIGURE_OF[words[0]], "to", *words[1:]]
