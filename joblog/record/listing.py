"""The list of jobs as a person asks for it: which vehicle, whose, in what state, since when.

The words are those of the job's own first entry and of the one that closed it; nothing is replayed
for them. Those two are checked against their own hash: a changed one gives no words. The whole
chain is checked where a job is opened, reported on or verified.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import tzinfo
from typing import Any

from joblog.record.chain import closing_entry
from joblog.record.entry import Entry
from joblog.record.times import parse_time

WIDEST = 36  # characters of a column; a longer name is cut with an ellipsis
_STATES = {"finished": "finished", "aborted": "stopped"}
_HEADS = ("opened", "vehicle or machine", "customer", "state", "job")


@dataclass(frozen=True)
class JobLine:
    """One job: ``opened`` is RFC 3339 in UTC as recorded; unknown texts are ''."""

    job: str
    opened: str
    plate: str
    vehicle: str
    customer: str
    sheet: str
    state: str
    entries: int

    def as_json(self) -> dict[str, Any]:
        """Return the line as plain JSON."""
        return asdict(self)


def job_line(job: str, entries: Sequence[Entry]) -> JobLine:
    """Return the line of ``job``; a record without the usual words still has its line."""
    closing = closing_entry(entries)
    if any(e.computed_hash() != e.hash or e.job != job for e in (*entries[:1], closing) if e):
        return altered_line(job, len(entries))
    body = entries[0].body if entries else {}
    unit, customer, sheet = (_table(body, name) for name in ("unit", "customer", "sheet"))
    words = [_text(unit, name) for name in ("year", "make", "model")]
    vehicle = " ".join(word for word in words if word) or _text(unit, "type")
    how = _text(closing.body, "how") if closing else ""
    return JobLine(
        job=job,
        opened=entries[0].at if entries else "",
        plate=_text(unit, "plate"),
        vehicle=vehicle,
        customer=_text(customer, "name"),
        sheet=_text(sheet, "title") or _text(sheet, "key"),
        state=_STATES.get(how, "closed") if closing else "open",
        entries=len(entries),
    )


def altered_line(job: str, entries: int = 0) -> JobLine:
    """Return the line of a job whose words were changed in the database; it tells none of them."""
    return JobLine(job, "", "", "", "", "", "altered", entries)


def listed(lines: Iterable[JobLine], zone: tzinfo | None = None) -> list[str]:
    """Return the lines as a table with a head, ids last; times in ``zone`` (None: this PC's)."""
    rows = [_row(line, zone) for line in lines]
    if not rows:
        return []
    table = [_HEADS, *rows]
    wide = [max(len(row[i]) for row in table) for i in range(len(_HEADS))]
    return ["  ".join(c.ljust(w) for c, w in zip(row, wide, strict=True)).rstrip() for row in table]


def _row(line: JobLine, zone: tzinfo | None) -> tuple[str, ...]:
    opened = f"{parse_time(line.opened).astimezone(zone):%Y-%m-%d %H:%M}" if line.opened else "-"
    what = ", ".join(part for part in (line.plate, line.vehicle) if part)
    return (opened, _cut(what or line.sheet), _cut(line.customer), line.state, line.job)


def _cut(text: str) -> str:
    return (text if len(text) <= WIDEST else text[: WIDEST - 1].rstrip() + "…") or "-"


def _table(body: dict[str, Any], name: str) -> dict[str, Any]:
    found = body.get(name)
    return found if isinstance(found, dict) else {}


def _text(table: dict[str, Any], name: str) -> str:
    """Return a field as one printable line: a name may hold what would move the terminal."""
    found = table.get(name, "")
    if not isinstance(found, str | int) or isinstance(found, bool):
        return ""
    shown = "".join(
        " " if char.isspace() else char
        for char in str(found)
        if char.isspace() or unicodedata.category(char)[0] != "C"
    )
    return " ".join(shown.split())
