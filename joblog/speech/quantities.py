"""Numbers with units: 'half a quart', 'one quart four ounces', 'two minutes thirty seconds'."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from joblog.speech.reading import NumberReading, Words, parse_number, part_of, split_words
from joblog.speech.units_spoken import LONGEST_NAME, SPOKEN_UNITS, unit_codes

_ARTICLES = (("a",), ("an",))
# Units that are said one behind the other, by how many of the smallest they hold.
_TOGETHER = (
    {"h": 3600, "min": 60, "s": 1},
    {"gal_us": 128, "qt_us": 32, "pt_us": 16, "floz_us": 1},
    {"L": 1000, "mL": 1},
)
# Of an inch, where no other unit is said [common practice, no source].
_THOUSANDTHS = (("thou",), ("thousandths", "of", "an", "inch"), ("thousandths",))
_SMALLER = {"h": "min", "min": "s"}
_ONE_PART = re.compile(r"\b(and (?:three quarter|two third))(?= )")


@dataclass(frozen=True)
class Quantity:
    """A spoken value with its unit.

    ``unit`` is a code or None where no unit was said or the one said may be several, which are
    then in ``units``. ``ambiguous`` are other (value, unit) pairs that the same words may mean,
    ``soundalikes`` other values; ``why`` says what is unsure, None where nothing is.
    """

    value: Fraction
    unit: str | None
    text: str
    units: tuple[str, ...] = ()
    ambiguous: tuple[tuple[Fraction, str | None], ...] = ()
    soundalikes: tuple[Fraction, ...] = ()
    why: str | None = None

    @property
    def must_confirm(self) -> bool:
        """Whether it must not be recorded before someone has confirmed it."""
        return self.why is not None


@dataclass(frozen=True)
class Range:
    """Two values said as a range ('forty to fifty'), always to be confirmed."""

    low: Fraction
    high: Fraction
    unit: str | None
    text: str
    why: str


def plural_parts(text: str) -> str:
    """Return 'two and three quarter quarts' as 'two and three quarters quarts'."""
    return _ONE_PART.sub(r"\1s", text)


def parse_quantity(words: Sequence[str] | str) -> Quantity | None:
    """Return the value and unit that ``words`` mean as a whole, None where they mean none."""
    said = tuple(plural_parts(" ".join(split_words(words))).split())
    for ending in _THOUSANDTHS:
        if said[-len(ending) :] == ending:
            return _thousandths(said, parse_number(said[: -len(ending)]))
    for front, codes, after in _unit_places(said):
        found = _shaped(said, front, codes, after)
        if found is not None:
            return found
    number = parse_number(said)
    if number is None:
        return None
    quart = any(part.startswith("quarter") for part in said) and "and" not in said
    other = tuple((value, "qt_us" if quart else None) for value in number.ambiguous)
    return Quantity(number.value, None, number.text, (), other, number.soundalikes, number.why)


def _thousandths(said: Words, number: NumberReading | None) -> Quantity | None:
    """Read 'thirty five thou': a whole number of thousandths of an inch."""
    if number is None or number.value.denominator != 1:
        return None
    return Quantity(
        number.value / 1000,
        "in",
        " ".join(said),
        ("in",),
        tuple((value / 1000, "in") for value in number.ambiguous),
        tuple(value / 1000 for value in number.soundalikes),
        number.why,
    )


def _unit_places(said: Words) -> Iterator[tuple[Words, tuple[str, ...], Words]]:
    """Yield (words before, codes, words after) for every unit's name in ``said``, longest first."""
    for length in range(LONGEST_NAME, 0, -1):
        for start in range(len(said) - length, -1, -1):
            codes = unit_codes(" ".join(said[start : start + length]))
            if codes:
                yield said[:start], codes, said[start + length :]


def _shaped(said: Words, front: Words, codes: tuple[str, ...], after: Words) -> Quantity | None:
    text = " ".join(said)
    count = NumberReading(Fraction(1), "a") if front in _ARTICLES else None
    if after:
        part = part_of(after[1:]) if after[0] == "and" else None
        if part is None:
            return _compound(said, front, codes, after)
        count = count or parse_number(front)  # a quart and a half
        if count is None or count.value.denominator != 1:
            return None
        return _with_unit(text, count, codes, part)
    part = _part_of_a(front)
    if part is not None:
        return _with_unit(text, NumberReading(part, text), codes)
    number = count or parse_number(front)
    return None if number is None else _with_unit(text, number, codes)


