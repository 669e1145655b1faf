"""What was told of the odometer or hour meter at a job's opening, and its correction.

The opening stays in the record as it was written; a correction is an entry of its own, of kind
``meter``, that names what it stands in place of. What counts is the last.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joblog.errors import InputError
from joblog.job.drafts import Draft
from joblog.job.history import History
from joblog.job.meters import meter, meter_of
from joblog.job.types import JobState
from joblog.job.wording import shown
from joblog.measure.units import Quantity
from joblog.record.entry import Entry

KIND = "meter"


def told_by(entry: Entry) -> Quantity | None:
    """Return what an opening, or a correction of what it told, says of the meter."""
    if entry.kind == KIND:
        return meter(entry.body.get("value"), entry.body.get("unit"))
    return meter_of(entry.body.get("unit") or {})


def corrections_of(history: History) -> tuple[Entry, ...]:
    """Return the corrections, the one that counts last."""
    found = [entry for e in history.of(KIND) for entry in (*e.corrected_from, e.entry)]
    return tuple(entry for entry in found if told_by(entry))


def as_corrected(opened: dict[str, Any], history: History) -> dict[str, Any]:
    """Return the body of ``job-opened`` with the meter as it was corrected last."""
    for entry in corrections_of(history)[-1:]:
        now = {"odometer": str(entry.body["value"]), "odometer_unit": str(entry.body["unit"])}
        return {**opened, "unit": {**(opened.get("unit") or {}), **now}}
    return opened


def meter_name(reading: Quantity | None) -> str:
    """Return what shows a reading."""
    return "hour meter" if reading and reading.unit == "h" else "odometer"


def meter_shown(opened: Mapping[str, Any]) -> str:
    """Return the meter of a job's opening, as it counts, in words; '' where none was told."""
    told = meter_of(opened.get("unit") or {})
    return f"{meter_name(told)} {shown(told.value, told.unit)}" if told else ""


def correction(state: JobState, value: str, unit: str) -> Draft:
    """Return the entry that puts ``value`` in place of what was told of the meter.

    Raises InputError where no meter shows that, and where it stands so already.
    """
    told = meter(value, unit)
    if told is None:
        raise InputError("An odometer or hour meter shows a number, such as 131988; read it again.")
    if told == meter_of(state.opened.get("unit") or {}):
        raise InputError(f"The {meter_name(told)} stands so already; nothing was changed.")
    before = [e for e in state.entries if e.kind in ("job-opened", KIND)]
    body = {"value": value.replace(",", "").strip(), "unit": told.unit}
    return Draft(KIND, body, supersedes=before[-1].id)


def correction_said(state: JobState, entry: Entry) -> tuple[str, str]:
    """Return what is said and shown of a correction."""
    now, old = told_by(entry), next((e for e in state.entries if e.id == entry.supersedes), None)
    was = told_by(old) if old else None
    if now is None:
        return "", ""
    text = f"{meter_name(now)} {shown(now.value, now.unit)}"
    if was is None:
        return "Noted.", f"Noted: {text}."
    return "Corrected.", f"Corrected: {text}, not {shown(was.value, was.unit)}."
