"""Waits and reading windows, judged by monotonic time.

A wall clock that somebody sets must not open or close a window, so seconds between two entries of
one ``boot`` come from their monotonic offsets. Across a restart of the machine only the wall clock
is left; what it says is then marked as not sure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from itertools import pairwise
from typing import Protocol

from joblog.job.types import ClockState, Mark
from joblog.record.entry import Entry
from joblog.record.times import milliseconds_since_epoch
from joblog.sheet.model import Sheet, Window

JUMP_SECONDS = Decimal(2)  # a wall clock that drifts by more than this between entries was set
WARN_BEFORE_CLOSE = Decimal(10)


class Timed(Protocol):
    """Anything with both times: an entry, or the clock's moment."""

    @property
    def at(self) -> str: ...  # noqa: D102 - wall time, RFC 3339

    @property
    def mono(self) -> str: ...  # noqa: D102 - seconds within the boot

    @property
    def boot(self) -> str: ...  # noqa: D102 - name of the boot


@dataclass(frozen=True)
class Elapsed:
    """Seconds between two moments; ``sure`` is False where only the wall clock could tell."""

    seconds: Decimal
    sure: bool


class Phase(StrEnum):
    """Where a window stands."""

    WAITING = "opens later"
    OPEN = "open"
    CLOSED = "closed"
    STOPPED = "stopped"


@dataclass(frozen=True)
class ClockReading:
    """A window at one moment: seconds since it started, until it opens, until it closes."""

    clock: ClockState
    phase: Phase
    elapsed: Elapsed
    opens_in: Decimal
    closes_in: Decimal | None


def elapsed(start: Timed, end: Timed) -> Elapsed:
    """Return the seconds from ``start`` to ``end``."""
    if start.boot == end.boot:
        return Elapsed(Decimal(end.mono) - Decimal(start.mono), sure=True)
    wall = milliseconds_since_epoch(end.at) - milliseconds_since_epoch(start.at)
    return Elapsed(Decimal(wall) / 1000, sure=False)


def taken_after(start: Entry, reading: Entry) -> Elapsed:
    """Return the seconds from ``start`` to when ``reading`` was taken.

    A photo may have waited on a phone without a network: it was taken that long before its entry.
    """
    passed = elapsed(start, reading)
    waited = Decimal(str(reading.body.get("waited", "0")))
    return Elapsed(passed.seconds - waited, passed.sure)


def window_start(starts: Sequence[Mark], reading: Entry) -> Mark | None:
    """Return the mark from which a reading's time counts: the last of ``starts`` before it.

    Where it was taken before all that were recorded before it, the last of these.
    """
    before = [m for m in starts if m.root.seq < reading.seq]
    taken = [m for m in before if not was_waiting(m.root, reading)]
    return next(reversed(taken or before), None)


def before_start(starts: Sequence[Mark], reading: Entry) -> bool:
    """Say whether ``reading`` was taken before the first of ``starts``: its time had not begun."""
    start = window_start(starts, reading)
    return start is None or was_waiting(start.root, reading)


def was_waiting(start: Entry, reading: Entry) -> bool:
    """Say whether ``reading`` is a photo that waited on a phone since before ``start``.

    What didn't wait was taken when it was recorded, whatever a clock says that was set meanwhile.
    """
    return "waited" in reading.body and taken_after(start, reading).seconds < 0


def window_phase(seconds: Decimal, opens: Decimal, closes: Decimal | None) -> Phase:
    """Return where a window stands ``seconds`` after its start; both limits are inside."""
    if seconds < opens:
        return Phase.WAITING
    return Phase.CLOSED if closes is not None and seconds > closes else Phase.OPEN


def clocks_of(sheet: Sheet, marks: Sequence[Mark]) -> tuple[ClockState, ...]:
    """Return the clock of every window that has started, as if its reading were still to come.

    The last time that the starting step was marked counts.
    """
    clocks = []
    for step in sheet.steps:
        start = last_start(marks, step.window)
        if step.window and start:
            clocks.append(_clock(step.key, step.title, step.window, start))
    return tuple(clocks)


def last_start(marks: Sequence[Mark], window: Window | None) -> Mark | None:
    """Return the last mark from which ``window`` runs, None where it hasn't started."""
    if window is None:
        return None
    return next((mark for mark in reversed(marks) if mark.step == window.since), None)


def _clock(step: str, name: str, window: Window, start: Mark) -> ClockState:
    root = start.root
    return ClockState(
        name=name,
        step=step,
        started_at=root.at,
        started_mono=Decimal(root.mono),
        boot=root.boot,
        opens=window.opens,
        closes=window.closes,
    )


@dataclass(frozen=True)
class _Start:
    at: str
    mono: str
    boot: str


def clock_reading(clock: ClockState, now: Timed) -> ClockReading:
    """Return where ``clock`` stands at the moment ``now``."""
    passed = elapsed(_Start(clock.started_at, str(clock.started_mono), clock.boot), now)
    phase = window_phase(passed.seconds, clock.opens, clock.closes)
    closes_in = None if clock.closes is None else clock.closes - passed.seconds
    if clock.stopped:
        phase = Phase.STOPPED
    return ClockReading(clock, phase, passed, clock.opens - passed.seconds, closes_in)


def announcement_due(reading: ClockReading) -> str:
    """Return what should be announced by now: '', 'open', 'closing' or 'closed'."""
    if reading.phase in (Phase.STOPPED, Phase.WAITING):
        return ""
    if reading.phase is Phase.CLOSED:
        return "closed"
    left = reading.closes_in
    return "closing" if left is not None and left <= WARN_BEFORE_CLOSE else "open"


def clock_jumps(entries: Sequence[Entry]) -> tuple[tuple[Entry, Decimal], ...]:
    """Return the entries before which the wall clock was set, and by how many seconds."""
    jumps = []
    for before, after in pairwise(entries):
        if before.boot != after.boot:
            continue
        wall = milliseconds_since_epoch(after.at) - milliseconds_since_epoch(before.at)
        jump = Decimal(wall) / 1000 - (Decimal(after.mono) - Decimal(before.mono))
        if abs(jump) > JUMP_SECONDS:
            jumps.append((after, jump))
    return tuple(jumps)
