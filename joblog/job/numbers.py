"""Numbers of a record's body: exact, written as ``3.3`` or ``1/3``."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import Any

_DECIMAL = re.compile(r"-?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", re.IGNORECASE)
_TEXTS = frozenset({"text", "codes", "labels", "vin", "why"})  # of a measurement

MAX_PLACES = 12  # a value with more decimals than this is kept as a fraction

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
    places = _places(exact.denominator)
    if places is None:
        return f"{exact.numerator}/{exact.denominator}"
    # Digits are placed by hand: decimal arithmetic would round beyond its context's precision.
    figures = str(abs(exact.numerator) * 10**places // exact.denominator).rjust(places + 1, "0")
    whole, rest = (figures[:-places], figures[-places:].rstrip("0")) if places else (figures, "")
    return f"{'-' if exact < 0 else ''}{whole}{f'.{rest}' if rest else ''}"


def _places(denominator: int) -> int | None:
    """Return how many decimals a fraction with this denominator needs, None where it has no end."""
    for places in range(MAX_PLACES + 1):
        if 10**places % denominator == 0:
            return places
    return None


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


def with_floats(value: Any, *, is_text: bool = False) -> Any:
    """Undo :func:`without_floats`: texts that are decimal numbers become floats again.

    What stands under a name of ``_TEXTS`` is left: a bar code of figures only is no number.
    ``is_text`` says that ``value`` does.
    """
    if isinstance(value, str):
        return float(value) if not is_text and _DECIMAL.fullmatch(value) else value
    if isinstance(value, dict):
        return {k: with_floats(v, is_text=k in _TEXTS) for k, v in value.items()}
    if isinstance(value, list):
        return [with_floats(v, is_text=is_text) for v in value]
    return value
