"""Readings in their time window: when each was taken, by the same clock as the guard's."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from joblog.job.clocks import (
    Elapsed,
    Phase,
    before_start,
    taken_after,
    window_phase,
    window_start,
)
from joblog.job.marks import undone_at
from joblog.job.torques import numbers_of
from joblog.job.types import StepState
from joblog.job.windows import Timed, timed
from joblog.job.wording import SECONDS_TOLD
from joblog.record.entry import Entry
from joblog.report.context import Context
from joblog.sheet.model import Step, Window

_HOUR = 3600
_MILLISECONDS = 3  # decimals of a second in the record


@dataclass(frozen=True)
class WindowReading:
    """A reading and the seconds from its window's start; ``inside`` is None where not sure.

    ``numbers`` are those of the fasteners that it is of, where the step has several.
    """

    seconds: Decimal
    entry: Entry
    inside: bool | None
    numbers: tuple[int, ...] = ()


def window_readings(c: Context, state: StepState) -> list[WindowReading]:
    """Return the last reading of a step with a window, of several fasteners the last of each.

    They are those that the guard and the clock go by; what was taken before its start is none.
    """
    undone = undone_at(c.state.sheet, c.state.marks).get(state.step.key, -1)
    judged = [
        one
        for one in timed(c.state, c.history, state.step)
        if one.passed is not None and one.event.root.seq > undone
    ]
    of = _numbers(state.step, judged)
    last = {number: one for one in judged for number in of.get(one.event.entry.id, [0])}
    found = []
    for one in judged:
        mine = [number for number, latest in last.items() if latest is one]
        if mine and one.passed is not None:
            inside = one.phase is Phase.OPEN if one.sure else None
            numbers = tuple(sorted(n for n in mine if n))
            found.append(WindowReading(one.passed.seconds, one.event.entry, inside, numbers))
    return found


def _numbers(step: Step, judged: list[Timed]) -> dict[str, list[int]]:
    """Return, by the id of each torque of a step with several fasteners, the numbers it is of."""
    entries = [one.event.entry for one in judged if one.event.entry.kind == "torque"]
    if step.torque is None or step.torque.count == 1:
        return {}
    numbers = numbers_of(step.torque, entries)
    return {entry.id: mine for entry, mine in zip(entries, numbers, strict=True)}


def before_its_start(c: Context, window: Window, entry: Entry) -> bool:
    """Return whether ``entry`` was taken before ``window`` had started: it doesn't count."""
    starts = [mark for mark in c.state.marks if mark.step == window.since]
    return before_start(starts, c.root(entry))


def since_start(c: Context, window: Window, entry: Entry) -> Elapsed | None:
    """Return the time from the start of ``window`` to ``entry``, None where it hadn't started."""
    root = c.root(entry)
    start = window_start([m for m in c.state.marks if m.step == window.since], root)
    return taken_after(start.root, root) if start else None


def seconds_shown(seconds: Decimal, window: Window) -> Decimal:
    """Return the whole seconds that have passed, or as many decimals as keep its side of a limit.

    120.4 s is too late for a window that closes at 120 s, and must not be told as 120 s.
    """
    phase = window_phase(seconds, window.opens, window.closes)
    for places in range(_MILLISECONDS):
        shown = seconds.quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN)
        if window_phase(shown, window.opens, window.closes) is phase:
            return shown
    return seconds


def seconds_text(c: Context, seconds: Decimal, window: Window) -> str:
    """Return the seconds as every page shows them: '34 s', a long time as '16 h 2 min'."""
    shown = seconds_shown(seconds, window)
    phase = window_phase(shown, window.opens, window.closes)
    told = shown if shown < _HOUR else shown // 60 * 60  # from an hour on without its seconds
    whole = told == int(told) and window_phase(told, window.opens, window.closes) is phase
    if shown > SECONDS_TOLD and whole:
        return c.t.span(told)
    return f"{c.t.number(shown)}\u00a0s"


def window_limits(c: Context, window: Window) -> str:
    """Return when a window opens and closes; above two minutes in minutes and hours."""
    opens, closes = window.opens, window.closes
    if max(opens, closes or 0) <= SECONDS_TOLD:
        return c.between(opens, closes, "s")
    if closes is None:
        return c.t.say("at least {span}", span=c.t.span(opens))
    return c.t.say("{low} to {high}", low=c.t.span(opens), high=c.t.span(closes))
