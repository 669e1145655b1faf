"""Windows are judged by monotonic time; they survive restarts and clocks that are set."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joblog.job.clocks import Phase, clock_reading, elapsed, window_phase
from joblog.job.session import JobSession
from joblog.job.types import FindingKind
from joblog.record.clock import Moment

TOML = """
[sheet]
key = "dip"
title = "Dipstick"
revision = "1"
summary = "The level is read."

[[steps]]
key = "engine-off"
title = "Engine off"
say = ["engine off"]

[[steps]]
key = "level-read"
title = "Level read"
say = ["level read"]
after = ["engine-off"]
window = { since = "engine-off", opens = 60, closes = 90 }
"""  # 60 to 90 s after shut-down: common practice, no source


@pytest.fixture
def dip(bench):
    job = bench(toml=TOML)
    job.say("engine off")
    return job


def kinds(job):
    return [f.kind for f in job.state.findings]


@pytest.mark.parametrize(
    ("seconds", "phase"),
    [("59.999", Phase.WAITING), ("60", Phase.OPEN), ("90", Phase.OPEN), ("90.001", Phase.CLOSED)],
)
def test_both_limits_are_inside(seconds, phase):
    assert window_phase(Decimal(seconds), Decimal(60), Decimal(90)) is phase


@given(st.decimals(0, 10**6, places=3), st.decimals(0, 10**6, places=3))
def test_elapsed_within_a_boot_is_the_difference_of_the_monotonic_offsets(start, passed):
    first = Moment("2026-11-25T09:00:00.000Z", str(start), "a")
    second = Moment("1999-01-01T00:00:00.000Z", str(start + passed), "a")
    assert elapsed(first, second).seconds == passed
    assert elapsed(first, second).sure


def test_announced_once_each_and_in_order(dip):
    heard = []
    for _ in range(120):
        dip.clock.advance(1)
        heard += [(r.spoken, dip.state.entries[-1].body["event"]) for r in dip.session.tick()]
    assert heard == [
        ("Reading window open: level read.", "open"),
        ("One zero seconds left: level read.", "closing"),
        ("Reading window closed: level read.", "closed"),
    ]


def test_a_restarted_program_neither_repeats_nor_forgets(dip, store, clock):
    clock.advance(60)
    assert len(dip.session.tick()) == 1
    again = JobSession.resume(store, dip.session.job, clock=clock)
    assert again.tick() == []
    clock.advance(21)
    assert [r.spoken for r in again.tick()] == ["One zero seconds left: level read."]
    assert dip.session.tick() == []


def test_a_wall_clock_set_by_hand_opens_nothing(dip, clock):
    clock.advance(20)
    clock.set_wall(datetime(2026, 11, 25, 9, 1, 30, tzinfo=UTC))  # it now looks like 87 s
    assert dip.session.tick() == []
    reply = dip.say("level read")
    assert "too early" in reply.spoken
    assert FindingKind.OBSERVATION in kinds(dip)  # the jump itself is noticed
    observed = next(f for f in dip.state.findings if f.kind is FindingKind.OBSERVATION)
    assert "set forward" in observed.text


def test_a_wall_clock_set_back_does_not_spoil_a_good_reading(dip, clock):
    clock.advance(70)
    clock.set_wall(datetime(2026, 11, 25, 8, 0, tzinfo=UTC))
    assert dip.say("level read").tone != "again"
    assert FindingKind.OUTSIDE_WINDOW not in kinds(dip)


def test_across_a_restart_of_the_machine_the_time_is_not_sure(dip, clock):
    clock.advance(70)
    clock.restart("another-boot")
    assert dip.session.tick() == []  # nothing is announced from a clock that isn't sure
    reply = dip.say("level read")
    assert reply.tone == "warn"
    assert reply.findings[0].kind is FindingKind.UNSURE
    assert "not sure" in reply.findings[0].text


def test_switching_off_again_starts_the_window_again(dip, clock):
    clock.advance(100)
    assert dip.say("engine off").spoken == "Once more, engine off? Affirm or negative."
    dip.say("affirm")
    clock.advance(30)
    assert "too early" in dip.say("level read").spoken
    clock.advance(35)
    dip.say("level read")
    assert all(f.resolved for f in dip.state.findings if f.kind is FindingKind.OUTSIDE_WINDOW)


def test_how_long(dip, clock):
    assert dip.say("how long").spoken == "Level read opens in five seven seconds."
    clock.advance(70)
    assert dip.say("how long").spoken == "Level read: one four seconds left."
    clock.advance(30)
    assert dip.say("how long").spoken == "Level read: the window is closed."


def test_a_reading_stops_the_clock(dip, clock):
    clock.advance(70)
    dip.say("level read")
    assert dip.state.clocks[0].stopped
    clock.advance(60)
    assert [r.spoken for r in dip.session.tick()] == []
    assert clock_reading(dip.state.clocks[0], clock.read()).phase is Phase.STOPPED
    assert dip.say("how long").spoken == "No clock is running."
