"""Steps that were said out of order and then taken back: undone, and not forgotten.

Taking an entry back makes the job as if it had never been said, and with it the finding that it
led to. But that somebody was about to do a thing too early belongs into the record. So the job is
replayed up to the entry that was taken back, and what was noticed at it is kept, as settled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, JobState
from joblog.record.entry import Entry

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
        by = _who(state, entry)
        for finding in up_to(index + 1).findings:
            if finding.entry == entry.id and finding.kind in KEPT and not finding.resolved:
                yield replace(
                    finding,
                    key=f"undone:{entry.id}:{finding.key}",
                    resolved=f"taken back by {by}" if by else "taken back",
                    customer=f"{finding.customer} It was taken back.",
                )


def _who(state: JobState, entry: Entry) -> str:
    takes = [e for e in state.entries if e.kind == "disregarded" and e.supersedes == entry.id]
    return takes[0].by if takes else ""
