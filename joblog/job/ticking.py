"""Announcements of windows: opened, ten seconds left, closed."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.job.answers import seconds
from joblog.job.clocks import announcement_due, clock_reading
from joblog.job.drafts import Draft
from joblog.job.types import ClockState, JobState
from joblog.job.values import step_named
from joblog.job.wording import capital, span_shown, step_name
from joblog.record.clock import Moment

# Each window is announced in this order; what was missed while the program was down is skipped.
ORDER = ("open", "closing", "closed")
_SPOKEN = {
    "open": "Reading window open",
    "closing": f"{capital(seconds(10))} left",
    "closed": "Reading window closed",
}


@dataclass(frozen=True)
class Announcement:
    """One thing to say about a window, and the entry that remembers it."""

    draft: Draft
    spoken: str
    shown: str
    event: str


def due_announcements(state: JobState, now: Moment) -> list[Announcement]:
    """Return what is to be announced at ``now`` and has not been yet."""
    found = []
    for clock in state.clocks if not state.closed else ():
        reading = clock_reading(clock, now)
        event = announcement_due(reading)
        if event and reading.elapsed.sure and not _announced(state, clock, event):
            spoken, shown = _words(state, clock, event)
            body = {"name": clock.step, "event": event, "since": clock.started_at}
            found.append(Announcement(Draft("clock", body), spoken, shown, event))
    return found


def _announced(state: JobState, clock: ClockState, event: str) -> bool:
    later = ORDER[ORDER.index(event) :]
    return any(
        e.kind == "clock"
        and e.body.get("name") == clock.step
        and e.body.get("since") == clock.started_at
        and e.body.get("event") in later
        for e in state.entries
    )


def _words(state: JobState, clock: ClockState, event: str) -> tuple[str, str]:
    step = step_named(state.sheet, clock.step)
    name = step_name(step) if step else clock.name
    spoken = f"{_SPOKEN[event]}: {name}."
    name = capital(name)
    if event == "open":
        return spoken, f"Reading window open: {name}, from {span_shown(clock.opens)} on."
    if event == "closing":
        return spoken, f"10 seconds left: {name}."
    return spoken, f"Reading window closed: {name}, after {span_shown(clock.closes or 0)}."
