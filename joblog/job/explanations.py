"""The advisor's words for the customer, and which finding they are about."""

from __future__ import annotations

from joblog.job.guard_ended import ENDED
from joblog.job.guard_undone import UNDONE, ReplayUpTo
from joblog.job.history import History
from joblog.job.types import Finding, JobState
from joblog.record.entry import Entry


def explained_by(state: JobState, history: History, up_to: ReplayUpTo) -> dict[str, Entry]:
    """Return, by the key of each finding that was explained, the entry with the last words on it.

    A finding that is so no more has another key than before. What was said of it while it was so
    is still about it, unless it said something else then (of a sum that has grown since).
    """
    said: dict[str, list[Entry]] = {}
    for event in history.of("explained"):
        key = history.key_now(str(event.entry.body.get("finding", "")))
        said.setdefault(key, []).append(event.entry)
    place = {entry.id: index for index, entry in enumerate(state.entries)}
    found: dict[str, Entry] = {}
    for finding in state.findings:
        mine = said.get(finding.key, [])
        before = "" if mine else _key_before(finding)
        for entry in said.get(before, []):
            was = up_to(place[entry.id]).finding(before)
            if was and (was.entry, was.text) == (finding.entry, finding.text):
                mine = [entry]
        if mine:
            found[finding.key] = mine[-1]
    return found


def _key_before(finding: Finding) -> str:
    """Return the key that a finding had while it was so; '' where it has that still."""
    return finding.key.split(":", 2)[-1] if finding.key.startswith((ENDED, UNDONE)) else ""
