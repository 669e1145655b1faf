"""How joblog says things: steps by their phrase, numbers digit by digit, units by their names."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.job.fragments import spoken_form
from joblog.job.numbers import number_text
from joblog.job.said_units import read_back
from joblog.measure.units import Quantity, format_number, format_quantity
from joblog.sheet.model import Step

PLACES = 2  # fractions such as 1/3 are shown to two places; what is kept stays exact


def capital(text: str) -> str:
    """Return ``text`` with its first letter in upper case."""
    return text[:1].upper() + text[1:]


def step_name(step: Step) -> str:
    """Return the words by which joblog itself says ``step``."""
    return spoken_form(step.say[0])


def sayable(value: Decimal | Fraction | int) -> Decimal:
    """Return ``value`` as the decimal that is shown and said; exact unless it has no end."""
    text = number_text(value)
    if "/" not in text:
        return Decimal(text)
    exact = Fraction(value)
    return round(Decimal(exact.numerator) / Decimal(exact.denominator), PLACES)


def shown(value: Decimal | Fraction, unit: str) -> str:
    """Return a value for reading: ``36 lbf·ft``."""
    if not unit:
        return format_number(sayable(value))
    return format_quantity(Quantity(sayable(value), unit))


def said(value: Decimal | Fraction | int, unit: str) -> str:
    """Return a value for speaking, digit by digit: ``three six foot-pounds``."""
    return read_back(sayable(value), unit)


def listed(names: list[str]) -> str:
    """Return names as a spoken list: ``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
