"""Numbers as a record or a measurement holds them, whatever form they come in."""

from __future__ import annotations

from decimal import Decimal

_ABSURD = Decimal("1e12")  # no reading of a vehicle or of a photo comes near it


def as_decimal(value: object) -> Decimal | None:
    """Return a measured number, exact as it is written, or None where there is none."""
    if value is None or isinstance(value, bool):
        return None
    try:
        number = Decimal(str(value))
    except ArithmeticError:
        return None
    return number if number.is_finite() and abs(number) < _ABSURD else None


def as_lab(value: object) -> tuple[float, float, float] | None:
    """Return L*, a*, b* of a measured colour, or None where there are no three numbers."""
    if not isinstance(value, list | tuple) or len(value) != 3:
        return None
    lightness, a, b = (as_decimal(x) for x in value)
    if lightness is None or a is None or b is None:
        return None
    return float(lightness), float(a), float(b)
