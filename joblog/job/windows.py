"""What a window is judged by: one answer for the guard, the clock and the report."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.job.clocks import (
    Elapsed,
    Phase,
    before_start,
    last_start,
    taken_after,
    window_phase,
    window_start,
)
from joblog.job.history import Event, History, confirmations
from joblog.job.marks import shows_anything
from joblog.job.order import all_before, may_not_start
from joblog.job.torques import all_tight, is_angle
from joblog.job.types import JobState, Mark
from joblog.job.values import step_named
from joblog.record.entry import Entry
from joblog.sheet.model import Step, Window


@dataclass(frozen=True)
class Timed:
    """A reading (a value, a photo, a torque, a word) and how long after its window's start it was.

    ``passed`` is None where it was taken before the window had started at all.
    """

    event: Event
    start: Mark | None
    passed: Elapsed | None
    phase: Phase

    @property
    def sure(self) -> bool:
        """Whether the time is known by the clock that nobody can set."""
        return self.passed is not None and self.passed.sure


def timed(state: JobState, history: History, step: Step) -> list[Timed]:
    """Return what the window of ``step`` is judged by, oldest first; none without a window.

    Photos and values where there are any, or the step asks for one: saying the step is then only
    their label. Else the step as it was said or its amount told, the first time; a word said once
    more after a later step was done says nothing of a wait that ended before that step.
    """
    if step.window is None:
        return []
    starts = [mark for mark in state.marks if mark.step == step.window.since]
    taken = [e for e in history.events if _taken(step, e.entry) and not _free(starts, e)]
    if not taken and not _asks(step):
        taken = _said(state, history, starts, step)
    judged = [_timed(step.window, starts, event) for event in taken]
    left_out = confirmations(history).get(f"missing:{step.window.since}:step")
    from_then = left_out.seq if left_out else None
    if may_not_start(state.sheet, step.window):
        from_then = 0
    # Where its start may be left out, or was, with a reason, there is no time to judge by.
    return [t for t in judged if t.passed or from_then is None or t.event.root.seq < from_then]


def read(state: JobState, history: History, step: Step, start: Mark) -> bool:
    """Say whether the clock of ``step`` that runs from ``start`` has had its reading.

    One before the window opened is told, and the clock runs on for the right one; it stops, too,
    where no right one can come any more, since a later step was done after a word too early. Of
    several fasteners it waits for the last.
    """
    mine = [t for t in timed(state, history, step) if t.start is start and t.passed is not None]
    since_opened = [t.event.entry for t in mine if t.phase is not Phase.WAITING]
    if step.torque is not None:
        return all_tight(step.torque, [entry for entry in since_opened if entry.kind == "torque"])
    if since_opened:
        return True
    by_word = mine and not _taken(step, mine[0].event.entry)
    return bool(by_word) and _passed_by(state, step, mine[0].event.root.seq)


def wait_is_past(state: JobState, step: Step, said: Mark) -> bool:
    """Say whether the wait at ``step``, said to be over at ``said``, can't be waited for any more.

    So it is where no value or photo shows when it was over, and a later step was done since: what
    no longer drips because its plug is in says nothing of how long it dripped.
    """
    start = last_start(state.marks, step.window)
    mine = start is not None and start.root.seq < said.root.seq and not _asks(step)
    return mine and _passed_by(state, step, said.root.seq)


def corrected_in_time(state: JobState, step: Step, event: Event) -> bool:
    """Say whether ``event`` was corrected while the window of ``step`` was open.

    Then it may be that it was done again, and not only said wrongly before.
    """
    if step.window is None or not event.corrected_from or event.entry.kind == "photo":
        return False
    starts = [mark for mark in state.marks if mark.step == step.window.since]
    anew = _timed(step.window, starts, Event(event.entry, event.entry))
    past = event.entry.kind == "quantity" and _passed_by(state, step, event.root.seq)
    return anew.phase is Phase.OPEN and not past


def _passed_by(state: JobState, step: Step, since: int, until: int | None = None) -> bool:
    """Say whether a step that must follow ``step`` was done between two places in the record."""
    done = (m for m in state.marks if since < m.root.seq and (until is None or m.root.seq < until))
    later = (step_named(state.sheet, mark.step) for mark in done)
    return any(other and step.key in all_before(state.sheet, other) for other in later)


def _taken(step: Step, entry: Entry) -> bool:
    if entry.body.get("step") != step.key:
        return False
    if entry.kind == "photo":
        return bool((entry.body.get("measurement") or {}).get("usable"))
    return entry.kind == "torque" or (entry.kind == "reading" and not is_angle(step, entry))


def _asks(step: Step) -> bool:
    """Say whether a step wants a value or photo that shows when it was done."""
    reading = step.reading is not None and step.reading.required
    photo = step.photo is not None and step.photo.required
    return reading or photo or step.torque is not None


def _free(starts: list[Mark], event: Event) -> bool:
    """Say whether ``event`` is a photo of anything, taken before it could be one of the step."""
    return shows_anything(event.entry) and before_start(starts, event.root)


def _said(state: JobState, history: History, starts: list[Mark], step: Step) -> list[Event]:
    found: list[Event] = []
    corrected = {e.entry.id: e.corrected_from for e in history.events}
    for mark in (m for m in state.reported if m.step == step.key):
        started = max((s.root.seq for s in starts if s.root.seq < mark.root.seq), default=-1)
        last = found[-1].root.seq if found else -1
        if last <= started or not _passed_by(state, step, last, mark.root.seq):
            found.append(Event(mark.entry, mark.root, corrected.get(mark.entry.id, ())))
    return found


def _timed(window: Window, starts: list[Mark], event: Event) -> Timed:
    start = window_start(starts, event.root)
    if start is None or before_start(starts, event.root):
        return Timed(event, start, None, Phase.WAITING)
    passed = taken_after(start.root, event.root)
    phase = window_phase(passed.seconds, window.opens, window.closes)
    return Timed(event, start, passed, phase)
