"""Torques and readings against their specification."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from joblog.job.guard_wanted import CONFIRMED_BY
from joblog.job.history import Event, History
from joblog.job.ranges import value_said, value_shown
from joblog.job.torques import is_angle
from joblog.job.types import Finding, FindingKind, JobState, Value
from joblog.job.values import converted, step_named, value_of
from joblog.job.wording import capital, said, shown
from joblog.job.wrenches import good_range, to_set, tool_named
from joblog.sheet.model import Sheet

EXPLAINED = "the advisor explained it"
_LOOSEN = (
    "Loosen it, check its washer and threads, tighten it anew; then say “confirm because "
    "loosened and checked”."
)


def value_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Values out of specification, among them those that were corrected since."""
    for event in history.of("torque", "reading"):
        now = value_of(state.sheet, event.entry, event.corrected_from)
        for old in event.corrected_from:
            value = value_of(state.sheet, old)
            if value and value.within is False:
                yield _out_of_spec(state, value, event, resolved="corrected")
        if now and too_tight(state.sheet, now):
            yield _strained(state, history, now, event)
        elif now and now.within is False:
            again = "tightened again" if event.entry.kind == "torque" else "read again"
            mended = tightened_again(state, now) is not None
            yield _out_of_spec(state, now, event, resolved=again if mended else "")
        elif now and _unfit(state, now):
            yield _wrong_wrench(state, now, event)


def _unfit(state: JobState, value: Value) -> bool:
    """Say whether the wrench that was used is outside its range at what it showed."""
    wrench = tool_named(state.sheet, value.wrench)
    band = good_range(wrench) if wrench else None
    if wrench is None or wrench.highest is None or band is None:
        return False
    shows = converted(value.value, value.unit, wrench.highest.unit)
    return shows is not None and not band[0] <= shows <= band[1]


def _wrong_wrench(state: JobState, value: Value, event: Event) -> Finding:
    wrench = tool_named(state.sheet, value.wrench)
    assert wrench is not None
    assert wrench.highest is not None
    low, high = good_range(wrench) or (Fraction(0), Fraction(0))
    span = f"{shown(low, '')} to {shown(high, wrench.highest.unit)}"
    step, text = step_named(state.sheet, value.step), shown(value.value, value.unit)
    mended = any(
        v.within
        and v.step == value.step
        and v.name == value.name
        and not _unfit(state, v)
        and v.entry.body.get("which") in (value.entry.body.get("which"), "all")
        for v in state.values
        if v.entry.seq > value.entry.seq
    )
    return Finding(
        key=f"wrench:{value.entry.id}",
        kind=FindingKind.OUT_OF_SPEC,
        text=f"{wrench.name} is good for {span}, not for {text}: tighten with another wrench.",
        spoken=f"{capital(value.name)}, {said(value.value, value.unit)}, not sure.",
        step=value.step,
        entry=value.entry.id,
        at=event.root.at,
        resolved="tightened again" if mended else "",
        customer=f"At “{step.title if step else value.name}” {text} was tightened with a wrench "
        f"that is good for {span}.",
    )


def tightened_again(state: JobState, value: Value) -> Value | None:
    """Return the same fastener's later value in specification, None where there is none."""
    which = value.entry.body.get("which")
    later = (v for v in state.values if v.entry.seq > value.entry.seq and v.within)
    same = (v for v in later if (v.step, v.name) == (value.step, value.name))
    return next((v for v in same if v.entry.body.get("which") in (which, "all")), None)


def too_tight(sheet: Sheet, value: Value) -> bool:
    """Say whether a torque, or an angle after it, is above its limit.

    That strains the fastener, its washer and its threads: no lower value later mends it.
    """
    step = step_named(sheet, value.step)
    turned = value.entry.kind == "torque" or (step is not None and is_angle(step, value.entry))
    return turned and value.within is False and _side(value) == "above"


def _strained(state: JobState, history: History, value: Value, event: Event) -> Finding:
    """Return the finding of a fastener tightened too far: open until somebody accounts for it.

    They do with a reason ("confirm because loosened and checked"), or the advisor does in words of
    their own, once it was tightened again; that alone ends nothing.
    """
    found = replace(_out_of_spec(state, value, event, resolved=""), advice=_LOOSEN)
    again = tightened_again(state, value)
    if again is None:
        return found
    at = shown(again.value, again.unit)
    customer = f"{found.customer} It was tightened again later, at {at}."
    return replace(
        found,
        text=f"{found.text} Tightened again at {at}, which doesn't undo it.",
        customer=customer,
        resolved=_explained(history, found.key, (found.customer, customer)),
    )


