"""Numbers of a record's body: exact, written as ``3.3`` or ``1/3``."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import Any

_DECIMAL = re.compile(r"-?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", re.IGNORECASE)

Number = Decimal | Fraction


def number(text: str) -> Number:
    """Return the exact number that ``text`` means. Raises ValueError where it means none."""
    if "/" in text:
        return Fraction(text)
    if not _DECIMAL.fullmatch(text):
        raise ValueError(f"'{text}' is not a number")
    return Decimal(text)


def number_text(value: Number | int) -> str:
    """Return ``value`` as a record keeps it: a decimal where one is exact, else a fraction."""
    exact = Fraction(value)
    decimal = _as_decimal(exact)
    if decimal is None:
        return f"{exact.numerator}/{exact.denominator}"
    text = format(decimal, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _as_decimal(exact: Fraction) -> Decimal | None:
    places = 0
    denominator = exact.denominator
    while denominator % 10 == 0:
        denominator //= 10
        places += 1
    while denominator % 2 == 0:
        denominator //= 2
        places += 1
    while denominator % 5 == 0:
        denominator //= 5
        places += 1
    if denominator != 1 or places > 12:
        return None
    return Decimal(exact.numerator * 10**places // exact.denominator).scaleb(-places)


def without_floats(value: Any) -> Any:
    """Return ``value`` (JSON-like) with every float as its shortest decimal text."""
    if isinstance(value, bool) or value is None or isinstance(value, int | str):
        return value
    if isinstance(value, float):
        return repr(float(value))
    if isinstance(value, dict):
        return {str(k): without_floats(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [without_floats(v) for v in value]
    return number_text(value) if isinstance(value, Decimal | Fraction) else str(value)


def with_floats(value: Any) -> Any:
    """Undo :func:`without_floats`: texts that are decimal numbers become floats again."""
    if isinstance(value, str):
        return float(value) if _DECIMAL.fullmatch(value) else value
    if isinstance(value, dict):
        return {k: with_floats(v) for k, v in value.items()}
    if isinstance(value, list):
        return [with_floats(v) for v in value]
    return value
