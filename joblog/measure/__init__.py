"""The measure room: the trade's arithmetic, pure and exact, each formula with its source.

Nothing here reads a file, a clock or a setting. Numbers come in as Decimal, Fraction, integer or
decimal text (a float is refused where exactness counts) and are rounded only when shown. Modules:
``units``, ``torque``, ``bolts``, ``volume``, ``level``, ``clocks``, ``due``, ``particles``,
``colour``, ``vin``, and ``numbers`` beneath them.
"""

from joblog.measure.clocks import Timing, Window, elapsed
from joblog.measure.numbers import Number, exact, rounded, to_decimal
from joblog.measure.units import (
    UNITS,
    Quantity,
    Unit,
    convert,
    convert_difference,
    format_number,
    format_quantity,
    same,
    total,
    unit_of,
)

__all__ = [
    "UNITS",
    "Number",
    "Quantity",
    "Timing",
    "Unit",
    "Window",
    "convert",
    "convert_difference",
    "elapsed",
    "exact",
    "format_number",
    "format_quantity",
    "rounded",
    "same",
    "to_decimal",
    "total",
    "unit_of",
]
