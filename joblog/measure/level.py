"""Levels on a dipstick: rise with temperature, tilt, and whether two readings agree."""

from __future__ import annotations

import math
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.numbers import Number, exact, from_float
from joblog.measure.units import Quantity, convert
from joblog.measure.volume import RULE_OF_THUMB, volume_at, volume_at_by_thumb


def growth(volume: Quantity, celsius: Number, to: Number, density15: Number) -> Quantity:
    """Return how much ``volume`` grows from ``celsius`` to ``to`` °C (API MPMS 11.1).

    It is also the overfill of a unit filled to its hot mark while at ``celsius``.
    """
    return volume_at(volume, celsius, to, density15) - volume


def rise(grown: Quantity, area_m2: Number) -> Quantity:
    """Return mm of rise of a straight-sided sump of ``area_m2`` for a grown volume (geometry).

    An aluminium sump grows too, about 69e-6 per °C, which takes some 9 % off [from memory,
    unverified]; that is not included.
    """
    area = exact(area_m2, "the area")
    if area <= 0:
        raise InputError("the sump's area must be positive")
    return Quantity(convert(grown, "L").exact / area, "mm")  # 1 L over 1 m² is 1 mm


def rise_with_temperature(
    volume: Quantity, celsius: Number, to: Number, density15: Number, area_m2: Number
) -> Quantity:
    """Return mm of rise when ``volume`` warms from ``celsius`` to ``to`` °C; see the two above."""
    return rise(growth(volume, celsius, to, density15), area_m2)


def rise_by_thumb(
    volume: Quantity,
    celsius: Number,
    to: Number,
    area_m2: Number,
    beta: Number = RULE_OF_THUMB,
) -> Quantity:
    """Return the same by the rule of thumb [common practice, no source]."""
    return rise(volume_at_by_thumb(volume, celsius, to, beta) - volume, area_m2)


def expected_fraction(fraction: Number, rise_mm: Number, marks_mm: Number) -> Fraction:
    """Return the level (0 at the lower mark, 1 at the upper) after a rise of ``rise_mm``.

    ``marks_mm`` is the height between the marks (along the vertical).
    """
    apart = exact(marks_mm, "the distance of the marks")
    if apart <= 0:
        raise InputError("the marks of a dipstick must be some distance apart")
    return exact(fraction, "the level") + exact(rise_mm) / apart


def readings_agree(first: Number, second: Number, limit: Number) -> bool:
    """Say whether two readings (same unit) differ by at most ``limit``; else read again."""
    return abs(exact(first) - exact(second)) <= exact(limit)


def tilt_error(degrees: Number, length_mm: Number) -> Fraction:
    """Return mm by which the level is off at each end of a tilted sump: L/2·tan a (geometry)."""
    angle = exact(degrees, "the tilt")
    if abs(angle) >= 45:
        raise InputError(f"a vehicle tilted by {degrees}° can't be measured; level it")
    return exact(length_mm, "the length") / 2 * from_float(math.tan(math.radians(float(angle))))


def is_level(degrees: Number, limit: Number) -> bool:
    """Say whether the vehicle stands level enough."""
    return abs(exact(degrees, "the tilt")) <= exact(limit, "the limit")
