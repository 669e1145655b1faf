"""Whether a number can be meant at all on this sheet, before anyone records it."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.job.said_units import SaidValue
from joblog.job.types import FluidState
from joblog.job.values import converted
from joblog.measure.units import UNITS
from joblog.sheet.model import ReadingWanted, Torque

ZERO = Decimal(0)
TOO_MUCH = 2  # times the specification: beyond it a torque or quantity is asked, not believed


def torque_fits(value: SaidValue, wanted: Torque) -> bool:
    """Say whether a torque is within the sheet's tolerance."""
    exact = converted(value.value, value.unit or wanted.unit, wanted.unit)
    return exact is not None and abs(exact - Fraction(wanted.value)) <= wanted.tolerance


def reading_fits(value: SaidValue, wanted: ReadingWanted) -> bool:
    """Say whether a reading is within the sheet's limits, of which there must be one."""
    if wanted.low is None and wanted.high is None:
        return False
    return all(_in_limits(end, value.unit, wanted) for end in value.ends)


def _in_limits(end: Fraction, unit: str, wanted: ReadingWanted) -> bool:
    exact = converted(end, unit or wanted.unit, wanted.unit)
    return exact is not None and (
        (wanted.low is None or exact >= wanted.low)
        and (wanted.high is None or exact <= wanted.high)
    )


def torque_plausible(value: SaidValue, wanted: Torque) -> bool:
    """Judge a torque: from half to twice the specification it may be wrong, but can be meant."""
    exact = converted(value.value, value.unit or wanted.unit, wanted.unit)
    if exact is None:
        return False
    # The same number in the other common unit is a mix-up to be told, not a number to be doubted.
    return wanted.value / TOO_MUCH <= exact <= wanted.value * TOO_MUCH


def quantity_plausible(
    value: SaidValue, sums: FluidState, direction: str, correction: bool
) -> bool:
    """Judge an amount: the sum may not pass what the unit holds, or twice what the sheet says."""
    exact = converted(value.value, value.unit or sums.unit, sums.unit)
    if exact is None:
        return False
    before = sums.poured_out if direction == "out" else sums.poured_in
    after = exact if correction else before + exact
    ceiling = [Fraction(sums.total)] if sums.total else []
    if sums.specified:
        ceiling.append(Fraction(sums.specified) * TOO_MUCH)
    return not ceiling or after <= min(ceiling)


# Where a sheet gives no limits: what no technician reads anywhere; our own choice.
_POSSIBLE: dict[str, tuple[int, int, str]] = {
    "temperature": (-60, 300, "degC"),
    "ratio": (0, 200, "percent"),
    "pressure": (-1, 1000, "bar"),
}


def _possible(exact: Fraction, unit: str) -> bool:
    dimension = UNITS[unit].dimension if unit in UNITS else ""
    if dimension not in _POSSIBLE:
        return True
    low, high, common = _POSSIBLE[dimension]
    value = converted(exact, unit, common)
    return value is not None and low <= value <= high


def reading_plausible(value: SaidValue, wanted: ReadingWanted) -> bool:
    """Judge by the sheet's limits, generously: a reading may well be out of specification.

    Of a range both ends must be plausible, in their order.
    """
    return not value.reversed and all(_end_plausible(e, value.unit, wanted) for e in value.ends)


def _end_plausible(end: Fraction, unit: str, wanted: ReadingWanted) -> bool:
    exact = converted(end, unit or wanted.unit, wanted.unit)
    if exact is None:
        return False
    low, high = wanted.low, wanted.high
    if low is None and high is None:
        return _possible(exact, wanted.unit)
    if low is None:  # a freezing point of -30 at most may well be -35
        low = min(high or ZERO, ZERO)
    if high is None:
        high = max(low * TOO_MUCH, ZERO)
    room = max(abs(high - low), abs(high), abs(low))
    return low - room <= exact <= high + room
