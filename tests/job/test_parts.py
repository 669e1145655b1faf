"""Washers that are replaced at every removal (reference section 2, 'used crush washer kept')."""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.sheet.load import sheet_text

CASE = Path(__file__).parents[1] / "sheet" / "data" / "gear-case.toml"


@pytest.fixture
def case(bench):
    job = bench(toml=sheet_text(CASE), unit={"type": "GC-2"})
    job.ok("locked out", "drained two point five liters")
    return job


def test_a_new_washer_is_asked_for_before_the_step_that_wants_it(case):
    case.say("magnet is clean")
    asked = case.say("what is next")
    assert asked.shown.startswith("Next: plug is in (Plug in with a new washer")
    assert "Fit new: Sealing washer" in asked.shown


def test_a_used_washer_kept_is_warned_of_and_mended_by_a_new_one(case):
    # common practice, no source: warn, replace
    case.ok("plug is in")
    reply = case.say("old washer kept")
    assert reply.tone == "warn"
    assert "used again: fit a new one" in reply.shown
    assert case.state.entries[-1].body == {"step": "plug-in", "part": "washer", "state": "reused"}
    case.ok("new seal fitted")
    (finding,) = case.state.findings
    assert finding.resolved == "done afterwards"


def test_it_may_be_taken_back_or_confirmed_with_a_reason(case):
    case.ok("plug is in")
    reply = case.say("washer reused", "disregard")
    assert reply.spoken == "Disregarded: old washer kept."
    assert case.state.findings == ()
    case.say("washer reused", "confirm because no tool")
    (finding,) = case.state.findings
    assert finding.resolved.startswith("confirmed by Imani Okafor")
