"""The first page's verdict: whether the job is done, and what is not as it should be."""

from __future__ import annotations

from joblog.job.explanations import notes_told
from joblog.job.guard_meter import METER
from joblog.job.types import Finding, FindingKind, StepStatus
from joblog.report.context import Context
from joblog.report.ending import stands
from joblog.report.findings import for_customer
from joblog.report.model import Measured
from joblog.report.text import clean


def job_verdict(c: Context, rows: tuple[Measured, ...]) -> str:
    """Return in a sentence or two how the job stands; ``rows`` are all of its values."""
    t = c.t
    if not c.state.entries or not (c.done or c.state.values or c.state.photos):
        if c.aborted:
            return t.say("The job was stopped before any work was done.")
        return t.say("No work has been recorded yet.")
    if c.aborted:
        reason = _reason(c)
        if reason:
            return t.say("The job was stopped before it was done: {reason}", reason=reason)
        return t.say("The job was stopped before it was done.")
    if not c.state.closed:
        return t.say("The job is still going on. This is how it stands now.")
    return _steps_left(c, rows) if steps_left(c) else _finished(c, rows)


def _finished(c: Context, rows: tuple[Measured, ...]) -> str:
    t = c.t
    judged = counting(rows)
    open_, outside = len(still_open(c)), sum(row.inside is False for row in judged)
    other = len({for_customer(c, f) for f in let_stand(c)})
    if open_:
        return t.count(
            "The job is done. One thing is still open: please read what we found.",
            "The job is done. {n} things are still open: please read what we found.",
            open_,
        )
    if outside:
        return t.count(
            "The job is done. One value is outside its limits: please read what we found.",
            "The job is done. {n} values are outside their limits: please read what we found.",
            outside,
        )
    if other:
        return t.count(
            "The job is done. One thing was not as planned: please read what we found.",
            "The job is done. {n} things were not as planned: please read what we found.",
            other,
        )
    seen = len({f.entry for f in observations(c)}) + len(notes_told(c.state))
    if not judged:
        return t.say("The job is done.")
    if seen:
        return t.count(
            "The job is done, and all that we measured is within its limits. "
            "We saw one thing that you should know about.",
            "The job is done, and all that we measured is within its limits. "
            "We saw {n} things that you should know about.",
            seen,
        )
    return t.say("The job is done, and all that we measured is within its limits.")


def _steps_left(c: Context, rows: tuple[Measured, ...]) -> str:
    """Return the verdict on a job closed with steps not done: that comes before everything else."""
    t = c.t
    wanted = sum(not s.step.optional for s in c.state.steps)
    outside = sum(row.inside is False for row in counting(rows))
    lines = [
        t.count(
            "The job was closed, but {n} of its {wanted} steps was not recorded as done.",
            "The job was closed, but {n} of its {wanted} steps were not recorded as done.",
            steps_left(c),
            wanted=t.number(wanted),
        )
    ]
    lacking = sum(s.status is StepStatus.INCOMPLETE for s in c.state.steps)
    if lacking:
        lines.append(
            t.count(
                "At {n} more step something is missing.",
                "At {n} more steps something is missing.",
                lacking,
            )
        )
    if outside:
        lines.append(
            t.count(
                "One value is outside its limits.", "{n} values are outside their limits.", outside
            )
        )
    return " ".join([*lines, t.say("Please read what we found.")])


def _reason(c: Context) -> str:
    """Return why the job was stopped, as it was said."""
    closing = next((e for e in reversed(c.state.entries) if e.kind == "job-closed"), None)
    reason = clean(closing.body.get("reason", "")) if closing else ""
    return reason if not reason or reason[-1] in ".!?" else reason + "."


def steps_left(c: Context) -> int:
    """Return how many steps that the sheet wants were not done."""
    return sum(s.status is StepStatus.OPEN and not s.step.optional for s in c.state.steps)


def still_open(c: Context) -> list[Finding]:
    """Return what is open for the customer; an unclear spoken line is for the expert's pages."""
    return [f for f in c.state.findings if stands(f) and not f.resolved]


def let_stand(c: Context) -> list[Finding]:
    """Return what was let stand with a reason: nothing is to be done, but it is as it is."""
    return [f for f in c.state.findings if stands(f) and f.resolved]


def counting(rows: tuple[Measured, ...]) -> list[Measured]:
    """Return the values that were judged and count: the last of each name, none mended since.

    A torque too high counts beside the lower one after it.
    """
    judged = [row for row in rows if row.inside is not None and not row.mended]
    return list({(row.what, row.stays): row for row in judged}.values())


def observations(c: Context) -> list[Finding]:
    """Return what was seen and is nobody's mistake.

    A clock that was set and a meter that shows less than before are for the expert.
    """
    return [
        f
        for f in c.state.findings
        if f.kind is FindingKind.OBSERVATION and not f.key.startswith(("clock:", METER))
    ]
