"""Values with their unit, in the reader's units: US customary, metric or both.

A value is shown as it was recorded where the reader's units allow that; a converted one is rounded
to the step that a tool can show, and the record keeps the exact value.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from joblog.errors import InputError
from joblog.measure.units import UNITS, Quantity, convert
from joblog.report.language import Language, Number, to_decimal
from joblog.report.text import clean

Units = Literal["us", "metric", "both"]
Paper = Literal["a4", "letter"]
NBSP = "\u00a0"


# Code of a unit -> (system, decimals a reader can use, unit of the other system).
_SYSTEM: dict[str, tuple[str, int, str]] = {
    "lbf.ft": ("us", 1, "N.m"),
    "lbf.in": ("us", 0, "N.m"),
    "N.m": ("metric", 1, "lbf.ft"),
    "kgf.m": ("metric", 2, "lbf.ft"),
    "lbf": ("us", 0, "N"),
    "N": ("metric", 0, "lbf"),
    "qt_us": ("us", 2, "L"),
    "pt_us": ("us", 2, "L"),
    "gal_us": ("us", 2, "L"),
    "floz_us": ("us", 1, "mL"),
    "qt_imp": ("imperial", 2, "L"),
    "gal_imp": ("imperial", 2, "L"),
    "L": ("metric", 2, "qt_us"),
    "mL": ("metric", 0, "floz_us"),
    "degF": ("us", 0, "degC"),
    "degC": ("metric", 0, "degF"),
    "psi": ("us", 1, "kPa"),
    "kPa": ("metric", 0, "psi"),
    "bar": ("metric", 2, "psi"),
    "in": ("us", 3, "mm"),
    "mm": ("metric", 2, "in"),
    "mi": ("us", 0, "km"),
    "km": ("metric", 0, "mi"),
}
_IMPERIAL_IN_US = {"qt_imp": "qt_us", "gal_imp": "gal_us"}


def sign(unit: str) -> str:
    """Return how ``unit`` is printed; an unknown one is printed as it is recorded.

    No line ends inside it: 'US' and 'qt' stay together.
    """
    return UNITS[unit].symbol.replace(" ", "\u00a0") if unit in UNITS else clean(unit)


def with_sign(figure: str, unit: str) -> str:
    """Return a figure with its unit's sign: '28 lbf·ft', '90°'."""
    return f"{figure}{'' if unit == 'deg' else NBSP}{sign(unit)}"


def reader_units(unit: str, units: Units, limits_in: str = "") -> list[str]:
    """Return the units that a value in ``unit`` is shown in, the first first.

    What is converted is shown in the unit of its limits (``limits_in``) where the reader uses that.
    """
    if unit not in _SYSTEM:
        return [unit]
    system, _, other = _SYSTEM[unit]
    alike = limits_in in _SYSTEM and UNITS[limits_in].dimension == UNITS[unit].dimension
    if alike and _SYSTEM[limits_in][0] == _SYSTEM[other][0]:
        other = limits_in
    if units == "both":
        return [unit, other]
    if system == units:
        return [unit]
    return [_IMPERIAL_IN_US.get(unit, other)] if units == "us" else [other]


def figure(
    t: Language, value: Number, recorded: str, unit: str, apart_from: Sequence[Number] = ()
) -> str:
    """Return the number for ``value`` (in ``recorded``) shown in ``unit``, without the sign.

    It gets as many decimals as it takes to be rounded onto none of ``apart_from``: a limit that it
    is beyond, the other end of a range.
    """
    if unit == recorded:
        return t.number(value)
    shown = _exactly(value, recorded, unit)
    if shown.denominator == 1:  # zeros after the point would claim more than was measured
        return t.number(shown, 0)
    others = [_exactly(other, recorded, unit) for other in apart_from if other != value]
    places = _SYSTEM[unit][1]
    while to_decimal(shown, places) in {to_decimal(other, places) for other in others}:
        places += 1
    return t.number(shown, places)


