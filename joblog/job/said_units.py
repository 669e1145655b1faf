"""Spoken values of the job's grammar and what they mean.

Numbers and units are those of :mod:`joblog.speech.numbers`; the rules that allow them to be said
are in :mod:`joblog.job.value_rules`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from joblog.measure.units import unit_of
from joblog.sheet.model import Fluid, Sheet
from joblog.speech.number_words import TENS
from joblog.speech.numbers import parse_number, parse_quantity
from joblog.speech.units_spoken import SPOKEN_UNITS, spoken_names


@dataclass(frozen=True)
class SaidValue:
    """One reading of a number as said.

    ``unit`` is its code, '' where none was said; ``units`` are the codes that its unit may mean
    ('degrees') where it has several. ``doubt`` is '' for the plain reading, 'words' where the same
    words may mean this too ('one twenty': 1.20), 'sound' where similar words do ('thirty': 13).
    ``upper`` is the higher end where a range was said, and ``value`` the lower one; where they were
    said the other way round, ``value`` is not below ``upper``.
    """

    value: Fraction
    unit: str = ""
    units: tuple[str, ...] = ()
    doubt: str = ""
    upper: Fraction | None = None

    @property
    def ends(self) -> tuple[Fraction, ...]:
        """The value, or both ends of a range."""
        return (self.value,) if self.upper is None else (self.value, self.upper)

    @property
    def reversed(self) -> bool:
        """Whether the range was said with its higher end first."""
        return self.upper is not None and self.upper <= self.value


def reading_rule(unit: str) -> str:
    """Return the name of the rule for a value that the sheet wants in ``unit``."""
    spoken = SPOKEN_UNITS.get(unit)
    return f"{spoken.dimension}-value" if spoken else "number-value"


def unit_words(code: str) -> str:
    """Return the usual spoken name of a unit, as words of the grammar."""
    return spoken_names(code)[0] if code in SPOKEN_UNITS else unit_of(code).plural


def said_unit_names() -> list[tuple[str, str]]:
    """Return (code, spoken name) of every unit, longest names first."""
    pairs = [(code, name) for code in SPOKEN_UNITS for name in spoken_names(code)]
    return sorted(pairs, key=lambda pair: -len(pair[1]))


def fluid_unit(fluid: Fluid) -> str:
    """Return the unit in which ``fluid`` is counted."""
    for amount in (fluid.service, fluid.container, fluid.total):
        if amount:
            return amount.unit
    return "L"


def torque_unit(sheet: Sheet) -> str:
    """Return the unit of the sheet's first torque."""
    return next((s.torque.unit for s in sheet.steps if s.torque), "N.m")


def said_values(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return the readings of a spoken value, the plain one first; () where it is none."""
    quantity = parse_quantity(words) or parse_quantity(["a", *words])
    if quantity is None:
        number = parse_number(words)
        if number is None:
            return ()
        return (SaidValue(number.value),)
    unit = quantity.unit or ""
    plain = SaidValue(quantity.value, unit, quantity.units)
    others = [
        SaidValue(value, other or unit, () if other else quantity.units, "words")
        for value, other in quantity.ambiguous
    ]
    sounds = [SaidValue(v, unit, quantity.units, "sound") for v in quantity.soundalikes]
    return (plain, *others, *_foot_for_two(words), *sounds)


def _foot_for_two(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return 20 for 'twenty two pounds': 'twenty foot pounds' was heard as that, at 0.93."""
    *front, last, unit = words if len(words) > 2 else ("", "", "")
    if last != "two" or unit not in ("pound", "pounds") or front[-1] not in (*TENS, "hundred"):
        return ()
    foot = parse_quantity([*front, "foot", unit])
    return () if foot is None else (SaidValue(foot.value, foot.unit or "", foot.units, "words"),)


def with_other_sign(words: Sequence[str]) -> tuple[SaidValue, ...]:
    """Return what a value sounds like with 'minus' for 'nine', or the other way round.

    'Minus thirty five' was heard as 'niner thirty five', 9.35, in which both recognisings agreed.
    """
    first, *rest = words or [""]
    other = {"minus": "nine", "nine": "minus", "niner": "minus"}.get(first)
    found = said_values([other, *rest]) if other and rest else ()
    return tuple(replace(value, doubt="sound") for value in found)


def in_unit_of_sheet(values: Sequence[SaidValue], wanted: str) -> tuple[SaidValue, ...]:
    """Settle units that have several meanings: the sheet's own where it is among them.

    Where it isn't ('pounds' on a sheet in newton-meters), each meaning becomes a reading.
    """
    settled: list[SaidValue] = []
    for value in values:
        if len(value.units) < 2:
            settled.append(value)
        elif wanted in value.units:
            settled.append(replace(value, unit=wanted, units=()))
        else:
            settled += [
                replace(value, unit=code, units=(), doubt=value.doubt or ("words" if i else ""))
                for i, code in enumerate(value.units)
            ]
    return tuple(settled)
