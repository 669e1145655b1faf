"""Waits: what was read before its window began, by what a wait is judged, and when it is past.

That oil has to settle before its level is read, and to drip before it is measured, is common
practice, no source; the times are made up.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from joblog.job.session import JobSession
from joblog.job.types import FindingKind

IMAGES = Path(__file__).parents[2] / "sample_images"
STICK = (IMAGES / "dipstick-after.jpg").read_bytes()
ANY = (IMAGES / "fluid-old.jpg").read_bytes()

SHEET = """
[[fluids]]
key = "oil"
name = "Oil"
specification = "any"
service = { value = 4.5, unit = "qt_us" }

[[steps]]
key = "plug-out"
title = "Plug out"
say = ["plug is out"]
undoes = ["dripped", "plug-in"]

[[steps]]
key = "dripped"
title = "Let it drip"
say = ["dripping stopped"]
after = ["plug-out"]
window = { since = "plug-out", opens = 20, closes = 3600 }
pour = { fluid = "oil", direction = "out" }

[[steps]]
key = "plug-in"
title = "Plug in"
say = ["plug is in"]
after = ["dripped"]

[[steps]]
key = "stopped"
title = "Run, then stop"
say = ["run and stopped"]
after = ["plug-in"]

[[steps]]
key = "level-read"
title = "Read the level"
say = ["level read"]
customer = "The level was read when the oil had settled."
after = ["stopped"]
window = { since = "stopped", opens = 120, closes = 600 }
reading = { name = "oil level", unit = "mm", low = 10, high = 20 }

[[steps]]
key = "leak-check"
title = "Look for leaks"
say = ["no leaks"]
after = ["level-read"]
window = { since = "stopped", opens = 30 }
photo = { kind = "other" }
"""


@pytest.fixture
def axle(bench):
    """A job on its way: the plug is in again after a good wait."""
    job = bench(steps=SHEET)
    job.ok("plug is out")
    job.clock.advance(60)
    job.ok("drained 4.5 quarts", "plug is in")
    return job


def before_the_window(job) -> list:
    return [f for f in job.state.findings if f.key.startswith("window:")]


EARLY = "Oil level 15 mm"


@pytest.fixture
def early(axle):
    """The level is read before the unit even ran."""
    reply = axle.say(EARLY)
    assert reply.tone == "warn"
    assert "Level read, but run and stopped must come first" in reply.spoken
    return axle


def test_a_reading_before_its_windows_start_does_not_count(early):
    reply = early.say("run and stopped")
    assert (reply.spoken, early.status("level-read")) == (
        "Run and stopped. Next: level read.",
        "open",
    )
    (found,) = before_the_window(early)
    assert (found.resolved, "between 2 min and 10 min after it" in found.text) == ("", True)
    reply = early.say("level read")
    assert "Wanted: oil level" in reply.spoken
    assert early.say("job complete").tone == "warn"
    assert early.state.closed == ""
    assert not next(c for c in early.state.clocks if c.step == "level-read").stopped


def test_read_in_its_window_the_early_one_is_settled(early):
    early.say("run and stopped")
    early.clock.advance(200)
    reply = early.say(EARLY)
    assert "Settled (read again inside the window)" in reply.shown
    assert (early.status("level-read"), early.open_keys()) == ("done", [])
    assert next(c for c in early.state.clocks if c.step == "level-read").stopped


def test_who_confirms_an_early_reading_lets_it_stand(early):
    early.say(EARLY)  # once more too early: two findings, and one reason for the last
    early.ok("confirm because see note")
    assert early.status("level-read") == "done"
    early.session.confirm(early.open_keys()[0], "see note", "Imani Okafor")
    early.ok("run and stopped")
    early.clock.advance(40)
    early.session.photo(ANY, "other")
    assert early.open_keys() == []
    assert [f.resolved.partition(":")[0] for f in before_the_window(early)] == [
        "confirmed by Imani Okafor"
    ] * 2


def test_confirmed_as_missing_it_is_told_once_and_the_job_closes(early):
    early.say("run and stopped", "job complete")
    early.session.confirm("missing:level-read:step", "no time", "Imani Okafor")
    (found,) = before_the_window(early)
    assert found.resolved == "confirmed by Imani Okafor: no time"


def test_where_the_start_was_left_out_with_a_reason_nothing_waits_for_it(axle):
    axle.say("job complete")
    axle.session.confirm("missing:stopped:step", "it does not run", "Imani Okafor")
    axle.say(EARLY)
    assert before_the_window(axle) == []
    assert axle.status("level-read") == "done"
    axle.session.photo(ANY, "other")
    assert (axle.status("leak-check"), before_the_window(axle)) == ("done", [])


def test_a_photo_before_its_windows_start_is_taken_again(bench):
    job = bench()
    job.say("vehicle level", "engine running")
    reply = job.session.photo(STICK, "dipstick", "level-read")
    assert "Level read, but engine off must come first" in reply.spoken
    job.say("engine off")
    assert job.status("level-read") == "open"
    job.say("level read")
    assert job.status("level-read") == "incomplete"
    job.clock.advance(60)
    job.session.photo(STICK, "dipstick")  # goes where the first one is not counted
    assert job.status("level-read") == "done"
    (found,) = before_the_window(job)
    assert found.resolved == "read again inside the window"


def test_a_word_before_its_windows_start_is_not_the_step(bench):
    job = bench(steps=SHEET)
    reply = job.say("dripping stopped")
    assert reply.shown.startswith("Not yet in order.")
    job.say("plug is out")
    assert job.status("dripped") == "open"
    job.clock.advance(30)
    job.say("dripping stopped")
    assert (job.status("dripped"), before_the_window(job)[0].resolved) == (
        "incomplete",  # how much came out wasn't said
        "read again inside the window",
    )


def test_an_amount_told_with_a_word_too_early_is_no_second_finding(bench):
    job = bench(steps=SHEET)
    job.say("dripping stopped", "drained 4.5 quarts", "plug is out")
    assert len(before_the_window(job)) == 1
    assert job.state.fluids[0].poured_out == Fraction("4.5")  # what is out is out
    job.clock.advance(30)
    job.ok("dripping stopped")
    assert (job.status("dripped"), job.open_keys()) == ("done", [])


def test_a_word_too_early_is_told_whatever_its_step_comes_after(bench):
    job = bench(steps=SHEET.replace('after = ["stopped"]', 'after = ["plug-out"]'))
    job.ok("plug is out")
    reply = job.say("level read")
    assert (reply.tone, job.status("level-read")) == ("warn", "open")
    assert "Level read, but run and stopped must come first" in reply.spoken
    job.ok("confirm because see note")
    assert job.status("level-read") == "incomplete"  # the value itself wasn't told


def test_one_reason_lets_word_and_value_stand(axle):
    axle.say("level read", EARLY)
    told = "Confirmed: Level read, but run and stopped must come first."
    assert axle.ok("confirm because checked twice").spoken == told
    assert (axle.status("level-read"), axle.open_keys()) == ("done", [])


def test_where_an_early_reading_stands_its_windows_start_is_still_to_come(early):
    """Another window runs from it: what may be done in that one only isn't proposed before."""
    early.ok("confirm because see note")
    assert early.say("next step").spoken == "Next: run and stopped."


