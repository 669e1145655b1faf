"""Findings that somebody confirmed and that are so no more: who it was, and why, is still told.

A sum that was too small is filled up, a torque that was missing is reported after all: then no rule
finds anything. But somebody answered for it with a reason, and the report says so.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from joblog.job.guard_undone import UNDONE, ReplayUpTo
from joblog.job.guard_wanted import confirmed_words, missing_key, named_among_others
from joblog.job.history import History, confirmations
from joblog.job.types import Finding, FindingKind, JobState, StepStatus
from joblog.record.entry import Entry

ENDED = "ended:"  # begins the key of such a finding; then the confirmation's id and its own key


def ended_findings(
    state: JobState, history: History, found: Collection[Finding], up_to: ReplayUpTo
) -> Iterator[Finding]:
    """Yield what was confirmed and is not among ``found`` any more, as it was told then."""
    keys = {f.key for f in found}
    index = {entry.id: i for i, entry in enumerate(state.entries)}
    for key, confirmed in confirmations(history).items():
        told = any(f.key.startswith(UNDONE) and f.key.endswith(f":{key}") for f in found)
        if key in keys or told or _still_missing(state, key, confirmed):
            continue
        was = up_to(index[confirmed.id]).finding(key)
        if was is None or was.kind is FindingKind.OBSERVATION:
            continue
        end = f"{confirmed_words(confirmed)}; {_how(was, history)}"
        yield replace(was, key=f"{ENDED}{confirmed.id}:{key}", resolved=end)


def _still_missing(state: JobState, key: str, confirmed: Entry) -> bool:
    """Say whether ``key`` names what is missing now, though nobody wishes to close the job."""
    rule, step = [*key.split(":", 2), ""][:2]
    found = state.step(step) if rule == "missing" else None
    if found is None:
        return False
    now = [f"missing:{step}:{missing_key(found, what)}" for what in found.missing]
    some = any(one == key or named_among_others(one, {key: confirmed}) for one in now)
    return some or found.status is StepStatus.OPEN


def _how(finding: Finding, history: History) -> str:
    if finding.entry in history.taken_back:
        return "taken back"
    if finding.entry in history.superseded:
        return "corrected"
    return "done afterwards" if finding.kind is FindingKind.MISSING else "no longer so"
