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
