"""Which jobs are earlier services of the same unit of a vehicle."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joblog.job.types import JobState
from joblog.sheet.check_readings import same_unit


def not_earlier(before: JobState, now: JobState) -> str:
    """Say why ``before`` is no earlier service of the unit of ``now``; '' where it is one.

    A vehicle has several units: its gearbox says nothing of its rear axle. Where
    neither a VIN nor a plate tells the vehicles apart, they count as one: so they do where somebody
    names the earlier job.
    """
    if before.job == now.job:
        return "it is this job itself"
    one, other = (s.opened.get("unit") or {} for s in (before, now))
    if same_vehicle(one, other) == "other":
        return "it is about another vehicle"
    if not _unit_agrees(before, now):
        types = [str(u.get("type") or "") for u in (one, other)]
        which = f" ({types[0]}, not {types[1]})" if all(types) else ""
        return f"it is about another unit of the vehicle{which}"
    if (before.opened_at, before.job) > (now.opened_at, now.job):
        return "it was opened later"
    return "" if before.closed else "it is still open"


def same_vehicle(one: Mapping[str, Any], other: Mapping[str, Any]) -> str:
    """Return 'same' or 'other' vehicle, by VIN, else by plate; '' where nothing tells."""
    for key in ("vin", "plate"):
        if one.get(key) and other.get(key):
            same = str(one[key]).strip().upper() == str(other[key]).strip().upper()
            return "same" if same else "other"
    return ""


def _unit_agrees(first: JobState, second: JobState) -> bool:
    """Say whether the types of the units agree; where one isn't known, whether the sheets do."""
    one, other = (str((s.opened.get("unit") or {}).get("type") or "") for s in (first, second))
    if one and other:
        return same_unit(one, other)
    return first.sheet.sheet.key == second.sheet.sheet.key
