"""What the note-taking recogniser writes of a value: its numbers, its units, what it is of.

Two recognisers are compared by it (:mod:`joblog.job.both_ears`, :mod:`joblog.job.denials`).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Set
from fractions import Fraction

from joblog.job.grammar import LEADS
from joblog.job.meaning import Meaning
from joblog.speech.number_words import DIGITS, MINUS, ONES, PARTS, POINTS, TEENS, TENS
from joblog.speech.numbers import parse_number
from joblog.speech.units_spoken import LONGEST_NAME, SPOKEN_UNITS, unit_codes

FIGURES = frozenset({*DIGITS, *POINTS, *MINUS})
NUMBERS = FIGURES | {*TEENS, *TENS, "hundred", "thousand"}
# Units that no sheet has a name for: what was measured in them is no value in those it has.
_NO_UNITS = frozenset(
    (
        *("kelvin", "atmosphere", "atmospheres", "torr", "mercury", "millibar", "millibars"),
        *("megapascal", "megapascals", "millivolt", "millivolts", "kilovolt", "kilovolts"),
        *("milliamp", "milliamps", "centimeter", "centimeters", "micron", "microns"),
        *("deciliter", "deciliters", "centiliter", "centiliters", "kilonewton", "kilonewtons"),
    )
)
# What true words are written as.
SOUNDS_AS = {"nut": "not", "nuts": "not", "now": "not", "niner": "or"}
# They tell no thing from another.
_JOINING = frozenset({*LEADS, "a", "an", "and", "at", "between", "from", "is", "of", "on", "read"})
_JOINING |= {"reads", "the", "to", "torque", "torqued"}
_IN_NUMBERS = NUMBERS | PARTS.keys() | {"and", "a"}
_WRITTEN_FOR = {"free": "three", "tree": "three", "to": "two", "too": "two", "for": "four"}
_NOUGHT = ("zero", "oh")  # before a point
_LIKE_TO_AND_FOR = ("two", "four", "forty")  # 'torque two nine' is written as 'torque to 9'


def numbers_in(words: str) -> list[Fraction]:
    """Return the numbers among words of the grammar, in order."""
    found = (parse_number(run) for run in runs(words))
    return [number.value for number in found if number is not None]


def runs(words: str) -> list[list[str]]:
    """Return the words of each number; 'two hundred and ten' is one."""
    found: list[list[str]] = [[]]
    for word in words.replace("hundred and ", "hundred ").split():
        if word in NUMBERS:
            found[-1].append(word)
        elif found[-1]:
            found.append([])
    return [run for run in found if run]


def of_the_same(meant: Meaning, free: str) -> bool:
    """Say whether free words are of the thing that is meant, and of the same unit if any.

    What is written for a unit may be none ('bar' is 'ball'), but no other one.
    """
    words = free.split()
    if not _NO_UNITS.isdisjoint(words):
        return False
    vague = not meant.unit and any(codes != meant.values[0].units for codes in units_in(words))
    return not vague and not _another_unit(meant, words) and _of_one_thing(meant, words)


def _another_unit(meant: Meaning, words: list[str]) -> bool:
    """Say whether a unit of the same kind is named that was not heard, where one was heard."""
    heard = set(itertools.chain.from_iterable(units_in(meant.text.split())))
    kinds = {SPOKEN_UNITS[code].dimension for code in heard}
    named = (set(codes) for codes in units_in(words))
    others = (codes for codes in named if heard.isdisjoint(codes))
    return any(SPOKEN_UNITS[code].dimension in kinds for codes in others for code in codes)


def _of_one_thing(meant: Meaning, words: list[str]) -> bool:
    said, (start, end) = meant.text.split(), meant.span
    before = [SOUNDS_AS.get(word, word) for word in _before_numbers(said[:start])]
    behind = set(said[end:]) - _JOINING - NUMBERS
    same = [SOUNDS_AS.get(word, word) for word in _before_numbers(words)] == before
    return same and behind.issubset(words)


def another_value(meant: Meaning, free: str, usual: Set[str]) -> bool:
    """Say whether free words are of the thing that is meant, and hold another value or unit.

    Said in a way that the grammar has not ('65.25 celsius'), a value is heard as a part of it, and
    as sure as any; most often without the unit that comes behind it. ``usual`` are the sheet's
    units, which need not be said.
    """
    words, heard = free.split(), meant.text.split()
    if not _NO_UNITS.isdisjoint(words):
        return True
    if not meant.values[0].units:
        named = list(units_in(words))
        other = _whole_numbers(heard) != _whole_numbers(words)
        if named and (other or any(usual.isdisjoint(codes) for codes in named)):
            return True
    if _no_point(meant, words):
        return True
    if not _of_one_thing(meant, words):
        return False
    return _another_unit(meant, words) or _another_number(meant, heard, words)


def _no_point(meant: Meaning, words: list[str]) -> bool:
    """Say whether what was heard as a point is written as a word: 'oil' sounds like 'point'.

    "Oil two liters out" was heard as "point two liters out" at 0.96, 'all two liters out' written.
    """
    said = meant.text.split()[slice(*meant.span)]
    if "point" not in said[:2] or said[0] not in ("point", *_NOUGHT):
        return False
    behind = " ".join(said[said.index("point") + 1 :])
    return numbers_in(" ".join(words)) == numbers_in(behind)


def _another_number(meant: Meaning, heard: list[str], words: list[str]) -> bool:
    """Say whether as many numbers are written as were heard, and others, with the unit heard."""
    said, written = _whole_numbers(heard), _whole_numbers(words)
    unclear = None in said or None in written or len(said) != len(written)
    if unclear or not set(units_in(heard)).issubset(units_in(words)):
        return False
    start = meant.span[0]
    to = heard[start] in _LIKE_TO_AND_FOR or "to" in heard[max(0, start - 1) : start]
    same = said in (written, _whole_numbers(_figures(words)))
    return not same and not (to and _ends_alike(said[-1], written[-1]))


def _figures(words: list[str]) -> list[str]:
    """Return words with the figure behind a ten: '20 free' and 'fifty to' are 23 and 52."""
    found: list[str] = []
    for word in words:
        figure = _WRITTEN_FOR.get(word)
        ten = found[-1:] == ["zero"] and found[-2:-1] and found[-2] in ONES
        if figure and ten:
            found[-1] = figure
        else:
            found.append(figure if figure and found and found[-1] in TENS else word)
    return found


def _ends_alike(one: Fraction | None, other: Fraction | None) -> bool:
    """Say whether one number is the end of the other: what was 'to' is a figure in one of them."""
    short, long = sorted((str(one), str(other)), key=len)
    return long.endswith(short)


def _whole_numbers(words: list[str]) -> list[Fraction | None]:
    """Return the numbers among words with their halves and quarters, None for an unclear one."""
    found: list[Fraction | None] = []
    for numeric, run in itertools.groupby(words, _IN_NUMBERS.__contains__):
        said = " ".join(run).removeprefix("and ").removesuffix(" a").removesuffix(" and")
        if numeric and not {"a", "and"}.issuperset(said.split()):
            number = parse_number(said)
            found.append(None if number is None else number.value)
    return found


def units_in(words: list[str]) -> Iterator[tuple[str, ...]]:
    """Yield what each unit named in ``words`` may be, the longest names first."""
    at = 0
    while at < len(words):
        lengths = range(LONGEST_NAME, 0, -1)
        named = ((unit_codes(" ".join(words[at : at + length])), length) for length in lengths)
        codes, length = next(((found, n) for found, n in named if found), ((), 1))
        if codes:
            yield codes
        at += length


def _before_numbers(words: list[str]) -> list[str]:
    """Return the words before the first number that say what it is of."""
    fore = itertools.takewhile(lambda word: word not in NUMBERS, words)
    return [word for word in fore if word not in _JOINING]
