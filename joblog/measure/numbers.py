"""Exact numbers: what comes in is Decimal, Fraction, integer or decimal text, never float.

Sums are done in fractions, so nothing is lost on the way; rounding happens once, where a number is
shown (half away from zero, as people do it).
"""

from __future__ import annotations

import re
from decimal import Context, Decimal
from fractions import Fraction

from joblog.errors import InputError

Number = int | Decimal | Fraction | str

_TEXT = re.compile(r"[+-]?[0-9]{1,30}(\.[0-9]{1,30}|/[0-9]{1,30})?", re.ASCII)
_MAX_EXPONENT = 30

# Thirty-four digits (IEEE 754 decimal128): Decimal.exp and .sqrt are correctly rounded, so results
# are the same on every machine, which those of a platform's math library need not be.
CONTEXT = Context(prec=34)


def exact(value: Number, what: str = "the value") -> Fraction:
    """Return ``value`` as a fraction.

    Raises InputError for a float (its decimals aren't those that were said), for NaN, infinity and
    absurd exponents, and for text that is not a plain decimal such as '3.3' or a fraction '1/3'.
    """
    if isinstance(value, bool) or not isinstance(value, (int, Decimal, Fraction, str)):
        raise InputError(
            f"{what} is {value!r}, a {type(value).__name__}; give an exact number, such as '3.3'"
        )
    if isinstance(value, str):
        if not _TEXT.fullmatch(value.strip()) or value.strip().endswith("/0"):
            raise InputError(f"{what} is {value!r}, which is no number; write it as 3.3 or 1/3")
        return _divided(value.strip(), what)
    if isinstance(value, Decimal) and not (
        value.is_finite() and abs(value.adjusted()) <= _MAX_EXPONENT
    ):
        raise InputError(f"{what} is {value}, which no measurement can be")
    return Fraction(value)


def _divided(text: str, what: str) -> Fraction:
    try:
        return Fraction(text)
    except ZeroDivisionError as error:
        raise InputError(f"{what} is {text!r}, a division by zero") from error


def rounded(value: Number, places: int) -> Decimal:
    """Return ``value`` rounded to ``places`` decimals, halves away from zero."""
    scaled = exact(value) * 10**places
    magnitude = (abs(scaled.numerator) * 2 + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(-magnitude if scaled < 0 else magnitude).scaleb(-places)


def to_decimal(value: Number) -> Decimal:
    """Return ``value`` as Decimal: exact where it ends within 34 digits, else rounded there."""
    fraction = exact(value)
    return CONTEXT.divide(Decimal(fraction.numerator), Decimal(fraction.denominator))


def from_float(value: float) -> Fraction:
    """Return a computed float (a cosine, a length in a photo) at twelve significant digits."""
    return Fraction(Decimal(f"{value:.11e}"))
