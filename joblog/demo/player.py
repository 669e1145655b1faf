"""Play the scenario through the real recogniser, the real measurements and the real record.

At the fast pace a clock set by the scenario stands in for the shop's clock, so that an hour's job
passes in under a minute; the record says so by the name of its clock. At the real pace the
machine's own clock is used and the waits are waited.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from joblog.audio.files import read_audio
from joblog.demo.screen import Exchange
from joblog.demo.script import OPENING, SHEET, TOLD_OF_NOTE, Line, load_script
from joblog.job.explanations import note_key, notes_untold
from joblog.job.session import JobSession
from joblog.job.types import JobState, Reply
from joblog.record.clock import ManualClock, SystemClock
from joblog.record.entry import Entry
from joblog.record.store import Store, open_store
from joblog.sheet.load import sheet_text
from joblog.speech.types import Engine

DAY = datetime(2026, 11, 26, 14, 5, tzinfo=UTC)  # the scenario's day and hour
BOOT = "scenario-clock"
STRIDE = 5.0  # seconds of job time between two looks at running clocks

Show = Callable[[Exchange, JobState], None]


@dataclass(frozen=True)
class Played:
    """The job as played and the store that holds it."""

    session: JobSession
    store: Store
    lines: list[Line]


class Pace:
    """Waits for the job time of each line, or jumps there."""

    def __init__(self, real: bool, linger: float) -> None:
        self.real = real
        self.linger = linger
        self.clock = SystemClock() if real else ManualClock(DAY, boot=BOOT)
        self._started = time.monotonic()
        self.now = 0.0

    def until(self, at: float) -> float:
        """Return the seconds of job time once ``at`` has come; ``at`` never lies in the past."""
        at = max(at, self.now)
        if isinstance(self.clock, ManualClock):
            self.clock.advance(str(round(at - self.now, 3)))
        else:
            time.sleep(max(0.0, self._started + at - time.monotonic()))
        self.now = at
        return at

    def rest(self) -> None:
        """Leave a moment to read, at the fast pace."""
        if not self.real and self.linger:
            time.sleep(self.linger)


def play(engine: Engine, data: Path, *, real: bool, linger: float, show: Show) -> Played:
    """Play every line of the scenario into a store in ``data``, showing each exchange."""
    pace = Pace(real, linger)
    store = open_store(data, clock=pace.clock)
    session = JobSession.start(
        store, sheet_text(SHEET), dict(OPENING), engine=engine, clock=pace.clock
    )
    lines = load_script()
    for line in lines:
        _clocks(session, pace, line.at, show)
        at = pace.until(line.at)
        utterance = read_audio(line.path)
        known = len(session.state.entries)
        reply = session.hear(utterance, by=line.who.split(",")[0])
        show(_exchange(at, line.who, reply, session.state.entries[known:]), session.state)
        pace.rest()
        if line.shot:
            at = pace.until(at + utterance.duration + 2)
            answer = session.photo(line.shot.path.read_bytes(), line.shot.kind, by="shop phone")
            taken = Exchange(at, "Camera", line.shot.path.name, "", answer.shown, answer.tone)
            show(taken, session.state)
            pace.rest()
    _advisor(session, pace, show)
    return Played(session, store, lines)


def _advisor(session: JobSession, pace: Pace, show: Show) -> None:
    """Let the advisor tell the customer of the technician's last note, as at the desk."""
    advisor = str(OPENING["advisor"])
    for note in notes_untold(session.state)[-1:]:
        reply = session.explain(note_key(note), TOLD_OF_NOTE, advisor)
        said = f"“{TOLD_OF_NOTE}”"
        show(Exchange(pace.now, advisor, said, "at the desk", reply.shown, "ok"), session.state)
        pace.rest()


def _clocks(session: JobSession, pace: Pace, until: float, show: Show) -> None:
    """Let the job's clocks speak up on the way to ``until``: a reading window opens, or closes."""
    while session.state.clocks and pace.now + STRIDE < until:
        pace.until(pace.now + STRIDE)
        for reply in session.tick():
            show(Exchange(pace.now, "Clock", "", "", reply.spoken, reply.tone), session.state)
            pace.rest()


def _exchange(at: float, who: str, reply: Reply, new: Sequence[Entry]) -> Exchange:
    """Return what one utterance led to: what was heard, how surely, and the answer."""
    answer = reply.shown or reply.spoken or "(nothing said)"
    heard = next((e for e in new if e.kind == "heard"), None)
    if heard is None:
        note = next((e for e in new if e.kind == "note"), None)
        said = f"“{note.body['text']}”" if note else ""
        return Exchange(at, who, said, "free words, kept as a note", answer, reply.tone)
    sure = f"{float(heard.body['confidence']):.0%} sure"
    if heard.body["verdict"] == "reject":
        return Exchange(
            at, who, "(talk in the shop)", "no phrase of this job: ignored", answer, reply.tone
        )
    meant = sure if heard.body["verdict"] == "accept" else f"{sure}: asks before writing it down"
    return Exchange(at, who, f"“{heard.body['text']}”", meant, answer, reply.tone)
