"""The guard: everything that is noticed, computed from the job alone.

A finding never stops the technician. It ends by being corrected, by the missing thing being done
afterwards, by a photo being retaken, by being taken back, or by somebody confirming it with a
reason; the report says which. What was confirmed and then ended in another way, too, has both said
of it. What was done after a step was confirmed as missing needed no second reason. Findings that
exist only once the job is to be closed (what is still missing) appear when that is first asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from joblog.job.guard_ended import ended_findings
from joblog.job.guard_labels import label_findings
from joblog.job.guard_meter import meter_findings
from joblog.job.guard_order import (
    condition_findings,
    order_findings,
    pouring_findings,
    sequence_findings,
)
from joblog.job.guard_parts import part_findings
from joblog.job.guard_photos import photo_findings
from joblog.job.guard_quantity import quantity_findings
from joblog.job.guard_stages import stage_findings
from joblog.job.guard_time import clock_findings, fan_findings, window_findings
from joblog.job.guard_undone import ReplayUpTo, undone_findings
from joblog.job.guard_unit import unit_findings
from joblog.job.guard_values import value_findings
from joblog.job.guard_wanted import (
    CONFIRMED_BY,
    confirmed_words,
    missing_findings,
    unsure_findings,
)
from joblog.job.history import History, confirmations
from joblog.job.order import required_before
from joblog.job.types import Finding, JobState
from joblog.job.values import step_named
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet

Rule = Callable[[JobState, History], Iterable[Finding]]

SUMS = ("quantity:", "drained:")  # keys of findings about a sum, which may go on growing

RULES: tuple[Rule, ...] = (
    unit_findings,
    pouring_findings,
    order_findings,
    sequence_findings,
    condition_findings,
    stage_findings,
    value_findings,
    part_findings,
    quantity_findings,
    window_findings,
    fan_findings,
    photo_findings,
    label_findings,
    unsure_findings,
    missing_findings,
    clock_findings,
    meter_findings,
)


def guard(state: JobState, history: History, up_to: ReplayUpTo | None = None) -> JobState:
    """Return ``state`` with what the rules find, in the order in which it was noticed.

    With ``up_to``, which replays the entries before an index, steps taken back are told, too.
    """
    found: dict[str, Finding] = {}
    for rule in RULES:
        for finding in rule(state, history):
            found.setdefault(finding.key, finding)
    for finding in undone_findings(state, history, up_to) if up_to else ():
        found.setdefault(finding.key, finding)
    for finding in ended_findings(state, history, list(found.values()), up_to) if up_to else ():
        found.setdefault(finding.key, finding)
    confirmed = confirmations(history)
    seqs = {entry.id: entry.seq for entry in state.entries}
    findings = sorted(found.values(), key=lambda f: seqs.get(f.entry or "", -1))
    return replace(state, findings=tuple(_resolved(state, f, confirmed, seqs) for f in findings))


def _resolved(
    state: JobState, finding: Finding, confirmed: Mapping[str, Entry], seqs: Mapping[str, int]
) -> Finding:
    own = confirmed.get(finding.key)
    grown = finding.key.startswith(SUMS) and own and own.seq < seqs.get(finding.entry or "", -1)
    if grown and state.closed != "finished":  # what was closed as finished has nothing open
        own = None  # the sum that was confirmed was another
    by = own or (
        None if finding.resolved else _left_out_before(state.sheet, finding, confirmed, seqs)
    )
    if by is None or finding.resolved.startswith(CONFIRMED_BY):
        return finding
    end = f"; {finding.resolved}" if finding.resolved else ""
    return replace(finding, resolved=f"{confirmed_words(by)}{end}")


def _left_out_before(
    sheet: Sheet, finding: Finding, confirmed: Mapping[str, Entry], seqs: Mapping[str, int]
) -> Entry | None:
    """Return the confirmation that the step to come first is left out, if it came before.

    An order also has two steps where an optional one came too late: there the other was done.
    """
    rule, _, other = finding.key.rpartition(":")
    step = step_named(sheet, finding.step) if rule.startswith("order:") else None
    first = step is not None and other in required_before(sheet, step)
    left = confirmed.get(f"missing:{other}:step") if first else None
    return left if left is not None and left.seq < seqs.get(finding.entry or "", -1) else None
