"""Readings outside their time window, and wall clocks that were set."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from joblog.job.clocks import (
    Elapsed,
    Phase,
    clock_jumps,
    taken_after,
    window_phase,
    window_start,
)
from joblog.job.history import Event, History
from joblog.job.types import Finding, FindingKind, JobState, Mark
from joblog.job.wording import capital, said, step_name
from joblog.record.entry import Entry
from joblog.sheet.model import Step, Window


def window_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Readings, photos and steps that came before their window opened or after it closed."""
    for step in state.sheet.steps:
        if step.window is None:
            continue
        events = [e for e in history.events if _counts(step, e.entry)]
        judged = [(e, _start(state, step.window, e)) for e in events]
        good = [e for e, start in judged if start and _phase(step.window, start, e) is Phase.OPEN]
        for event, start in judged:
            if start is None or (event in good and taken_after(start.root, event.root).sure):
                continue
            later = any(g.root.seq > event.root.seq for g in good)
            yield _finding(step, step.window, start, event, later)


def fan_findings(state: JobState, history: History) -> Iterator[Finding]:
    """A level read after more than one fan cycle: the fluid is hotter and stands higher."""
    for step in state.sheet.steps:
        wanted = step.photo is not None and step.photo.kind == "dipstick"
        for event in history.events if wanted and step.window else ():
            start = _start(state, step.window, event) if step.window else None
            if start is None or not _counts(step, event.entry):
                continue
            cycles = _cycles_before(state, history, start)
            if cycles > 1:
                yield Finding(
                    key=f"fan:{event.entry.id}",
                    kind=FindingKind.OBSERVATION,
                    text=f"{cycles} fan cycles before the level was read: hot fluid reads higher.",
                    spoken="More than one fan cycle.",
                    step=step.key,
                    entry=event.entry.id,
                    at=event.root.at,
                    customer=f"The cooling fan ran {cycles} times before the level was read; the "
                    "fluid was hotter than needed and stands a little higher.",
                )


def _cycles_before(state: JobState, history: History, start: Mark) -> int:
    """Count fan cycles since the step before the window's start was done."""
    earlier = [m for m in state.marks if m.root.seq < start.root.seq]
    since = earlier[-1].root.seq if earlier else -1
    return sum(
        1
        for e in history.of("clock")
        if e.entry.body.get("name") == "fan-cycle" and since < e.root.seq < start.root.seq
    )


def _counts(step: Step, entry: Entry) -> bool:
    if entry.body.get("step") != step.key:
        return False
    if entry.kind == "photo":
        return bool((entry.body.get("measurement") or {}).get("usable"))
    # Where a photo or a reading is the evidence, saying the step is only its label.
    asks_for_more = step.reading is not None or (step.photo is not None and step.photo.required)
    return entry.kind == "reading" or (entry.kind == "step-done" and not asks_for_more)


def _start(state: JobState, window: Window, event: Event) -> Mark | None:
    return window_start([m for m in state.marks if m.step == window.since], event.root)


def _phase(window: Window, start: Mark, event: Event) -> Phase:
    return window_phase(taken_after(start.root, event.root).seconds, window.opens, window.closes)


def _finding(step: Step, window: Window, start: Mark, event: Event, later: bool) -> Finding:
    passed = taken_after(start.root, event.root)
    phase = _phase(window, start, event)
    whole = max(Decimal(int(passed.seconds)), Decimal(0))
    name = capital(step_name(step))
    early = {Phase.WAITING: "too early", Phase.CLOSED: "too late"}.get(phase, "not sure")
    resolved = "read again inside the window" if later else ""
    return Finding(
        key=f"window:{event.entry.id}",
        kind=FindingKind.OUTSIDE_WINDOW if passed.sure else FindingKind.UNSURE,
        text=f"{name} {whole} s after {start.step.replace('-', ' ')}: {early}; "
        f"{_limits(window)}.{_doubt(passed)}",
        spoken=f"{name}, {said(whole, 's')}, is {early}."
        if passed.sure
        else f"{name}, time not sure.",
        step=step.key,
        entry=event.entry.id,
        at=event.root.at,
        resolved=resolved,
        customer=f"“{step.title}” was done {whole} seconds after its clock started; "
        f"it counts {_limits(window)}.{_doubt(passed)}",
    )


def _limits(window: Window) -> str:
    if window.closes is None:
        return f"from {window.opens} s on"
    return f"between {window.opens} and {window.closes} s"


def _doubt(passed: Elapsed) -> str:
    if passed.sure:
        return ""
    return " The machine was restarted in between, so that this time is not sure."


def clock_findings(state: JobState, _: History) -> Iterator[Finding]:
    """The wall clock was set while the job ran: noticed, and nothing is judged by it."""
    for entry, jump in clock_jumps(state.entries):
        way = "forward" if jump > 0 else "back"
        amount = f"{abs(jump):.0f} s"
        yield Finding(
            key=f"clock:{entry.id}",
            kind=FindingKind.OBSERVATION,
            text=f"The wall clock was set {way} by {amount}; windows go by the other clock.",
            spoken=f"The clock was set {way}.",
            entry=entry.id,
            at=entry.at,
            customer=f"The computer's clock was set {way} by {amount} during the job; "
            "measured times do not depend on it.",
        )