def _exactly(value: Number, recorded: str, unit: str) -> Fraction:
    return convert(Quantity.of(Fraction(value), recorded), unit).exact


def quantity(
    t: Language,
    value: Number,
    unit: str,
    units: Units,
    beyond: Number | None = None,
    *,
    limits_in: str = "",
) -> str:
    """Return 'value unit' in the reader's units, such as '28 lbf·ft (38.0 N·m)'.

    ``beyond`` is the limit, in ``unit``, that the value is outside of, if any; ``limits_in`` the
    unit in which its limits are shown.
    """
    limit = () if beyond is None else (beyond,)
    shown = [
        with_sign(figure(t, value, unit, each, limit), each)
        for each in reader_units(unit, units, limits_in)
    ]
    return shown[0] if len(shown) == 1 else f"{shown[0]} ({shown[1]})"


def on_the_meter(t: Language, value: Number, unit: str, units: Units) -> str:
    """Return what an odometer or hour meter shows, as it stands on the dial.

    Behind it, in brackets, the same in the reader's units where those are others.
    """
    shown = with_sign(figure(t, value, unit, unit), unit)
    others = [each for each in reader_units(unit, units) if each != unit]
    if not others:
        return shown
    return f"{shown} ({with_sign(figure(t, value, unit, others[0]), others[0])})"


def between(t: Language, low: Number | None, high: Number | None, unit: str, units: Units) -> str:
    """Return a range in the reader's units: '25 to 31 lbf·ft', 'at least 1 L', or ''."""
    parts: list[str] = []
    if low is None and high is None:
        return ""
    for each in reader_units(unit, units):
        lowest = "" if low is None else figure(t, low, unit, each)
        highest = "" if high is None else figure(t, high, unit, each)
        name = sign(each)
        if lowest and lowest == highest:
            parts.append(with_sign(lowest, each))
        elif each == "deg":
            parts.append(between_degrees(t, lowest, highest))
        elif lowest and highest:
            parts.append(t.say("{low} to {high} {unit}", low=lowest, high=highest, unit=name))
        elif lowest:
            parts.append(t.say("at least {low} {unit}", low=lowest, unit=name))
        elif highest:
            parts.append(t.say("at most {high} {unit}", high=highest, unit=name))
    return parts[0] if len(parts) < 2 else f"{parts[0]} ({parts[1]})"


def ranged(
    t: Language,
    ends: tuple[Number, Number],
    unit: str,
    units: Units,
    limits: Sequence[Number | None] = (),
    *,
    limits_in: str = "",
) -> str:
    """Return a range that was read: '40 to 42 psi (2.76 to 2.90 bar)'.

    ``limits``, in ``unit``, are the lowest and the highest that it should be. In other units than
    its own an end gets as many decimals as it takes to be neither the other end nor beyond a limit
    that it keeps, or the other way round. ``limits_in`` is the unit in which those are shown.
    """
    apart = [*ends, *(limit for limit in limits if limit is not None)]
    shown = []
    for each in reader_units(unit, units, limits_in):
        low, high = (figure(t, end, unit, each, apart) for end in ends)
        shown.append(t.say("{low} to {high} {unit}", low=low, high=high, unit=sign(each)))
    return shown[0] if len(shown) == 1 else f"{shown[0]} ({shown[1]})"


def between_degrees(t: Language, lowest: str, highest: str) -> str:
    """Return a range of an angle, whose sign stands at each figure: '25° to 35°'."""
    low, high = (with_sign(one, "deg") if one else "" for one in (lowest, highest))
    if low and high:
        return t.say("{low} to {high}", low=low, high=high)
    return t.say("at least {low}", low=low) if low else t.say("at most {high}", high=high)


def exact(text: object) -> Decimal | None:
    """Return a number recorded as text or integer, or None where there is none.

    Raises InputError for text that is not a number.
    """
    if text is None or isinstance(text, bool) or text == "":
        return None
    try:
        value = Decimal(str(text))
    except ArithmeticError as error:
        raise InputError(f"{text!r} in the record is not a number") from error
    return value if value.is_finite() else None
