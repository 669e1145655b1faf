"""Spoken values of the job's grammar: the rules for them, and what they mean.

Numbers and units are those of :mod:`joblog.speech.numbers`; here are only the rule names that the
phrases use, each for the values that can be said at that place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from joblog.measure.units import unit_of
from joblog.sheet.model import Sheet
from joblog.speech.number_rules import JSGF_NUMBER_RULES
from joblog.speech.numbers import parse_number, parse_quantity
from joblog.speech.units_spoken import DIMENSIONS, SPOKEN_UNITS, spoken_names

# What can be said is kept as narrow as the trade is: a recogniser that may believe in 141 111
# quarts will, in noise. Figures one by one go up to three, decimals to two places.

_RULES = {
    "two-figures-said": "<under_hundred> | <one_to_nine> <digit>",
    "three-figures-said": "<two-figures-said> | <one_to_nine> <digit> <digit> | <hundreds>"
    " | <under_hundred> (<two_figures> | oh <one_to_nine>)",
    "places": "point <digit> [<digit>]",
    "torque-value": "<three-figures-said> [<places>] [<torque_unit>]",
    "share-value": "<part>",
    "number-value": "<number>",
}
_SHAPES = {
    "volume": "({count} [<places>] | [<zero>] <places> | <mixed> | <part> [of]) <volume_unit>"
    " | (<part> [of] | quarter of | third of) a <volume-unit-one>"
    " | a <volume-unit-one> [and <part>]",
    "more": "[<part> [of a]] <volume-unit-one> | <part>"
    " | ({count} [<places>] | [<zero>] <places>) <volume_unit>",
    "temperature": "[minus] (<three-figures-said> | <zero>) [<places>] [<temperature_unit>]",
    "pressure": "(<three-figures-said> [<places>] | [<zero>] <places>) [<pressure_unit>]",
    "angle": "<three-figures-said> [<angle_unit>]",
    "ratio": "(<three-figures-said> | <zero>) [<places>] [<ratio_unit>]",
    "voltage": "(<three-figures-said> [<places>] | [<zero>] <places>) [<voltage_unit>]",
    "length": "(<three-figures-said> [<places>] | [<zero>] <places> | <fraction>) [<length_unit>]",
}
LARGE = 100  # from here on an amount is said with hundreds

VALUE_RULES = frozenset(
    {"torque-value", "more-value", "share-value", "bare-value", "number-value"}
    | {f"{dimension}-value" for dimension in DIMENSIONS}
)


@dataclass(frozen=True)
class SaidValue:
    """One reading of a number as said.

    ``unit`` is its code, '' where none was said; ``units`` are the codes that its unit may mean
    ('degrees') where it has several. ``doubt`` is '' for the plain reading, 'words' where the same
    words may mean this too ('one twenty': 1.20), 'sound' where similar words do ('thirty': 13).
    """

    value: Fraction
    unit: str = ""
    units: tuple[str, ...] = ()
    doubt: str = ""


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


def torque_unit(sheet: Sheet) -> str:
    """Return the unit of the sheet's first torque."""
    return next((s.torque.unit for s in sheet.steps if s.torque), "N.m")


def value_rules(sheet: Sheet) -> list[str]:
    """Return the rules that the phrases of ``sheet`` refer to, the spoken numbers included."""
    used = _dimensions(sheet)
    count = "<three-figures-said>" if _large_volumes(sheet) else "<two-figures-said>"
    lines = [f"<{name}> = {body};" for name, body in _RULES.items()]
    lines.append(f"<volume-unit-one> = {' | '.join(_names_of_one('volume'))};")
    for dimension in dict.fromkeys([*used, "volume", "more"]):
        if f"{dimension}-value" not in _RULES:
            shape = _SHAPES.get(dimension, f"<{dimension}_quantity>").format(count=count)
            lines.append(f"<{dimension}-value> = {shape};")
    bare = " | ".join(f"<{name}_unit>" for name in used)
    number = "[minus] (<three-figures-said> [<places>] | [<zero>] <places> | <zero>) | <fraction>"
    lines.append(f"<bare-value> = ({number}){f' [{bare}]' if bare else ''};")
    return [*lines, "", JSGF_NUMBER_RULES]


def _large_volumes(sheet: Sheet) -> bool:
    """Say whether the sheet counts its fluids in hundreds, such as millilitres."""
    amounts = [a for f in sheet.fluids for a in (f.service, f.container, f.total) if a]
    return any(amount.value >= LARGE for amount in amounts)


def _names_of_one(dimension: str) -> list[str]:
    """Return the names of one unit of ``dimension``: 'quart', not 'quarts'."""
    names: dict[str, None] = {}
    for unit in SPOKEN_UNITS.values():
        if unit.dimension == dimension:
            others = [name for name in spoken_names(unit.code) if not name.endswith("s")]
            names.update(dict.fromkeys(others))
    return list(names)


def _dimensions(sheet: Sheet) -> list[str]:
    found: dict[str, None] = {}
    for step in sheet.steps:
        if step.torque:
            found["torque"] = None
            if step.torque.angle is not None:
                found["angle"] = None
        if step.pour:
            found["volume"] = None
        if step.reading and step.reading.unit in SPOKEN_UNITS:
            found[SPOKEN_UNITS[step.reading.unit].dimension] = None
    return list(found)


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
    return (plain, *others, *sounds)


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
