"""What a rule says about a sheet, and amounts that may be wrong in every way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from joblog.measure.units import UNITS
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Amount


@dataclass(frozen=True)
class Complaint:
    """One mistake: where it stands and one sentence that says what is wrong and what to write.

    A ``remark`` may be meant as it is: it is told, and stops nothing. A mistake that doesn't
    ``stop`` fails the check, but a job may be opened with the sheet: its kit list warns, too.
    """

    path: FieldPath
    sentence: str
    remark: bool = False
    stops: bool = True


Found = Iterator[Complaint]


def in_si(value: Decimal, unit: str, dimension: str) -> Fraction | None:
    """Return a value in the SI unit of ``dimension``, None where its unit is of another kind."""
    known = UNITS.get(unit)
    if known is None or known.dimension != dimension:
        return None
    return (Fraction(value) + known.offset) * known.factor


def size(amount: Amount | None, dimension: str) -> Fraction | None:
    """Return an amount in the SI unit (litres for volumes), None where there is none of the kind.

    Wrong units are told by a rule of their own; the others leave such amounts alone.
    """
    return in_si(amount.value, amount.unit, dimension) if amount else None


def plain(number: Fraction | Decimal) -> str:
    """Return a number as it is written on a sheet, to four figures where it has no end."""
    exact = Fraction(number)
    if exact.denominator == 1:
        return str(exact.numerator)
    for places in range(1, 5):
        if (exact * 10**places).denominator == 1:
            return f"{float(exact):.{places}f}"
    return f"{float(exact):.4g}"


def told(amount: Amount) -> str:
    """Return an amount with its unit's code, as its author wrote it."""
    return f"{amount.value} {amount.unit}"
