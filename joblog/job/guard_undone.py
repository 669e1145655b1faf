"""Steps that were said out of order and then taken back: undone, and not forgotten.

Taking an entry back makes the job as if it had never been said, and with it the finding that it
led to. But that somebody was about to do a thing too early belongs into the record. So the job is
replayed up to the entry that was taken back, and what was noticed at it is kept, as settled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from joblog.job.guard_wanted import confirmed_words
from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, JobState
from joblog.record.entry import Entry

UNDONE = "undone:"  # begins the key of such a finding; then the entry's id and its own key
KEPT = (FindingKind.OUT_OF_ORDER, FindingKind.CONDITION)

ReplayUpTo = Callable[[int], JobState]


def undone_findings(state: JobState, history: History, up_to: ReplayUpTo) -> Iterator[Finding]:
    """Yield what was noticed at steps that were taken back.

    ``up_to`` replays the entries before an index, without this rule.
    """
    for index, entry in enumerate(state.entries):
        if entry.id not in history.taken_back or entry.kind not in (
            "step-done",
            "torque",
            "quantity",
        ):
            continue
        takes = next(e for e in state.entries if _takes_back(e, entry))
        end = f"taken back by {takes.by}" if takes.by else "taken back"
        for finding in up_to(index + 1).findings:
            if finding.entry == entry.id and finding.kind in KEPT and not finding.resolved:
                by = _confirmed(history, finding, takes)
                yield replace(
                    finding,
                    key=f"{UNDONE}{entry.id}:{finding.key}",
                    resolved=f"{confirmed_words(by)}; {end}" if by else end,
                    customer=f"{finding.customer} It was taken back.",
                )


def _takes_back(entry: Entry, other: Entry) -> bool:
    return entry.kind == "disregarded" and entry.supersedes == other.id


def _confirmed(history: History, finding: Finding, takes: Entry) -> Entry | None:
    """Return the confirmation of ``finding`` from before it was taken back, None without one."""
    mine = (e.entry for e in history.of("confirmed") if e.entry.body.get("finding") == finding.key)
    return next((entry for entry in mine if entry.seq < takes.seq), None)