def test_a_window_whose_start_may_be_left_out_waits_for_nothing(bench):
    """Such a sheet passes its check with a remark: then no clock runs."""
    job = bench(
        steps=SHEET.replace(
            'say = ["run and stopped"]', 'say = ["run and stopped"]\noptional = true'
        )
    )
    job.say("plug is out")
    job.clock.advance(60)
    job.ok("drained 4.5 quarts", "plug is in", "level read", EARLY, "no leaks")
    job.session.photo(ANY, "other")
    job.ok("job complete")
    assert job.state.findings == ()


def test_what_was_confirmed_as_an_order_by_an_older_joblog_still_stands(early):
    key = "order:level-read:stopped"
    body = {"finding": key, "reason": "checked twice"}
    early.session.store.append(early.session.job, "confirmed", body, source="hand", by="Ana")
    assert early.status("level-read") == "done"
    assert [f.resolved for f in before_the_window(early)] == ["confirmed by Ana: checked twice"]


def test_replayed_from_the_record_it_is_the_same(early):
    early.say("run and stopped", "level read", "confirm because see note")
    resumed = JobSession.resume(early.session.store, early.session.job)
    assert resumed.state == early.state


# by what a wait is judged


def test_an_amount_that_ends_a_wait_is_judged_by_its_time(bench):
    job = bench(steps=SHEET)
    job.say("plug is out")
    reply = job.say("drained 4.5 quarts")
    assert [f.kind for f in reply.findings] == [FindingKind.OUTSIDE_WINDOW]
    assert "3 s after plug out: too early" in reply.findings[0].text
    assert not job.state.clocks[0].stopped
    job.clock.advance(30)
    assert [r.spoken for r in job.session.tick()] == ["Reading window open: dripping stopped."]
    job.ok("dripping stopped")
    assert job.open_keys() == []
    assert job.state.clocks[0].stopped


def test_a_wait_that_is_past_is_not_settled_by_saying_it_again(bench):
    job = bench(steps=SHEET)
    job.say("plug is out", "dripping stopped", "drained 4.5 quarts", "plug is in")
    assert job.state.clocks[0].stopped  # nothing drips any more
    job.clock.advance(60)
    assert job.say("dripping stopped").spoken == "Once more, dripping stopped? Affirm or negative."
    job.say("affirm")
    (found,) = [f for f in job.state.open_findings if f.key.startswith("window:")]
    assert "3 s after plug out: too early" in found.text


def test_after_the_plug_came_out_again_the_wait_is_a_new_one(bench):
    job = bench(steps=SHEET)
    job.say("plug is out", "dripping stopped", "plug is in", "plug is out", "affirm")
    job.clock.advance(60)
    assert job.say("dripping stopped").tone == "ok"
    (found,) = [f for f in job.state.findings if f.key.startswith("window:")]
    assert found.resolved == "read again inside the window"


# a photo that may show anything


def test_a_photo_of_anything_is_no_steps_before_its_turn(axle):
    axle.session.photo(ANY, "other")
    assert axle.state.photos[-1].step is None
    assert axle.open_keys() == []
    axle.say("run and stopped")
    axle.clock.advance(130)
    axle.ok(EARLY, "no leaks")
    assert axle.status("leak-check") == "incomplete"
    assert axle.state.step("leak-check").missing == ("photo of the other",)
    axle.session.photo(ANY, "other")
    assert (axle.state.photos[-1].step, axle.status("leak-check")) == ("leak-check", "done")
    axle.session.photo(ANY, "other")
    assert axle.state.photos[-1].step is None  # what it shows nobody said


def test_one_that_an_older_joblog_gave_to_a_step_to_come_counts_for_nothing(axle):
    body = {"step": "leak-check", "kind": "other", "phase": "once", "measurement": {"usable": True}}
    axle.session.store.append(axle.session.job, "photo", body, source="photo", by="Imani Okafor")
    assert axle.status("leak-check") == "open"
    assert axle.state.findings == ()  # nobody reported that step


# the end


def test_no_clock_runs_on_after_the_job_is_closed(early):
    early.say("run and stopped")
    early.session.close("aborted", "no time", by="Imani Okafor")
    assert all(clock.stopped for clock in early.state.clocks)
    assert early.say("how long").spoken == "No clock is running."
