"""Torque: tolerances, tools, adapters and angles.

Sources are named at each function. A torque is a ``Quantity`` in lbf.ft, lbf.in, N.m or kgf.m, and
results come in the unit that was asked in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import Enum
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.due import add_months
from joblog.measure.numbers import Number, exact, from_float
from joblog.measure.units import Quantity, convert, format_quantity

_HALF = Fraction(1, 2)
_EXACT_COSINES = {0: Fraction(1), 60: _HALF, 90: Fraction(0), 120: -_HALF, 180: Fraction(-1)}
_WORKS_CALIBRATED = {("I", "B"), ("I", "C"), ("I", "E"), ("II", "A"), ("II", "B"), ("II", "C")}
_KNOWN_CLASSES = _WORKS_CALIBRATED | {("I", "A"), ("I", "D")} | {("II", c) for c in "DEFG"}


@dataclass(frozen=True)
class Band:
    """Lowest and highest torque, both inclusive, in the same unit."""

    low: Quantity
    high: Quantity

    def holds(self, torque: Quantity) -> bool:
        """Say whether ``torque`` lies within, bounds included."""
        value = convert(torque, self.low.unit).exact
        return self.low.exact <= value <= self.high.exact

    def encloses(self, other: Band) -> bool:
        """Say whether all of ``other`` lies within: a tool's band within the sheet's, say."""
        return self.holds(other.low) and self.holds(other.high)


def _torque(quantity: Quantity) -> Quantity:
    if quantity.dimension != "torque":
        raise InputError(f"{format_quantity(quantity)} is a {quantity.dimension}, not a torque")
    if quantity.exact <= 0:
        raise InputError(f"{format_quantity(quantity)} can't be a tightening torque")
    return quantity


def tolerance_band(nominal: Quantity, percent: Number) -> Band:
    """Return nominal ± ``percent`` of it."""
    share = exact(percent, "the tolerance") / 100
    if not 0 <= share < 1:
        raise InputError(f"a tolerance of {percent} % can't be meant; give 0 to below 100")
    value = _torque(nominal).exact
    unit = nominal.unit
    return Band(Quantity(value * (1 - share), unit), Quantity(value * (1 + share), unit))


def permissible_deviation(tool_max: Quantity, kind: str = "II", letter: str = "A") -> Fraction:
    """Return the largest permissible deviation of a hand torque tool, as a fraction.

    6 % where the tool's maximum is at most 10 N·m, else 4 % [standard: ISO 6789-1:2017, 5.1.5, read
    in a secondary text]. ``kind`` is 'I' (indicating) or 'II' (setting), ``letter`` its class; type
    I A and D, type II D to G: 6 % always [from memory, unverified].
    """
    if (kind, letter) not in _KNOWN_CLASSES:
        raise InputError(
            f"ISO 6789 knows no type {kind} class {letter}; see the tool's certificate"
        )
    small = convert(_torque(tool_max), "N.m").exact <= 10
    return Fraction(6 if small or (kind, letter) not in _WORKS_CALIBRATED else 4, 100)


def applied_band(setting: Quantity, deviation: Number) -> Band:
    """Return what a tool set to ``setting`` may really apply: set/(1+p) to set/(1-p).

    The standard's deviation is (set - applied)/applied [standard: ISO 6789-1:2017, 5.1.5].
    """
    share = exact(deviation, "the deviation")
    value, unit = _torque(setting).exact, setting.unit
    return Band(Quantity(value / (1 + share), unit), Quantity(value / (1 - share), unit))


class InRange(Enum):
    """Where a setting lies in a tool's range."""

    BELOW = "below_range"
    IN = "in_range"
    ABOVE = "above_range"


def tool_range(tool_max: Quantity, tool_min: Quantity | None = None) -> Band:
    """Return the range that a torque tool is good in.

    It starts at the lowest marked value [standard: ISO 6789-1:2017, 5.1.3]; where that isn't known,
    at 20 % of the maximum, the lowest test point of ISO 6789:2003.
    """
    top = _torque(tool_max)
    low = top.scaled(Fraction(1, 5)) if tool_min is None else convert(tool_min, top.unit)
    if low.exact > top.exact:
        raise InputError("the tool's range ends before it starts; exchange the two")
    return Band(low, top)


