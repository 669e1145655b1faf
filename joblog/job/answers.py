"""Answers to questions about the job: what is next, how much is in, how long, what is missing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction

from joblog.job.cautions import cautions_said, cautions_shown
from joblog.job.clocks import ClockReading, Phase, clock_reading
from joblog.job.drafts import Plan, answer
from joblog.job.foremost import told
from joblog.job.guard_quantity import to_fill
from joblog.job.naming import entry_named
from joblog.job.types import Finding, JobState, StepState, StepStatus
from joblog.job.wording import (
    and_more,
    capital,
    listed,
    said,
    shown,
    shown_missing,
    span_said,
    spoken_missing,
    step_name,
    step_shown,
    window_shown,
)
from joblog.job.wrenches import to_set
from joblog.record.clock import Moment
from joblog.sheet.model import Sheet, Step

Say = Callable[[Decimal, str], str]
MOST_SAID = 2  # missing things that are named aloud; the rest is counted


def answer_next(state: JobState) -> Plan:
    """Name the next step with what the sheet expects of it, and the cautions that belong to it."""
    step = state.next_step
    if step is None:
        return answer("That was the last step. Say job complete.")
    spoken = f"Next: {step_name(step.step)}."
    lines = [f"Next: {step_shown(step.step)}."]
    torque = step.step.torque
    setting, setting_shown = to_set(state.sheet, step.step)
    if setting:  # what the wrench is to show, not what the fastener gets through the adapter
        spoken += f" {setting}"
        lines.append(setting_shown)
    elif torque:
        spoken += f" Torque, {said(torque.value, torque.unit)}."
        lines.append(f"Torque {shown(torque.value, torque.unit)} ± {torque.tolerance}.")
    pour = step.step.pour
    into = to_fill(state, pour.fluid) if pour and pour.direction == "in" else None
    for one_said, one_shown in wanted_of(state.sheet, step.step, into):
        spoken += f" {capital(one_said)}."
        lines.append(f"{capital(one_shown)}.")
    if len(lines) > 1 and state.sheet.sheet.example:
        lines.append("An example value: the service information has the real one.")
    lines += new_parts(state.sheet, step.step)
    lines += cautions_shown(state.sheet, step.step)
    spoken += f" {cautions_said(state.sheet, step.step)}"
    return answer(spoken.strip(), " ".join(lines))


def wanted_of(sheet: Sheet, step: Step, into: Fraction | None = None) -> Iterator[tuple[str, str]]:
    """Yield what ``sheet`` expects of ``step`` besides a torque, said and shown.

    ``into`` is what is to go in by what came out: the sheet's own amount is then shown beside it.
    """
    fluid = next((f for f in sheet.fluids if step.pour and f.key == step.pour.fluid), None)
    if fluid and fluid.service and step.pour and step.pour.direction == "in":
        amount, unit = fluid.service.value, fluid.service.unit
        sheets = f"{shown(amount, unit)} of {fluid.name} in"
        if into is None:
            yield f"{said(amount, unit)} in", sheets
        else:  # the guard judges by that
            yield (
                f"{said(into, unit)} in",
                f"{shown(into, unit)} in, by what came out (the sheet: {sheets})",
            )
    if step.reading and (step.reading.low, step.reading.high) != (None, None):
        name = step.reading.name
        limits = (step.reading.low, step.reading.high, step.reading.unit)
        yield f"{name}, {between(*limits, said)}", f"{name} {between(*limits, shown)}"
    if step.window is not None and step.window.opens + (step.window.closes or 0):
        start = next(s for s in sheet.steps if s.key == step.window.since)
        times, since = (step.window.opens or None, step.window.closes, "s"), step_name(start)
        yield f"{between(*times, said)} after {since}", f"{window_shown(step.window)} after {since}"


def between(low: Decimal | None, high: Decimal | None, unit: str, say: Say) -> str:
    """Return a range in words: from one limit to the other, or the one that there is."""
    if low is not None and high is not None:
        return f"{say(low, '')} to {say(high, unit)}"
    if low is None:
        return f"below {say(high or Decimal(0), unit)}"
    return f"{say(low, unit)} or more"


def new_parts(sheet: Sheet, step: Step) -> list[str]:
    """Return what is fitted new at ``step``, and how: so that no used washer goes back in."""
    parts = [part for part in sheet.parts if part.key in step.parts]
    return [f"Fit new: {p.name}{f' ({p.fitted})' if p.fitted else ''}." for p in parts]


def answer_how_much(state: JobState) -> Plan:
    """Give the sum that went in of every fluid that was touched, beside what is to go in."""
    sums = [f for f in state.fluids if f.poured_in or f.poured_out] or list(state.fluids[:1])
    if not sums:
        return answer("No fluid on this sheet.")
    spoken, lines = [], []
    for fluid in sums:
        into = to_fill(state, fluid.key)  # the guard judges by that
        goal = fluid.specified if into is None else into
        of = f" of {said(goal, fluid.unit)}" if goal is not None else ""
        spoken.append(f"{capital(said(fluid.poured_in, fluid.unit))} in{of}.")
        wanted = f" of {shown(goal, fluid.unit)}" if goal is not None else ""
        lines.append(f"{fluid.name}: {shown(fluid.poured_in, fluid.unit)} in{wanted}")
        if fluid.poured_out:
            lines[-1] += f", {shown(fluid.poured_out, fluid.unit)} came out"
    return answer(" ".join(spoken), "; ".join(lines) + ".")


def answer_read_back(state: JobState) -> Plan:
    """Read the value recorded last back."""
    if not state.values:
        return answer("No value yet.")
    value = max(state.values, key=lambda v: v.entry.seq)
    if value.entry.kind != "quantity":  # of several of a kind, with its number
        spoken, text = entry_named(state, value.entry)
        return answer(f"{capital(spoken)}.", f"{capital(text)}.")
    name = "Drained" if value.entry.body.get("direction") == "out" else "In"
    spoken = f"{name}, {said(value.value, value.unit)}."
    return answer(spoken, f"{name}, {shown(value.value, value.unit)}.")


def answer_missing(state: JobState) -> Plan:
    """Name what steps already done still want, open findings, then the steps still to do."""
    lacking = [s for s in state.steps if s.status is StepStatus.INCOMPLETE]
    named = tuple(f"missing:{s.step.key}:" for s in lacking)
    others = told(state.sheet, [f for f in state.open_findings if not f.key.startswith(named)])
    spoken = [
        f"{capital(listed([spoken_missing(m) for m in s.missing]))}, {step_name(s.step)}."
        for s in lacking
    ] + [f.spoken for f in others if not f.key.startswith("unsure:")]
    lines = [
        f"{capital(listed([shown_missing(m) for m in s.missing]))}, {step_name(s.step)}"
        for s in lacking
    ]
    lines += [_with_step(state, f) for f in others]
    if not lines:
        return _nothing_yet(state)
    spoken, lines = list(dict.fromkeys(spoken)), list(dict.fromkeys(lines))
    told_so = {f.step for f in others if f.key == f"missing:{f.step}:step"}
    next_said, to_do = _still_to_do(state, told_so)
    waiting = [q for q in state.waiting if state.finding(f"unsure:{q.entry.id}") in others]
    asked = [capital(q.in_full) for q in waiting[-1:]]  # last, for it is what is answered
    said_first = spoken[: MOST_SAID - len(asked)]
    more = len(spoken) - len(said_first) + len(waiting) - len(asked)
    text = " ".join(part for part in (*said_first, and_more(more), next_said, *asked) if part)
    line = "; ".join(lines)
    stop = "" if line.endswith("?") else "."
    return answer(text, f"{line}{stop} {to_do}".strip())


def _with_step(state: JobState, finding: Finding) -> str:
    """Return a finding's words, with its step where they don't name it."""
    text, step = finding.text.rstrip("."), state.step(finding.step) if finding.step else None
    names = [step_name(step.step), step.step.title] if step else []
    named = any(name.lower() in text.lower() for name in names)
    return f"{text} ({names[0]})" if names and not named else text


def _still_to_do(state: JobState, named: set[str | None]) -> tuple[str, str]:
    """Return the steps not done yet but for those ``named``: the next aloud, all of them shown."""
    left = [
        step_name(s.step)
        for s in state.steps
        if s.step.key not in state.settled | named and not s.step.optional
    ]
    if not left:
        return "", ""
    following = state.next_step
    said_next = f"Next: {step_name(following.step)}." if following else ""
    return said_next, f"Still to do: {listed(left)}."


def _nothing_yet(state: JobState) -> Plan:
    """Say that nothing is missing of what was done, and how much of the job is still to come."""
    left = [s for s in state.steps if s.step.key not in state.settled and not s.step.optional]
    following = state.next_step
    if not left or following is None:
        return answer("Nothing is missing.")
    others = len([s for s in left if s.step.key != following.step.key])
    spoken = f"Nothing is missing yet. Next: {step_name(following.step)}. {and_more(others)}"
    shown = f"Nothing is missing yet. Next: {step_shown(following.step)}."
    more = f" {others} more step{'s' if others > 1 else ''} after it." if others else ""
    return answer(spoken.strip(), shown + more)


def answer_time(state: JobState, now: Moment | None) -> Plan:
    """Give the time until the running window opens or closes."""
    if now is None:
        return answer("No clock is running.")
    readings = [clock_reading(clock, now) for clock in state.clocks if not clock.stopped]
    running = [r for r in readings if r.phase is not Phase.STOPPED]
    if not running:
        return answer("No clock is running.")
    return answer(" ".join(time_spoken(state, r) for r in running))


def time_spoken(state: JobState, reading: ClockReading) -> str:
    """Return where a window stands, in words."""
    name = capital(step_name(_step(state, reading).step))
    if reading.phase is Phase.WAITING:
        return f"{name} opens in {seconds(reading.opens_in)}."
    if reading.phase is Phase.CLOSED:
        return f"{name}: the window is closed."
    if reading.closes_in is None:
        return f"{name}: the window is open."
    return f"{name}: {seconds(reading.closes_in)} left."


def seconds(value: object) -> str:
    """Return a time in whole seconds, rounded down, in words; a long one in minutes, hours."""
    return span_said(Decimal(str(value)))


def _step(state: JobState, reading: ClockReading) -> StepState:
    return next(s for s in state.steps if s.step.key == reading.clock.step)
