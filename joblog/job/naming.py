"""What an entry is called when it is spoken of again: 'disregarded', 'somebody else's'."""

from __future__ import annotations

from joblog.job.ranges import value_said, value_shown
from joblog.job.types import JobState
from joblog.job.values import step_named, value_of
from joblog.job.wording import said, step_name
from joblog.record.entry import Entry
from joblog.sheet.fragments import spoken_form


def entry_named(state: JobState, entry: Entry) -> tuple[str, str]:
    """Return what ``entry`` recorded, spoken and shown: a step, a part, a value with its figure."""
    if entry.kind == "part":
        return _part(state, entry)
    if entry.kind in ("torque", "reading", "quantity"):
        return _value(state, entry)
    if entry.kind == "note":
        return "note", f"note “{entry.body.get('text', '')}”"
    if entry.kind == "confirmed":
        finding = state.finding(str(entry.body.get("finding", "")))
        about = f" ({finding.text.rstrip('.')})" if finding else ""
        return "confirmed", f"confirmed{about}"
    if entry.kind == "clock":
        name = "fan cycle" if entry.body.get("name") == "fan-cycle" else "clock"
        return name, name
    step = step_named(state.sheet, entry.body.get("step"))
    name = step_name(step) if step else ""
    if entry.kind == "photo":
        name = f"photo {name or entry.body.get('kind', '')}"
    return name, name


def _part(state: JobState, entry: Entry) -> tuple[str, str]:
    part = next((p for p in state.sheet.parts if p.key == entry.body.get("part")), None)
    if part is None:
        return "", ""
    name = spoken_form(part.say[0]) if part.say else part.name
    spoken = f"new {name}" if entry.body.get("state") == "new" else f"old {name} kept"
    return spoken, spoken


def _value(state: JobState, entry: Entry) -> tuple[str, str]:
    value = value_of(state.sheet, entry)
    if value is None:
        return entry.kind, entry.kind
    number, text = value_said(value), value_shown(value)
    if entry.kind == "quantity":
        way = "out" if entry.body.get("direction") == "out" else "in"
        fluid = next((f.name for f in state.fluids if f.key == entry.body.get("fluid")), "fluid")
        return f"{number} {way}", f"{text} of {fluid} {way}"
    which = str(entry.body.get("which", ""))
    spoken = f" {said(int(which), '')}" if which.isdigit() else ""
    numbered = f" {which}" if which.isdigit() else ""
    return f"{value.name}{spoken}, {number}", f"{value.name}{numbered}, {text}"
