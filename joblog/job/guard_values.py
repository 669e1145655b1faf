"""Torques and readings against their specification."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from joblog.job.history import Event, History
from joblog.job.types import Finding, FindingKind, JobState, Value
from joblog.job.values import step_named, value_of
from joblog.job.wording import capital, said, shown


def value_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Values out of specification, among them those that were corrected since."""
    for event in history.of("torque", "reading"):
        now = value_of(state.sheet, event.entry, event.corrected_from)
        for old in event.corrected_from:
            value = value_of(state.sheet, old)
            if value and value.within is False:
                yield _out_of_spec(state, value, event, resolved="corrected")
        if now and now.within is False:
            again = _tightened_again(state, now)
            yield _out_of_spec(state, now, event, resolved="corrected" if again else "")


def _tightened_again(state: JobState, value: Value) -> bool:
    """The same fastener's later value in specification mends an earlier one."""
    which = value.entry.body.get("which")
    return any(
        v.within
        and v.step == value.step
        and v.name == value.name
        and v.entry.body.get("which") in (which, "all")
        for v in state.values
        if v.entry.seq > value.entry.seq
    )


def _out_of_spec(state: JobState, value: Value, event: Event, *, resolved: str) -> Finding:
    name = capital(value.name)
    limits = _limits_shown(value)
    hint, hint_spoken = _unit_hint(value)
    side = _side(value)
    step = step_named(state.sheet, value.step)
    return Finding(
        key=f"spec:{value.entry.id}",
        kind=FindingKind.OUT_OF_SPEC,
        text=f"{name} {shown(value.value, value.unit)} is {side} the limit ({limits}).{hint}",
        spoken=f"{name}, {said(value.value, value.unit)}, is {side} the limit, "
        f"{_limit_said(value)}.{hint_spoken}",
        step=value.step,
        entry=value.entry.id,
        at=event.root.at,
        resolved=resolved,
        customer=f"At “{step.title if step else value.name}” {shown(value.value, value.unit)} was "
        f"reported; specified is {limits}.",
    )


def _side(value: Value) -> str:
    """Say on which side of its limits a value lies; one that can't be compared fits neither."""
    exact = value.in_spec_unit
    if exact is not None and value.high is not None and exact > value.high:
        return "above"
    return "below"


def _limits_shown(value: Value) -> str:
    low, high, unit = value.low, value.high, value.spec_unit
    if low is not None and high is not None:
        return f"{shown(low, '')} to {shown(high, unit)}"
    if high is not None:
        return f"at most {shown(high, unit)}"
    return f"at least {shown(low, unit)}" if low is not None else "as specified"


def _limit_said(value: Value) -> str:
    limit = value.high if _side(value) == "above" else value.low
    return said(limit, value.spec_unit) if limit is not None else ""


def _unit_hint(value: Value) -> tuple[str, str]:
    """Say so where the number is right and only the unit is another: the classic mix-up."""
    if value.entry.kind != "torque" or value.unit == value.spec_unit or value.nominal is None:
        return "", ""
    if value.low is None or value.high is None or not value.low <= value.value <= value.high:
        return "", ""
    share = (value.in_spec_unit or Fraction(0)) / Fraction(value.value)
    meant = shown(value.nominal, value.spec_unit)
    return (
        f" The number fits {meant}: said in another unit it is {float(share) * 100:.0f} % of that.",
        " The sheet has another unit.",
    )
