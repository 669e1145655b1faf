"""Units as they are spoken, and the codes that sheets and entries hold.

Some names are short for more than one unit ('pounds' on a torque wrench, 'degrees' anywhere): they
stand under all of them, and whoever needs the unit has to ask. 'Quart', 'pint', 'gallon' and
'ounce' without a word before them mean the US measure [common practice, no source].
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True)
class SpokenUnit:
    """A unit's code, what it measures, how joblog says it and what else it is called.

    ``others`` holds further names; those after ``shared`` are names that other units have too.
    """

    code: str
    dimension: str
    singular: str
    plural: str
    others: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()


def _unit(code: str, dimension: str, name: str, others: str = "", shared: str = "") -> SpokenUnit:
    singular, plural = name.split("|")
    return SpokenUnit(code, dimension, singular, plural, _names(others), _names(shared))


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split("|") if name.strip())


_TABLE = (
    _unit("lbf.ft", "torque", "foot-pound|foot-pounds", "pound feet|pound foot", "pounds|pound"),
    _unit("lbf.in", "torque", "inch-pound|inch-pounds", "pound inches|pound inch", "pounds|pound"),
    _unit("N.m", "torque", "newton-meter|newton-meters", "newton metre|newton metres"),
    _unit(
        "kgf.m",
        "torque",
        "kilogram-meter|kilogram-meters",
        "kilogram metre|kilogram metres|kilogram force meters|kilogram force metres",
    ),
    _unit("qt_us", "volume", "quart|quarts", "us quart|us quarts"),
    _unit("pt_us", "volume", "pint|pints", "us pint|us pints"),
    _unit("gal_us", "volume", "gallon|gallons", "us gallon|us gallons"),
    _unit("floz_us", "volume", "fluid ounce|fluid ounces", "ounce|ounces"),
    _unit("qt_imp", "volume", "imperial quart|imperial quarts"),
    _unit("gal_imp", "volume", "imperial gallon|imperial gallons"),
    _unit("L", "volume", "liter|liters", "litre|litres"),
    _unit("mL", "volume", "milliliter|milliliters", "millilitre|millilitres|c c"),
    _unit("psi", "pressure", "p s i|p s i", "psi|pounds per square inch|pound per square inch"),
    _unit("bar", "pressure", "bar|bar", "bars"),
    _unit("kPa", "pressure", "kilopascal|kilopascals"),
    _unit(
        "degC",
        "temperature",
        "degree celsius|degrees celsius",
        "celsius|centigrade|degrees centigrade|degrees c",
        "degrees|degree",
    ),
    _unit(
        "degF",
        "temperature",
        "degree fahrenheit|degrees fahrenheit",
        "fahrenheit|degrees f",
        "degrees|degree",
    ),
    _unit("deg", "angle", "degree|degrees", "", "degrees|degree"),
    _unit("mm", "length", "millimeter|millimeters", "millimetre|millimetres"),
    _unit("in", "length", "inch|inches"),
    _unit("mi", "distance", "mile|miles"),
    _unit("km", "distance", "kilometer|kilometers", "kilometre|kilometres"),
    _unit("s", "time", "second|seconds"),
    _unit("min", "time", "minute|minutes"),
    _unit("h", "time", "hour|hours"),
    _unit("rpm", "rotation", "r p m|r p m", "rpm|revolutions per minute|revs"),
    _unit("V", "voltage", "volt|volts"),
    _unit("A", "current", "amp|amps", "ampere|amperes"),
    _unit("percent", "ratio", "percent|percent", "per cent"),
)

SPOKEN_UNITS: dict[str, SpokenUnit] = {unit.code: unit for unit in _TABLE}
DIMENSIONS: tuple[str, ...] = tuple(dict.fromkeys(unit.dimension for unit in _TABLE))
LONGEST_NAME = 4  # words in the longest name: 'pounds per square inch'


def spoken_names(code: str) -> tuple[str, ...]:
    """Return every name of a unit as words without hyphens, the usual plural first."""
    unit = SPOKEN_UNITS[code]
    names = (unit.plural, unit.singular, *unit.others, *unit.shared)
    return tuple(dict.fromkeys(name.replace("-", " ") for name in names))


@lru_cache(maxsize=1)
def _codes() -> dict[str, tuple[str, ...]]:
    table: dict[str, list[str]] = {}
    for code in SPOKEN_UNITS:
        for name in spoken_names(code):
            table.setdefault(name, []).append(code)
    return {name: tuple(codes) for name, codes in table.items()}


def unit_codes(name: str) -> tuple[str, ...]:
    """Return the codes that a spoken name may mean: none if unknown, several if one must ask."""
    return _codes().get(name.lower().replace("-", " "), ())


def unit_name(code: str, *, one: bool = False) -> str:
    """Return how joblog says a unit; raises KeyError for a code that it has no words for."""
    unit = SPOKEN_UNITS[code]
    return unit.singular if one else unit.plural


def unit_rules() -> str:
    """Return one JSGF rule a dimension: ``<torque_unit> = foot pounds | ...;``."""
    rules = []
    for dimension in DIMENSIONS:
        names: dict[str, None] = {}
        for unit in SPOKEN_UNITS.values():
            if unit.dimension == dimension:
                names.update(dict.fromkeys(spoken_names(unit.code)))
        rules.append(f"<{dimension}_unit> = {' | '.join(names)};\n")
    return "".join(rules)
