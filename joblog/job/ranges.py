"""Which values may be a range, and how both of its ends are kept, said and shown.

A needle swings between two marks, a wait was two to three minutes, a lamp stands for one to two per
cent. A torque wrench clicks at one value, what was poured is one amount, and parts are counted:
'forty to forty two' of these says that nobody looked, and they are asked for one value.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from joblog.job.numbers import Number, number, number_text
from joblog.job.types import Value
from joblog.job.wording import said, shown
from joblog.speech.units_spoken import SPOKEN_UNITS

RANGED = ("pressure", "temperature", "time", "rotation", "voltage", "current", "ratio")
_METER = "h"  # an hour meter shows one number


def may_range(unit: str) -> bool:
    """Say whether a reading in ``unit`` may be a range."""
    spoken = SPOKEN_UNITS.get(unit)
    return spoken is not None and spoken.dimension in RANGED and unit != _METER


def range_rule(unit: str) -> str:
    """Return the name of the rule for a range that the sheet wants in ``unit``."""
    return f"{SPOKEN_UNITS[unit].dimension}-range-value"


def figures(value: Fraction, upper: Fraction | None) -> dict[str, str]:
    """Return what the body of an entry holds of a value: both ends where it is a range."""
    if upper is None:
        return {"value": number_text(value)}
    return {"low": number_text(value), "high": number_text(upper)}


def ends(body: Mapping[str, Any]) -> tuple[Number, Number | None]:
    """Return the value of a body, or both ends of its range.

    Raises KeyError, ValueError or ZeroDivisionError where it holds neither.
    """
    if "value" in body:
        return number(str(body["value"])), None
    low, high = number(str(body["low"])), number(str(body["high"]))
    if low >= high:
        raise ValueError(f"{low} to {high} is no range")
    return low, high


def ends_of(body: Mapping[str, Any]) -> tuple[Number, ...]:
    """Return the value of a draft's body, or both ends of its range; () where it holds none."""
    try:
        low, high = ends(body)
    except KeyError:
        return ()
    return (low,) if high is None else (low, high)


def said_ends(value: Number, upper: Number | None, unit: str) -> str:
    """Return a value for speaking; both ends of a range with their unit.

    'Two bar to three bar': 'two to three' would sound as 'two two three'.
    """
    one = said(value, unit)
    return one if upper is None else f"{one} to {said(upper, unit)}"


def value_said(value: Value) -> str:
    """Return a recorded value for speaking."""
    return said_ends(value.value, value.upper, value.unit)


def value_shown(value: Value) -> str:
    """Return a recorded value for reading."""
    return shown_ends(value.value, value.upper, value.unit)


def shown_ends(value: Number, upper: Number | None, unit: str) -> str:
    """Return a value for reading: '40 to 42 psi' where it is a range."""
    if upper is None:
        return shown(value, unit)
    return f"{shown(value, '')} to {shown(upper, unit)}"