def _explained(history: History, key: str, customer: tuple[str, ...]) -> str:
    """Return how a finding ended by the advisor's words; '' where they only repeat its own."""
    told = [e.entry for e in history.of("explained") if e.entry.body.get("finding") == key]
    last = told[-1] if told else None
    text = str(last.body.get("text", "")).strip() if last else ""
    if last is None or not text or text in customer:
        return ""
    return f"{CONFIRMED_BY}{last.by or 'advisor'}: {EXPLAINED}"


def _out_of_spec(state: JobState, value: Value, event: Event, *, resolved: str) -> Finding:
    name, spoken_name = capital(value.name), capital(value.name)
    which = one_of_several(state.sheet, value)
    if which:
        name, spoken_name = f"{name} no. {which}:", f"{spoken_name} number {said(int(which), '')}"
    limits = _limits_shown(value)
    gets = gets_shown(state.sheet, value)
    figure, unit = _judged(value)
    figure_shown = shown(figure, unit)
    if value.upper is not None:
        figure_shown = value_shown(value)
    elif figure != value.value:
        figure_shown += f" (the wrench at {shown(value.value, value.unit)})"
    hint, hint_spoken = _unit_hint(value)
    told = said(figure, unit) if value.upper is None else value_said(value)
    sides, limits_said = _sides(value)
    step = step_named(state.sheet, value.step)
    return Finding(
        key=f"spec:{value.entry.id}",
        kind=FindingKind.OUT_OF_SPEC,
        text=f"{name} {figure_shown} is {sides} the limit ({limits}).{gets}{hint}",
        spoken=f"{spoken_name}, {told}, is {limits_said}.{hint_spoken}",
        step=value.step,
        entry=value.entry.id,
        at=event.root.at,
        resolved=resolved,
        customer=f"At “{step.title if step else value.name}” {figure_shown}"
        f"{f' (no. {which})' if which else ''} was reported; specified is {limits}.",
    )


def one_of_several(sheet: Sheet, value: Value) -> str:
    """Return the number of the one of several fasteners that a value is of; '' for all, or one."""
    step, which = step_named(sheet, value.step), str(value.entry.body.get("which", ""))
    several = step is not None and step.torque is not None and step.torque.count > 1
    return which if several and which.isdigit() else ""


def gets_shown(sheet: Sheet, value: Value) -> str:
    """Return what the fastener gets through an adapter, and what to set; '' without an adapter."""
    step, adapter = step_named(sheet, value.step), tool_named(sheet, value.adapter)
    if step is None or adapter is None:
        return ""
    if value.in_spec_unit is None:
        return f" Which wrench turned {adapter.name} is not known, so that it can't be judged."
    if not value.within:
        return f" {to_set(sheet, step)[1]}"
    return f" Through {adapter.name} the fastener gets {shown(*_judged(value))}."


def _judged(value: Value) -> tuple[Decimal | Fraction, str]:
    """Return the figure that is judged: through an adapter, what the fastener gets."""
    if not value.adapter or value.in_spec_unit is None:
        return value.value, value.unit
    exact = value.in_spec_unit
    return round(Decimal(exact.numerator) / Decimal(exact.denominator), 1), value.spec_unit


def _sides(value: Value) -> tuple[str, str]:
    """Return on which sides of its limits a value lies, shown, and with the limits, said.

    Of a range one end may be below them and the other above.
    """
    found = [_side(value)]
    if value.upper is not None:
        low, high = value.in_spec_unit, value.upper_in_spec_unit
        above = high is not None and value.high is not None and high > value.high
        below = low is not None and value.low is not None and low < value.low
        found = ["below"] * below + ["above"] * above or found
    said_so = [f"{side} the limit, {_limit_said(value, side)}" for side in found]
    return " and ".join(found), ", and ".join(said_so)


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


def _limit_said(value: Value, side: str) -> str:
    limit = value.high if side == "above" else value.low
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
