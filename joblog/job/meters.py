"""Odometer and hour meter: what they showed at a job's opening, and in earlier jobs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from joblog.job.earlier import same_vehicle
from joblog.job.numbers import number
from joblog.job.values import converted
from joblog.measure.units import Quantity

MOST = 1_000_000_000  # no meter has more figures
_NAMES = {"miles": "mi", "mile": "mi", "kilometres": "km", "kilometers": "km"}


def meter(value: object, unit: object) -> Quantity | None:
    """Return what a meter showed, None where it can't be read: a distance, or hours."""
    code = _NAMES.get(str(unit or "km"), str(unit or "km"))
    try:
        exact = number(str(value).replace(",", "").strip())
    except (ValueError, ZeroDivisionError):
        return None
    if not 0 <= exact < MOST:
        return None
    known = code == "h" or converted(exact, code, "km") is not None
    return Quantity(exact, code) if known else None


def meter_of(unit: Mapping[str, Any]) -> Quantity | None:
    """Return what was told of the meter at the opening of a job; ``unit`` as in ``job-opened``."""
    return meter(unit.get("odometer"), unit.get("odometer_unit"))


def is_lower(now: Quantity, before: Quantity) -> bool:
    """Say whether ``now`` is surely less than ``before``; what can't be compared isn't.

    Meters show whole figures: read once in miles and once in kilometres, the same may differ by
    one.
    """
    was = converted(before.value, before.unit, now.unit)
    spare = 0 if now.unit == before.unit else 1
    return was is not None and now.exact + spare < was


def last_meter(lines: Iterable[Mapping[str, Any]], unit: Mapping[str, Any]) -> dict[str, str]:
    """Return what the meter of a vehicle showed in its newest job, {} where no job tells.

    ``lines`` are jobs (job, opened_at, unit), newest first. An hour meter is no odometer.
    """
    now = meter_of(unit)
    for line in lines:
        before = meter_of(line["unit"])
        alike = before and (now is None or (now.unit == "h") == (before.unit == "h"))
        if before and alike and same_vehicle(line["unit"], unit) == "same":
            told = {"value": str(line["unit"]["odometer"]), "unit": before.unit}
            return {"job": line["job"], "at": line["opened_at"], **told}
    return {}
