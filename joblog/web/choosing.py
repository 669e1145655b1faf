"""From a vehicle to the job: what is known of it, and which sheets are for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from joblog.errors import SheetError
from joblog.job.guard_unit import applying, unit_reasons
from joblog.measure.vin import check_vin
from joblog.sheet.load import load_sheet
from joblog.sheet.model import Sheet

UNIT_FIELDS = ("type", "engine", "year", "make", "model", "plate", "vin", "odometer")
OTHER_FIELDS = ("odometer_unit", "order", "customer", "technician", "advisor", "complaint")


@dataclass(frozen=True)
class Choice:
    """One sheet for a vehicle: ``reasons`` says why it is not for it; () where it is.

    ``named`` says that the sheet names this type of unit, ``ordered`` that the work order does.
    """

    key: str
    title: str
    minutes: int | None
    reasons: tuple[str, ...]
    named: bool
    ordered: bool


def choices(sheets: Mapping[str, Path], unit: Mapping[str, Any], ordered: str = "") -> list[Choice]:
    """Return the sheets that can be read: the ordered one, then what fits, then the rest."""
    found = []
    for key, path in sheets.items():
        sheet = _sheet(path, path.stat().st_mtime_ns)
        if sheet is not None:
            found.append(_choice(key, sheet, unit, ordered))
    return sorted(found, key=lambda c: (bool(c.reasons), not c.ordered, not c.named, c.title))


def _choice(key: str, sheet: Sheet, unit: Mapping[str, Any], ordered: str) -> Choice:
    reasons = tuple(text for _, text in unit_reasons(sheet, unit))
    identity = sheet.sheet
    named = bool(applying([sheet], unit))
    return Choice(key, identity.title, identity.minutes, reasons, named, key == ordered)


@lru_cache(maxsize=256)
def _sheet(path: Path, _changed: int) -> Sheet | None:
    try:
        return load_sheet(path)
    except SheetError:
        return None  # the page that opens a job by hand says what is wrong with it


def details(
    order: Mapping[str, str] | None, known: Mapping[str, Any] | None, vin: str
) -> dict[str, str]:
    """Return the form's fields for a vehicle: the order's words, then what an earlier job knew.

    The odometer is never taken from an earlier job.
    """
    found = {k: v for k, v in (order or {}).items() if v}
    for name, value in (known or {}).items():
        if name != "odometer" and value:
            found.setdefault(name, str(value))
    if vin:
        found["vin"] = vin
        year = check_vin(vin).year
        if year:
            found.setdefault("year", str(year))
    return {name: found.get(name, "") for name in (*UNIT_FIELDS, *OTHER_FIELDS)}
