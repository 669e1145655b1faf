"""Closing a job through the desk: finished, finished with a reason for what is open, or aborted."""

from __future__ import annotations

from joblog.errors import InputError
from joblog.job.drafts import CLOSED, Draft, Plan
from joblog.job.plan_controls import plan_complete
from joblog.job.types import JobState


def closing_drafts(state: JobState, how: str, reason: str) -> Plan:
    """Return what closing leads to. Raises InputError for another ``how``, or none to abort."""
    if how not in ("finished", "aborted"):
        raise InputError(f"a job ends 'finished' or 'aborted', not {how!r}")
    if state.closed:
        return CLOSED
    if how == "aborted":
        if not reason:
            raise InputError("a job is stopped with a reason: give one")
        return Plan((Draft("job-closed", {"how": "aborted", "reason": reason}),))
    asked = any(q.about == "close" for q in state.questions)
    if not reason or not asked:
        return plan_complete(state)
    confirmed = tuple(
        Draft("confirmed", {"finding": finding.key, "reason": reason})
        for finding in state.open_findings
    )
    return Plan((*confirmed, Draft("job-closed", {"how": "finished", "reason": reason})))
