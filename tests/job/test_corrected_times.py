"""A correction changes the number and not the time: a wait is judged by when it was first said.

That oil has to settle before its level is read, and to drip before it is measured, is common
practice, no source; the times are made up.
"""

from __future__ import annotations

import pytest
from small_sheets import fluid, reading, step

from joblog.job.replay import replay
from joblog.report.build import build_report

STEPS = (
    fluid("oil", "Oil", "4.5 qt_us")
    + step("plug-out", "Plug out", "plug is out")
    + step(
        "dripped",
        "Let it drip",
        "dripping stopped",
        out="oil",
        after=["plug-out"],
        window={"since": "plug-out", "opens": 20},
    )
    + step("stopped", "Run, then stop", "run and stopped", after=["dripped"])
    + step(
        "level-read",
        "Read the level",
        "level read",
        after=["stopped"],
        window={"since": "stopped", "opens": 120, "closes": 600},
        reading=reading("oil level", "mm", low=10, high=20),
    )
)
ANEW = "A correction keeps the time of the first. Was it done again? Say it once more, without"


@pytest.fixture
def axle(bench):
    """The oil has dripped out, and the unit has just been run and stopped."""
    job = bench(steps=STEPS)
    job.ok("plug is out")
    job.clock.advance(30)
    job.ok("drained 4.5 quarts", "run and stopped")
    return job


def about_times(job) -> list[str]:
    return [f.resolved for f in job.state.findings if f.key.startswith("window:")]


def test_a_misheard_number_corrected_after_the_window_was_read_in_time(axle):
    axle.clock.advance(590)
    axle.ok("oil level 15 mm")
    axle.clock.advance(120)
    axle.ok("correction oil level 16 mm")
    assert about_times(axle) == []
    rows = build_report(axle.state, {}.__getitem__).measured
    row = next(m for m in rows if m.what.startswith("Time from “Run"))
    assert (row.value, row.inside) == ("9 min 53 s", True)


def test_an_early_one_is_not_settled_by_correcting_it_in_time(axle):
    axle.say("oil level 15 mm")
    axle.clock.advance(120)
    reply = axle.say("correction oil level 16 mm")
    assert reply.tone == "warn"
    assert reply.spoken.startswith("Corrected: oil level, one six millimeters. Level read, three")
    assert "is too early. Say it again." in reply.spoken
    assert ANEW in reply.shown
    assert axle.say("correction oil level 17 mm").tone == "warn"
    assert not next(c for c in axle.state.clocks if c.step == "level-read").stopped
    axle.ok("oil level 17 mm")
    assert about_times(axle) == ["read again inside the window"]


def test_corrected_before_the_window_opened_it_is_told_once(axle):
    axle.say("oil level 15 mm")
    assert axle.ok("correction oil level 16 mm").spoken.startswith("Corrected: oil level")
    assert about_times(axle) == [""]


def test_who_confirmed_an_early_time_need_not_confirm_it_for_the_corrected_number(axle):
    axle.say("oil level 15 mm")
    axle.ok("confirm because see note", "correction oil level 16 mm")
    assert [by.partition(":")[0] for by in about_times(axle)] == ["confirmed by Imani Okafor"]
    (finding,) = axle.state.findings
    axle.session.explain(finding.key, "It was warm in the shop.", by="Priya Nair")
    (found,) = build_report(axle.state, {}.__getitem__).findings
    assert found.explained.startswith("It was warm in the shop. (Priya Nair, ")


def test_what_was_let_stand_before_its_start_still_stands_when_corrected(bench):
    job = bench(steps=STEPS)
    job.say("oil level 15 mm", "confirm because see note")
    assert job.status("level-read") == "done"
    job.say("correction oil level 16 mm")
    assert (job.status("level-read"), about_times(job)[0].partition(":")[0]) == (
        "done",
        "confirmed by Imani Okafor",
    )


def test_an_older_records_confirmation_of_the_corrected_one_still_counts(axle):
    axle.say("oil level 15 mm")
    axle.say("correction oil level 16 mm")
    last = axle.state.values[-1].entry
    body = {"finding": f"window:{last.id}", "reason": "checked twice"}
    axle.session.store.append(axle.session.job, "confirmed", body, source="hand", by="Ana")
    assert about_times(axle) == ["confirmed by Ana: checked twice"]
    assert replay(axle.session.sheet, axle.state.entries) == axle.state


def test_an_amount_told_too_early_and_corrected_in_time_wants_the_word(bench):
    job = bench(steps=STEPS)
    job.say("plug is out", "drained 4.5 quarts")
    job.clock.advance(30)
    reply = job.say("correction drained 4.6 quarts")
    assert "is too early. Say dripping stopped." in reply.spoken
    assert "Is it over? Say “dripping stopped”." in reply.shown
    job.ok("dripping stopped")
    assert about_times(job) == ["read again inside the window"]


def test_once_the_wait_is_past_a_corrected_amount_wants_no_word(bench):
    job = bench(steps=STEPS)
    job.say("plug is out", "drained 4.5 quarts", "run and stopped")
    job.clock.advance(30)
    job.ok("correction drained 4.6 quarts")
    assert about_times(job) == [""]
