"""Units of the trade with exact factors, and quantities in them.

Factors follow from 1 in = 25.4 mm, 1 lb = 0.45359237 kg, g_n = 9.80665 m/s², 1 US gal = 231 in³,
1 imp gal = 4.54609 L, 1 mi = 5280 ft [standard: NIST SP 811 (2008), App. B.8 and B.9]; all exact.
Codes are written as in UCUM's spirit but with the trade's letters, and are what sheets and entries
hold: ``lbf.ft``, ``N.m``, ``qt_us``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.numbers import Number, exact, rounded

_INCH = Fraction("0.0254")
_POUND_FORCE = Fraction("0.45359237") * Fraction("9.80665")
_GALLON_US = 231 * _INCH**3 * 1000  # litres
_GALLON_IMP = Fraction("4.54609")


@dataclass(frozen=True)
class Unit:
    """A unit: SI value = (value + ``offset``) × ``factor``; ``symbol`` is for print."""

    code: str
    dimension: str
    factor: Fraction
    symbol: str
    singular: str
    plural: str
    offset: Fraction = Fraction(0)


def _unit(code: str, dimension: str, factor: Fraction | int | str, symbol: str, name: str) -> Unit:
    singular, _, plural = name.partition("|")
    return Unit(code, dimension, Fraction(factor), symbol, singular, plural or singular + "s")


_TABLE = (
    _unit("N.m", "torque", 1, "N·m", "newton metre"),
    _unit("lbf.ft", "torque", _POUND_FORCE * 12 * _INCH, "lbf·ft", "foot pound"),
    _unit("lbf.in", "torque", _POUND_FORCE * _INCH, "lbf·in", "inch pound"),
    _unit("kgf.m", "torque", "9.80665", "kgf·m", "kilogram-force metre"),
    _unit("N", "force", 1, "N", "newton"),
    _unit("lbf", "force", _POUND_FORCE, "lbf", "pound-force|pounds-force"),
    _unit("L", "volume", 1, "L", "litre"),
    _unit("mL", "volume", "0.001", "mL", "millilitre"),
    _unit("qt_us", "volume", _GALLON_US / 4, "US qt", "quart"),
    _unit("pt_us", "volume", _GALLON_US / 8, "US pt", "pint"),
    _unit("gal_us", "volume", _GALLON_US, "US gal", "gallon"),
    _unit("floz_us", "volume", _GALLON_US / 128, "US fl oz", "fluid ounce"),
    _unit("qt_imp", "volume", _GALLON_IMP / 4, "imp qt", "imperial quart"),
    _unit("gal_imp", "volume", _GALLON_IMP, "imp gal", "imperial gallon"),
    _unit("kPa", "pressure", 1000, "kPa", "kilopascal"),
    _unit("bar", "pressure", 100_000, "bar", "bar|bar"),
    _unit("psi", "pressure", _POUND_FORCE / _INCH**2, "psi", "psi|psi"),
    Unit(
        "degC",
        "temperature",
        Fraction(1),
        "°C",
        "degree Celsius",
        "degrees Celsius",
        Fraction("273.15"),
    ),
    Unit(
        "degF",
        "temperature",
        Fraction(5, 9),
        "°F",
        "degree Fahrenheit",
        "degrees Fahrenheit",
        Fraction("459.67"),
    ),
    _unit("um", "length", "0.000001", "µm", "micrometre"),
    _unit("mm", "length", "0.001", "mm", "millimetre"),
    _unit("in", "length", _INCH, "in", "inch|inches"),
    _unit("km", "length", 1000, "km", "kilometre"),
    _unit("mi", "length", 63360 * _INCH, "mi", "mile"),
    _unit("s", "time", 1, "s", "second"),
    _unit("min", "time", 60, "min", "minute"),
    _unit("h", "time", 3600, "h", "hour"),
    _unit("rpm", "rotation", Fraction(1, 60), "rpm", "rpm|rpm"),
    _unit("deg", "angle", 1, "°", "degree"),
    _unit("V", "voltage", 1, "V", "volt"),
    _unit("A", "current", 1, "A", "ampere"),
    _unit("percent", "ratio", Fraction(1, 100), "%", "percent|percent"),
)

UNITS: dict[str, Unit] = {unit.code: unit for unit in _TABLE}

# Spellings that people write, only to name the right code in an error: never taken silently, since
# 'lb' or 'quart' means different things to different readers.
_SPELLINGS = {
    "ft-lb": "lbf.ft", "ft-lbf": "lbf.ft", "ft_lbf": "lbf.ft", "ftlb": "lbf.ft", "lb-ft": "lbf.ft",
    "lbft": "lbf.ft", "lb.ft": "lbf.ft", "in-lb": "lbf.in", "in-lbf": "lbf.in", "in_lbf": "lbf.in",
    "lb-in": "lbf.in", "nm": "N.m", "n-m": "N.m", "n*m": "N.m", "n·m": "N.m", "kgm": "kgf.m",
    "kgf_m": "kgf.m", "qt": "qt_us", "quart": "qt_us", "us_qt": "qt_us", "pt": "pt_us",
    "pint": "pt_us", "gal": "gal_us", "gallon": "gal_us", "us_gal": "gal_us", "oz": "floz_us",
    "fl_oz": "floz_us", "us_fl_oz": "floz_us", "l": "L", "litre": "L", "liter": "L", "ml": "mL",
    "cc": "mL", "kpa": "kPa", "c": "degC", "°c": "degC", "f": "degF", "°f": "degF", "inch": "in",
    "sec": "s", "hr": "h", "hours": "h", "minutes": "min", "seconds": "s", "miles": "mi", "v": "V",
    "a": "A", "%": "percent", "°": "deg", "ftlbs": "lbf.ft", "inlbs": "lbf.in", "celsius": "degC",
    "fahrenheit": "degF", "volt": "V", "ampere": "A", "amp": "A", "degree": "deg",
}  # fmt: skip

# Units of which no code is known, in one that is [NIST SP 811, appendix B.8].
_ELSEWHERE = {
    "mbar": "kPa (1 mbar is 0.1 kPa)", "hpa": "kPa (1 hPa is 0.1 kPa)",
    "mpa": "bar (1 MPa is 10 bar)", "inhg": "kPa (1 inHg is 3.386 kPa)",
    "mmhg": "kPa (1 mmHg is 0.1333 kPa)", "torr": "kPa (1 torr is 0.1333 kPa)",
    "cl": "mL (1 cL is 10 mL)", "dl": "mL (1 dL is 100 mL)", "cm": "mm (1 cm is 10 mm)",
    "ncm": "N.m (1 N·cm is 0.01 N·m)",
}  # fmt: skip


def _bare(code: str) -> str:
    """Return a spelling without its dots, dashes, capitals and plural."""
    letters = "".join(sign for sign in code.casefold() if sign.isalpha() or sign in "%°")
    return letters[:-1] if len(letters) > 2 and letters.endswith("s") else letters


_SPELT = {_bare(code): code for code in UNITS} | {_bare(s): code for s, code in _SPELLINGS.items()}


def unit_of(code: str) -> Unit:
    """Return the unit with that code; raises InputError naming the known ones."""
    unit = UNITS.get(code)
    if unit is None:
        # Never what is only spelled alike: 'bar' for 'mbar' would be a thousand times too much.
        meant = _SPELLINGS.get(code.strip().lower()) or _SPELT.get(_bare(code))
        hint = f"write {meant!r}" if meant else "write one of " + ", ".join(UNITS)
        if not meant and _bare(code) in _ELSEWHERE:
            hint = f"write it in {_ELSEWHERE[_bare(code)]}"
        raise InputError(f"the unit {code!r} is unknown; {hint}")
    return unit


@dataclass(frozen=True)
class Quantity:
    """An exact value in a unit. Raises InputError for a float, an unknown unit, or below 0 K."""

    value: Decimal | Fraction
    unit: str

    def __post_init__(self) -> None:
        unit = unit_of(self.unit)
        value = exact(self.value, f"the value in {unit.symbol}")
        if isinstance(self.value, int | str):
            object.__setattr__(
                self, "value", value if "/" in str(self.value) else Decimal(self.value)
            )
        if unit.dimension == "temperature" and value + unit.offset < 0:
            raise InputError(f"{self.value} {unit.symbol} is below absolute zero; check the value")

    @classmethod
    def of(cls, value: Number, unit: str) -> Quantity:
        """Return a quantity of any exact number, decimal text included."""
        if isinstance(value, Decimal | Fraction):
            return cls(value, unit)
        number = exact(value)
        return cls(number if isinstance(value, str) and "/" in value else Decimal(value), unit)

    @property
    def exact(self) -> Fraction:
        """The value as a fraction."""
        return Fraction(self.value)

    @property
    def dimension(self) -> str:
        """What is measured: 'torque', 'volume' ..."""
        return unit_of(self.unit).dimension

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(self.exact + convert(other, self.unit).exact, self.unit)

    def __sub__(self, other: Quantity) -> Quantity:
        return Quantity(self.exact - convert(other, self.unit).exact, self.unit)

    def scaled(self, by: Number) -> Quantity:
        """Return this quantity ``by`` times; a temperature has no such multiple."""
        if self.dimension == "temperature":
            raise InputError("twice a temperature means nothing; take a difference")
        return Quantity(self.exact * exact(by, "the multiple"), self.unit)

    def __str__(self) -> str:
        return format_quantity(self)


def si_value(quantity: Quantity) -> Fraction:
    """Return the value in the unit that its dimension is reckoned in (N·m, L, Pa, K, m, s)."""
    unit = unit_of(quantity.unit)
    return (quantity.exact + unit.offset) * unit.factor


def convert(quantity: Quantity, to: str) -> Quantity:
    """Return the same quantity in the unit ``to``, exactly.

    Raises InputError where the two units don't measure the same thing (a torque in litres).
    """
    target = unit_of(to)
    if quantity.unit == to:
        return quantity
    source = unit_of(quantity.unit)
    if source.dimension != target.dimension:
        raise InputError(
            f"{format_quantity(quantity)} is a {source.dimension} and can't be given in "
            f"{target.symbol}, which is a {target.dimension}"
        )
    return Quantity(si_value(quantity) / target.factor - target.offset, to)


def convert_difference(value: Number, unit: str, to: str) -> Fraction:
    """Return a difference in another unit: a rise of 40 °C is one of 72 °F, without the offset."""
    source, target = unit_of(unit), unit_of(to)
    if source.dimension != target.dimension:
        raise InputError(f"a difference in {source.symbol} can't be given in {target.symbol}")
    return exact(value) * source.factor / target.factor


def same(first: Quantity, second: Quantity) -> bool:
    """Say whether two quantities are equal, whatever their units (1 US gal and 4 US qt)."""
    return convert(second, first.unit).exact == first.exact


def total(quantities: Iterable[Quantity], unit: str) -> Quantity:
    """Return the exact sum of quantities in mixed units, in ``unit``."""
    return Quantity(sum((convert(q, unit).exact for q in quantities), Fraction(0)), unit)


def format_quantity(quantity: Quantity, places: int | None = None, *, words: bool = False) -> str:
    """Return text such as '48.8 N·m', always with a decimal point and no grouping.

    ``places`` fixes the decimals; without it a value that ends is shown whole and any other at
    three. ``words`` gives the unit's name ('3.3 quarts').
    """
    unit = unit_of(quantity.unit)
    text = format_number(quantity.value, places)
    if words:
        return f"{text} {unit.singular if text == '1' else unit.plural}"
    return f"{text}{'' if unit.symbol in {'%', '°'} else ' '}{unit.symbol}"


def format_number(value: Number, places: int | None = None) -> str:
    """Return decimal text of ``value``; see ``format_quantity`` for ``places``."""
    if places is not None:
        return f"{rounded(value, places):f}"
    number = exact(value)
    decimals = next((n for n in range(7) if number * 10**n % 1 == 0), 3)
    return f"{rounded(number, decimals):f}"