def check_range(setting: Quantity, band: Band) -> InRange:
    """Say whether a tool with that range may be used at ``setting``; bounds count as inside."""
    value = convert(_torque(setting), band.low.unit).exact
    if value < band.low.exact:
        return InRange.BELOW
    return InRange.ABOVE if value > band.high.exact else InRange.IN


def cosine(degrees: Number) -> Fraction:
    """Return the cosine, exact at 0, 60, 90, 120 and 180°, else to twelve digits."""
    angle = abs(exact(degrees, "the angle")) % 360
    angle = min(angle, 360 - angle)
    if angle in _EXACT_COSINES:
        return _EXACT_COSINES[int(angle)]
    return from_float(math.cos(math.radians(float(angle))))


def _lever(length: Number, extension: Number, degrees: Number) -> Fraction:
    arm = exact(length, "the wrench's length")
    reach = exact(extension, "the adapter's length")
    if arm <= 0 or reach < 0:
        raise InputError("the wrench's and the adapter's lengths must be positive")
    whole = arm + reach * cosine(degrees)
    if whole <= 0:
        raise InputError("an adapter longer than the wrench, folded back, can't be used")
    return arm / whole


def crow_foot_setting(
    wanted: Quantity, length: Number, extension: Number, degrees: Number = 0
) -> Quantity:
    """Return what to set so that the fastener gets ``wanted``: T·L/(L + E·cos a).

    ``length`` is drive centre to mid-grip, ``extension`` drive centre to fastener centre (same
    unit); ``degrees`` 0 straight out, 90 no correction, 180 folded back. [handbook: US Army
    TM 9-254]. Hold the grip at its centre; a socket extension on the same axis needs no correction.
    """
    return _torque(wanted).scaled(_lever(length, extension, degrees))


def crow_foot_applied(
    setting: Quantity, length: Number, extension: Number, degrees: Number = 0
) -> Quantity:
    """Return what the fastener gets when the wrench is set to ``setting``; see above."""
    return _torque(setting).scaled(1 / _lever(length, extension, degrees))


def angle_advance(degrees: Number, pitch: Number) -> Fraction:
    """Return how far a nut moves along the thread: P·angle/360, in the pitch's unit (geometry)."""
    return exact(pitch, "the pitch") * exact(degrees, "the angle") / 360


def recalibration_due(last: date, now: date, cycles: int) -> bool:
    """Say whether a tool is due: 12 months or 5000 cycles, whichever is first.

    The default where the user has no procedure of their own [standard: ISO 6789:2003, read in a
    tool maker's article].
    """
    return now >= add_months(last, 12) or cycles >= 5000


@dataclass(frozen=True)
class TorqueVerdict:
    """A torque against its specification.

    ``deviation`` is (said - nominal)/nominal; ``meant`` is the quantity that would fit, had the
    number been said in another unit (36 N·m where 36 lbf·ft is wanted).
    """

    within: bool
    band: Band
    deviation: Fraction
    meant: Quantity | None = None


def judge_torque(said: Quantity, nominal: Quantity, percent: Number) -> TorqueVerdict:
    """Compare a torque with nominal ± ``percent``, in whatever units."""
    band = tolerance_band(nominal, percent)
    value = convert(_torque(said), nominal.unit).exact
    deviation = (value - nominal.exact) / nominal.exact
    if band.holds(said):
        return TorqueVerdict(True, band, deviation)
    others = ("lbf.ft", "N.m", "lbf.in", "kgf.m")
    meant = (Quantity(said.value, unit) for unit in others if unit != said.unit)
    return TorqueVerdict(False, band, deviation, next((q for q in meant if band.holds(q)), None))


@dataclass(frozen=True)
class AngleVerdict:
    """A tightening angle against its specification, in degrees."""

    within: bool
    low: Fraction
    high: Fraction


def judge_angle(said: Number, nominal: Number, tolerance: Number = 5) -> AngleVerdict:
    """Compare a tightening angle with nominal ± ``tolerance`` degrees (the sheet's own number)."""
    middle, around = exact(nominal, "the angle"), exact(tolerance, "the tolerance")
    low, high = middle - around, middle + around
    return AngleVerdict(low <= exact(said, "the angle") <= high, low, high)
