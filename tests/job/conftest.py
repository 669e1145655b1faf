"""A bench to run jobs on: a real store, a real session, a clock that moves when told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from joblog.job.cautions import LEAD, spoken_caution
from joblog.job.session import JobSession
from joblog.job.types import JobState, Reply
from joblog.job.vocabulary import closed_vocabulary, faults_spoken_whole, spoken_words
from joblog.record.clock import ManualClock
from joblog.record.store import Store, open_store
from joblog.sheet.load import sheet_text

# Copies of two shipped sheets, so that the scripts here and their phrases stay together.
SHEETS = Path(__file__).parent / "data"
HEAD = """
[sheet]
key = "short"
title = "Short job"
revision = "1"
summary = "Something is seen to."
"""
UNITS = {"transaxle-drain-fill": {"type": "KT-6F"}, "engine-oil-filter": {"type": "van"}}


class Bench:
    """One job, driven by what is said."""

    def __init__(self, session: JobSession, clock: ManualClock) -> None:
        self.session = session
        self.clock = clock

    @property
    def state(self) -> JobState:
        return self.session.state

    def say(self, *lines: str, by: str = "Imani Okafor") -> Reply:
        """Say each line, three seconds apart; the reply to the last one."""
        reply = Reply("", "", "none")
        for line in lines:
            self.clock.advance(3)
            reply = self.session.type_in(line, by=by)
            self.check_vocabulary(reply)
        return reply

    def check_vocabulary(self, reply: Reply) -> None:
        """Every spoken reply can be spoken from recorded clips; a caution is one of its own.

        So is what is wrong with a photo.
        """
        spoken, sheet = reply.spoken, self.session.sheet
        for caution in sheet.cautions:
            spoken = spoken.replace(f"{LEAD} {spoken_caution(caution)}", "")
        for fault in faults_spoken_whole():
            spoken = spoken.replace(f" not usable, {fault}", " not usable.")
        unknown = set(spoken_words(spoken)) - closed_vocabulary(sheet)
        assert not unknown, reply.spoken

    def ok(self, *lines: str) -> Reply:
        """Say each line; every one must be understood and raise nothing."""
        reply = Reply("", "", "none")
        for line in lines:
            reply = self.say(line)
            assert reply.tone == "ok", (line, reply)
        return reply

    def open_keys(self) -> list[str]:
        """Keys of the open findings."""
        return [f.key for f in self.state.open_findings]

    def status(self, step: str) -> str:
        found = self.state.step(step)
        assert found is not None
        return found.status.value


@pytest.fixture
def short_drain() -> str:
    """The text of a short job sheet of five steps, each after the one before."""
    folder = Path(__file__).parents[1] / "browser" / "sheets"
    return (folder / "short-drain.toml").read_text(encoding="utf-8")


@pytest.fixture
def clock() -> ManualClock:
    return ManualClock(datetime(2026, 11, 25, 9, 0, tzinfo=UTC))


@pytest.fixture
def store(tmp_path: Path, clock: ManualClock) -> Iterator[Store]:
    with open_store(tmp_path / "data", clock=clock) as opened:
        yield opened


@pytest.fixture
def bench(store: Store, clock: ManualClock) -> Callable[..., Bench]:
    """Return a function that opens a job: bench('transaxle-drain-fill') or bench(toml=...).

    bench(steps=...) wants no more of a sheet than its fluids, tools and steps.
    """

    def make(
        sheet: str = "transaxle-drain-fill", toml: str = "", steps: str = "", **opening: Any
    ) -> Bench:
        text = toml or (HEAD + steps if steps else sheet_text(SHEETS / f"{sheet}.toml"))
        body = {"technician": "Imani Okafor", "unit": UNITS.get(sheet, {}), **opening}
        return Bench(JobSession.start(store, text, body, clock=clock), clock)

    return make
