"""Readings outside their time window, and wall clocks that were set."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from decimal import Decimal

from joblog.job.clocks import Elapsed, Phase, clock_jumps, window_phase
from joblog.job.guard_wanted import confirmed_words
from joblog.job.history import Event, History, confirmations
from joblog.job.torques import numbers_named
from joblog.job.types import Finding, FindingKind, JobState, Mark
from joblog.job.values import step_named
from joblog.job.windows import Timed, corrected_in_time, timed
from joblog.job.wording import (
    capital,
    said,
    shown,
    span_said,
    span_shown,
    step_name,
    window_shown,
)
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet, Step, Window

HOUR = 3600  # seconds; from an hour on none are told
READ_AGAIN = "read again inside the window"


def window_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Readings, photos and steps that came before their window opened or after it closed."""
    confirmed = confirmations(history)
    for step in state.sheet.steps:
        if step.window is None:
            continue
        judged = timed(state, history, step)
        good = [t for t in judged if t.phase is Phase.OPEN]
        for one in judged:
            if one.phase is Phase.OPEN and one.sure:
                continue
            seq = one.event.root.seq
            later = _made_good(step, one, good)
            if one.passed is not None and one.start is not None:
                found = _finding(state.sheet, step, step.window, one, one.start, one.passed, later)
            else:
                settled = _let_stand(step, step.window, seq, confirmed)
                found = _before(state, step, step.window, one, later, settled)
            early = one.phase is Phase.WAITING
            again = early and corrected_in_time(state, step, one.event)
            yield _to_be_said_anew(found, step, one.event) if again else found


def _to_be_said_anew(found: Finding, step: Step, event: Event) -> Finding:
    """Return the finding about what was early and corrected in time, with what to do about it."""
    keeps = "A correction keeps the time of the first."
    if event.entry.kind == "quantity":
        word = step_name(step)
        advice, spoken = f"{keeps} Is it over? Say “{word}”.", f"Say {word}."
    else:
        advice = f"{keeps} Was it done again? Say it once more, without “correction”."
        spoken = "Say it again."
    return replace(found, advice=advice, spoken=f"{found.spoken} {spoken}")


def _made_good(step: Step, one: Timed, good: list[Timed]) -> bool:
    """Say whether it was done in time later: of several fasteners, each that ``one`` was of."""
    later = [g.event.entry for g in good if g.event.root.seq > one.event.root.seq]
    if not later or step.torque is None:
        return bool(later)
    again = {number for entry in later for number in numbers_named(step.torque, entry)}
    return again.issuperset(numbers_named(step.torque, one.event.entry))


def _let_stand(step: Step, window: Window, seq: int, confirmed: Mapping[str, Entry]) -> str:
    """Return who let stand, by another finding's name, what was read before its window's start.

    That the step, or its value, is missing is the same thing at the end of the job; that the order
    was wrong is what older records have of it.
    """
    for key, entry in confirmed.items():
        same = key.startswith(f"missing:{step.key}:") or key == f"order:{step.key}:{window.since}"
        if same and entry.seq > seq:
            return confirmed_words(entry)
    return ""


def _before(  # noqa: PLR0917 - one finding from all that is known of it
    state: JobState, step: Step, window: Window, one: Timed, later: bool, settled: str
) -> Finding:
    """Return the finding about what came before its window had even started."""
    start = step_named(state.sheet, window.since)
    first = step_name(start) if start else window.since
    lead = f"{capital(step_name(step))}, but {first} must come first"
    return Finding(
        key=f"window:{one.event.root.id}",
        kind=FindingKind.OUT_OF_ORDER,
        text=f"{lead}: it counts {window_shown(window)} after it.",
        spoken=f"{lead}.",
        step=step.key,
        entry=one.event.entry.id,
        at=one.event.root.at,
        resolved="; ".join(x for x in (settled, READ_AGAIN if later else "") if x),
        customer=f"“{step.title}” came before “{start.title if start else first}” and does not "
        f"count; it counts {window_shown(window)} after it.",
    )


def fan_findings(state: JobState, history: History) -> Iterator[Finding]:
    """A level read after more than one fan cycle: the fluid is hotter and stands higher."""
    for step in state.sheet.steps:
        wanted = step.photo is not None and step.photo.kind == "dipstick"
        for one in timed(state, history, step) if wanted else ():
            event = one.event
            cycles = _cycles_before(state, history, one.start) if one.start else 0
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


def _finding(  # noqa: PLR0917 - one finding from all that is known of it
    sheet: Sheet, step: Step, window: Window, one: Timed, start: Mark, passed: Elapsed, later: bool
) -> Finding:
    event = one.event
    whole = max(Decimal(int(passed.seconds)), Decimal(0))
    took, took_said = _took(whole, window)
    name = capital(step_name(step))
    early = {Phase.WAITING: "too early", Phase.CLOSED: "too late"}.get(one.phase, "not sure")
    return Finding(
        key=f"window:{event.root.id}",
        kind=FindingKind.OUTSIDE_WINDOW if passed.sure else FindingKind.UNSURE,
        text=f"{name} {took} after {start.step.replace('-', ' ')}: {early}; "
        f"{window_shown(window)}.{_doubt(passed)}",
        spoken=f"{name}, {took_said}, is {early}." if passed.sure else f"{name}, time not sure.",
        step=step.key,
        entry=event.entry.id,
        at=event.root.at,
        resolved=READ_AGAIN if later else "",
        advice=_start_again(sheet, step, start) if one.phase is Phase.CLOSED else "",
        customer=f"“{step.title}” was done {took} after its clock started; "
        f"it counts {window_shown(window)}.{_doubt(passed)}",
    )


def _took(whole: Decimal, window: Window) -> tuple[str, str]:
    """Return how long it took, shown and said; in seconds where minutes would hide the limit."""
    minutes = whole // 60 * 60
    phases = {window_phase(x, window.opens, window.closes) for x in (whole, minutes)}
    if whole >= HOUR and len(phases) > 1:
        return shown(whole, "s"), said(whole, "s")
    return span_shown(whole), span_said(whole)


def _start_again(sheet: Sheet, step: Step, start: Mark) -> str:
    """Say what is to be done where a window has closed: its start once more, with what led to it.

    An engine that was off over night is to be run again.
    """
    since = step_named(sheet, start.step)
    if since is None:
        return ""
    before = [s for key in since.after[-1:] if (s := step_named(sheet, key))]
    names = " and ".join(f"“{step_name(s)}”" for s in (*before, since))
    return f"Do {names} again, then “{step_name(step)}” in time."


def _doubt(passed: Elapsed) -> str:
    if passed.sure:
        return ""
    return " The machine was restarted in between, so that this time is not sure."


def clock_findings(state: JobState, _: History) -> Iterator[Finding]:
    """The wall clock was set while the job ran: noticed, and nothing is judged by it."""
    for entry, jump in clock_jumps(state.entries):
        way = "forward" if jump > 0 else "back"
        amount = span_shown(round(abs(jump)))
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
