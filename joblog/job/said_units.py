"""Spoken values: which numbers and units a phrase may hold, and what they mean."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from joblog.measure.units import UNITS, unit_of
from joblog.sheet.model import Sheet

DIGITS = ["zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
_DIGIT = {
    "zero": 0,
    "oh": 0,
    "niner": 9,
    "fife": 5,
    "tree": 3,
    **{
        word: i
        for i, word in enumerate(
            ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
        )
    },
}
_TEEN = {
    word: i + 10
    for i, word in enumerate(
        [
            "ten",
            "eleven",
            "twelve",
            "thirteen",
            "fourteen",
            "fifteen",
            "sixteen",
            "seventeen",
            "eighteen",
            "nineteen",
        ]
    )
}
_TENS = {
    word: 10 * (i + 2)
    for i, word in enumerate(
        ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
    )
}
_SHARES = {
    "half": Fraction(1, 2),
    "third": Fraction(1, 3),
    "thirds": Fraction(1, 3),
    "quarter": Fraction(1, 4),
    "quarters": Fraction(1, 4),
    "fourth": Fraction(1, 4),
}

_WORDS: dict[str, tuple[str, ...]] = {
    "lbf.ft": ("foot pounds", "foot pound", "pound feet"),
    "lbf.in": ("inch pounds", "inch pound"),
    "N.m": ("newton metres", "newton meters", "newton metre", "newton meter"),
    "kgf.m": ("kilogram metres", "kilogram meters"),
    "L": ("litres", "liters", "litre", "liter"),
    "mL": ("millilitres", "milliliters"),
    "qt_us": ("quarts", "quart"),
    "pt_us": ("pints", "pint"),
    "gal_us": ("gallons", "gallon"),
    "floz_us": ("fluid ounces", "fluid ounce", "ounces"),
    "degC": ("degrees celsius", "celsius", "degrees"),
    "degF": ("degrees fahrenheit", "fahrenheit"),
    "kPa": ("kilopascals", "kilopascal"),
    "bar": ("bar",),
    "psi": ("p s i", "pounds per square inch"),
    "mm": ("millimetres", "millimeters", "millimetre", "millimeter"),
    "in": ("inches", "inch"),
    "km": ("kilometres", "kilometers"),
    "mi": ("miles", "mile"),
    "s": ("seconds", "second"),
    "min": ("minutes", "minute"),
    "h": ("hours", "hour"),
    "rpm": ("r p m", "revolutions"),
    "deg": ("degrees", "degree"),
    "V": ("volts", "volt"),
    "A": ("amperes", "amps", "amp"),
    "percent": ("percent",),
}


@dataclass(frozen=True)
class SaidValue:
    """A number as said, and the code of its unit ('' where none was said)."""

    value: Decimal | Fraction
    unit: str = ""


VALUE_RULES = frozenset(
    {f"{unit.dimension}-value" for unit in UNITS.values()}
    | {"more-value", "share-value", "bare-value"}
)


def dimension_rule(dimension: str) -> str:
    return f"{dimension}-value"


def said_unit_names() -> list[tuple[str, str]]:
    """Return (code, spoken name) of every unit, longest names first."""
    pairs = [(code, name) for code, names in _WORDS.items() for name in names]
    return sorted(pairs, key=lambda pair: -len(pair[1]))


def unit_words(code: str) -> str:
    return _WORDS[code][0] if code in _WORDS else unit_of(code).plural


def example_unit(sheet: Sheet, dimension: str) -> str:
    for step in sheet.steps:
        if dimension == "torque" and step.torque:
            return unit_words(step.torque.unit)
    return ""


def value_rules(sheet: Sheet) -> list[str]:
    lines = [
        "<digit> = " + " | ".join([*DIGITS, "niner"]) + ";",
        "<number> = [minus] (<digit>+ | <tens> | <hundreds>) [point <digit>+];",
        "<tens> = (" + " | ".join(_TENS) + ") [<digit>] | " + " | ".join(_TEEN) + ";",
        "<hundreds> = (<digit> | a) hundred [and] [<tens> | <digit>];",
        "<share> = (a | one) (half | third | quarter) | half | two thirds | three quarters;",
        "<bare-value> = <number> [<any-unit>];",
        "<share-value> = <share>;",
        "<which-number> = <digit>;",
        "<more-value> = [<share>] <volume-unit> | <share>;",
    ]
    dimensions = dict.fromkeys(UNITS[code].dimension for code in _WORDS)
    for dimension in dimensions:
        words = [
            w for code, all_ in _WORDS.items() if UNITS[code].dimension == dimension for w in all_
        ]
        lines.append(f"<{dimension}-unit> = {' | '.join(words)};")
        extra = ""
        if dimension == "volume":
            extra = " | <share> [a] <volume-unit> | a <volume-unit> | <number> and (a half | a third) <volume-unit>"
        lines.append(f"<{dimension}-value> = <number> [<{dimension}-unit>]{extra};")
    lines.append("<any-unit> = " + " | ".join(f"<{d}-unit>" for d in dimensions) + ";")
    return lines


def said_values(words: tuple[str, ...], rule: str) -> tuple[SaidValue, ...]:
    text = " ".join(words)
    unit = ""
    dimension = rule.removesuffix("-value")
    for code, names in sorted(_WORDS.items(), key=lambda kv: -max(map(len, kv[1]))):
        if dimension in ("more", "share", "bare") or UNITS[code].dimension == dimension:
            for name in names:
                if text == name or text.endswith(" " + name):
                    unit, text = code, text[: len(text) - len(name)].strip()
                    break
        if unit:
            break
    value = _number(text.split()) if text else Fraction(1)
    return (SaidValue(value, unit),) if value is not None else ()


def _number(words: list[str]) -> Decimal | Fraction | None:
    words = [w for w in words if w != "of"]
    if words and words[-1] in _SHARES:
        share = _SHARES[words[-1]]
        rest = words[:-1]
        if "and" in rest:
            whole = _number(rest[: rest.index("and")])
            return None if whole is None else Fraction(whole) + share
        count = {"two": 2, "three": 3}.get(rest[-1], 1) if rest else 1
        return share * count
    if words == ["a"]:
        return Decimal(1)
    sign = -1 if words[:1] == ["minus"] else 1
    words = words[1:] if sign < 0 else words
    whole, _, after = " ".join(words).partition("point")
    digits = "".join(str(_DIGIT[w]) for w in after.split())
    total = _whole(whole.split())
    return sign * Decimal(f"{total}.{digits}" if digits else str(total))


def _whole(words: list[str]) -> int:
    if words and all(w in _DIGIT for w in words):
        return int("".join(str(_DIGIT[w]) for w in words))
    total = 0
    for word in words:
        if word == "hundred":
            total = max(total, 1) * 100
        else:
            total += _DIGIT.get(word, 0) + _TEEN.get(word, 0) + _TENS.get(word, 0)
    return total


def read_back(value: Decimal, unit: str) -> str:
    names = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    text = f"{value:f}"
    spoken = " ".join({"-": "minus", ".": "decimal"}.get(c) or names[int(c)] for c in text)
    if not unit:
        return spoken
    found = unit_of(unit)
    return f"{spoken} {found.singular if value == 1 else found.plural}".lower()
