"""Opening a job: the sheet goes into the record whole, so that the job keeps its revision."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any

from joblog.errors import JoblogError, RecordError, WrongUnitError
from joblog.job.guard_unit import applying, reasons_together, unit_reasons
from joblog.record.entry import Entry
from joblog.sheet.load import library, load_sheet, recorded_sheet
from joblog.sheet.model import Sheet

OPENING_FIELDS = (
    "shop",
    "unit",
    "customer",
    "order",
    "technician",
    "advisor",
    "complaint",
)


def opening_body(sheet: Sheet, text: str, opening: Mapping[str, Any]) -> dict[str, Any]:
    """Return the body of ``job-opened``: the sheet's whole text and what was told at opening."""
    body = {key: value for key, value in opening.items() if key != "override"}
    for key in OPENING_FIELDS:
        body.setdefault(key, {} if key in ("shop", "unit", "customer") else "")
    identity = sheet.sheet
    body["sheet"] = {
        "key": identity.key,
        "title": identity.title,
        "revision": identity.revision,
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "toml": text,
    }
    return body


def refuse_wrong_unit(sheet: Sheet, unit: Mapping[str, Any]) -> None:
    """Raise WrongUnitError, naming the sheet to use, where ``sheet`` is not for ``unit``."""
    reasons = unit_reasons(sheet, unit)
    if not reasons:
        return
    sentence = reasons_together(sheet, [text for _, text in reasons])
    if "Use the sheet '" not in sentence:
        others = [s.sheet.key for s in applying(shipped_sheets(), unit) if s != sheet]
        if others:
            sentence += f" Use the sheet '{others[0]}'."
    raise WrongUnitError(f"{sentence} To use this sheet all the same, write down the reason.")


def shipped_sheets() -> list[Sheet]:
    """Return the sheets of the library that can be read."""
    sheets = []
    for path in library().values():
        try:
            sheets.append(load_sheet(path))
        except JoblogError:
            continue  # a broken sheet can't be proposed; `joblog sheet check` says what is wrong
    return sheets


def sheet_of(entries: Iterable[Entry], job: str = "") -> Sheet:
    """Return the sheet that the job was opened with. Raises RecordError where there is none."""
    for entry in entries:
        if entry.kind == "job-opened":
            found = entry.body.get("sheet") or {}
            text = found.get("toml")
            if isinstance(text, str):
                return recorded_sheet(text, f"sheet of job {job or entry.job}")
    raise RecordError(f"job {job or 'without entries'} was never opened with a sheet")