def _part_of_a(front: Words) -> Fraction | None:
    """Read what stands before the unit in 'half a quart' and 'three quarters of a quart'.

    The unit that follows takes away the doubt whether 'quarters' were quarts.
    """
    for link in (("of", "a"), ("of", "an"), ("a",), ("an",), ("of",)):
        cut = len(front) - len(link)
        if cut > 0 and front[cut:] == link:
            part = part_of(front[:cut], bare=link[0] == "of")
            if part is not None:
                return part
    return part_of(front)


def _with_unit(
    text: str, number: NumberReading, codes: tuple[str, ...], more: Fraction = Fraction(0)
) -> Quantity:
    unit = codes[0] if len(codes) == 1 else None
    why = number.why
    if unit is None:
        name = " or ".join(SPOKEN_UNITS[code].plural for code in codes)
        why = f"the unit may be {name}"
    return Quantity(
        number.value + more,
        unit,
        text,
        codes,
        tuple((value + more, unit) for value in number.ambiguous),
        tuple(value + more for value in number.soundalikes),
        why,
    )


def _compound(said: Words, front: Words, codes: tuple[str, ...], after: Words) -> Quantity | None:
    """Read 'two minutes thirty seconds' and 'one quart and four ounces', in the smaller unit.

    'Two minutes thirty' has seconds behind it, too: a whole number from 10 on.
    """
    sizes = next((sizes for sizes in _TOGETHER if codes[0] in sizes and len(codes) == 1), None)
    if sizes is None:
        return None
    large = NumberReading(Fraction(1), "a") if front in _ARTICLES else parse_number(front)
    rest = parse_quantity(after[1:] if after[0] == "and" else after)
    smaller = _SMALLER.get(codes[0])
    if smaller and rest is not None and not rest.unit and not rest.units:
        if rest.value < 10 or rest.value.denominator != 1 or rest.ambiguous:
            return None
        rest = replace(rest, unit=smaller)
    if large is None or rest is None or rest.unit not in sizes:
        return None
    ratio = Fraction(sizes[codes[0]], sizes[rest.unit])
    if ratio <= 1 or large.value.denominator != 1 or rest.value <= 0:
        return None
    if smaller and rest.value >= 60:
        return None  # 'an hour ninety minutes' is no way to say it
    base = large.value * ratio
    return Quantity(
        base + rest.value,
        rest.unit,
        " ".join(said),
        (rest.unit,),
        tuple((base + value, unit) for value, unit in rest.ambiguous),
        tuple(base + value for value in rest.soundalikes)
        + tuple(value * ratio + rest.value for value in large.soundalikes),
        large.why or rest.why,
    )


def range_ends(words: Sequence[str] | str) -> tuple[Quantity, Quantity] | None:
    """Return both ends of 'forty to fifty p s i' as they were said; None where it is no range.

    The first may be the higher one. One below zero is said by its size: 'minus thirty to minus
    thirty five' is in order.
    """
    found = list(_ends(split_words(words)))
    return next((ends for ends in found if in_order(*ends)), found[0] if found else None)


def in_order(first: Quantity, last: Quantity) -> bool:
    """Say whether the two ends of a range were said in their order."""
    return first.value < last.value or last.value < first.value < 0


def _ends(said: Words) -> Iterator[tuple[Quantity, Quantity]]:
    between = said[:1] == ("between",)
    body = said[1:] if said[:1] in (("between",), ("from",)) else said
    joint = "and" if between else "to"
    for index, word in enumerate(body):
        if word == joint:
            first, last = parse_quantity(body[:index]), parse_quantity(body[index + 1 :])
            if first is None or last is None:
                continue
            units = first.units or last.units  # a unit said once is that of both
            if first.units and last.units:
                units = tuple(unit for unit in last.units if unit in first.units)
                if not units:
                    continue  # 'one bar to fourteen p s i'
            if not _SMALLER.keys().isdisjoint(units) and (first.ambiguous or last.ambiguous):
                continue  # 'two minutes to two thirty': 2.3, or two minutes thirty
            yield first, replace(last, unit=units[0] if len(units) == 1 else None, units=units)


def parse_range(words: Sequence[str] | str) -> Range | None:
    """Read 'forty to fifty p s i' or 'between forty and fifty'; None where it is no range.

    'to' and 'two' sound alike, so a range is never sure.
    """
    ends = range_ends(words)
    if ends is None or not in_order(*ends):
        return None
    text = " ".join(split_words(words))
    why = f"'{text}' may be a range or two numbers"
    low, high = sorted(end.value for end in ends)
    return Range(low, high, ends[1].unit, text, why)
