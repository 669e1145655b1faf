"""Several fasteners with a window, or tightened once more: each counts by its own number.

That a compound is left to set before wheel nuts are tightened is made up.
"""

from __future__ import annotations

import pytest

from joblog.report.build import build_report

SHEET = """
[[tools]]
key = "wrench"
name = "Wrench"
lowest = { value = 20, unit = "lbf.ft" }
highest = { value = 200, unit = "lbf.ft" }

[[steps]]
key = "off"
title = "Compound on"
say = ["compound applied"]

[[steps]]
key = "nuts"
title = "Wheel nuts"
say = ["nuts tight"]
after = ["off"]
window = { since = "off", opens = 10, closes = 1000 }
torque = { fastener = "wheel nut", value = 100, unit = "lbf.ft", tolerance = 10, count = 3 }

[[steps]]
key = "tidy"
title = "Tidy up"
say = ["all tidy"]
after = ["nuts"]
"""
NUT = "wheel nut torqued to 100 foot pounds"


@pytest.fixture
def wheel(bench):
    return bench(steps=SHEET)


def settled(job) -> list[str]:
    found = [f for f in job.state.findings if f.key.startswith("window:")]
    return [f.resolved.partition(":")[0] for f in found]


def test_what_was_let_stand_and_the_rest_in_time_make_the_step(wheel):
    wheel.say(NUT, "confirm because checked twice", "compound applied")
    wheel.clock.advance(20)
    wheel.ok(NUT, NUT)
    assert (wheel.status("nuts"), settled(wheel)) == ("done", ["confirmed by Imani Okafor"])


def test_each_that_was_let_stand_counts(wheel):
    assert "0 of 3" in wheel.say(NUT).shown
    wheel.say(NUT, NUT)
    wheel.ok(*["confirm because checked twice"] * 3)
    assert (wheel.status("nuts"), wheel.open_keys()) == ("done", [])


def test_one_in_time_does_not_make_another_good(wheel):
    wheel.say("wheel nut one at 100 foot pounds", "compound applied")
    wheel.clock.advance(20)
    wheel.ok("wheel nut two at 100 foot pounds")
    reply = wheel.say("wheel nut three at 100 foot pounds")
    assert (settled(wheel), "2 of 3" in reply.shown) == ([""], True)
    wheel.ok("wheel nut one at 100 foot pounds")
    assert (settled(wheel), wheel.status("nuts")) == (["read again inside the window"], "done")


def test_the_turn_begins_again_with_the_window(wheel):
    wheel.say(NUT, NUT, "compound applied")
    wheel.clock.advance(20)
    wheel.ok(NUT, NUT, NUT)
    assert (wheel.status("nuts"), wheel.open_keys()) == ("done", [])


def test_the_turn_begins_again_with_what_was_undone(bench):
    wheel = bench(
        steps=SHEET.replace('"compound applied"]', '"compound applied"]\nundoes = ["nuts"]')
    )
    wheel.ok("compound applied")
    wheel.clock.advance(20)
    wheel.ok(NUT, NUT, NUT)
    wheel.say("compound applied", "affirm")
    wheel.clock.advance(20)
    assert (wheel.status("nuts"), "1 of 3" in wheel.ok(NUT).shown) == ("open", True)
    wheel.ok(NUT, NUT)
    assert wheel.status("nuts") == "done"


def test_fasteners_begun_are_still_to_do(wheel):
    wheel.ok("compound applied")
    wheel.clock.advance(20)
    wheel.say("wheel nut one at 60 foot pounds")
    assert "Still to do: nuts tight and all tidy." in wheel.say("what is missing").shown


def test_the_clock_runs_until_the_last_is_tight(wheel):
    wheel.ok("compound applied")
    wheel.clock.advance(20)
    runs = []
    for _ in range(3):
        wheel.ok(NUT)
        runs.append(not wheel.state.clocks[0].stopped)
    assert runs == [True, True, False]


# the report tells the time of each


def times(job) -> list[tuple[str, str, bool | None]]:
    rows = build_report(job.state, {}.__getitem__).measured
    lead = "Time from “Compound on” to the reading"
    return [
        (m.what.removeprefix(lead).strip(), m.value.replace("\xa0", " "), m.inside)
        for m in rows
        if m.what.startswith(lead)
    ]


def test_the_time_of_each_is_told_and_judged(wheel):
    wheel.say("compound applied", "wheel nut one at 100 foot pounds")
    wheel.clock.advance(20)
    wheel.ok("wheel nut two at 100 foot pounds", "wheel nut three at 100 foot pounds")
    assert times(wheel) == [
        ("(no. 1)", "3 s", False),
        ("(no. 2)", "26 s", True),
        ("(no. 3)", "29 s", True),
    ]
    wheel.ok("wheel nut one at 100 foot pounds")
    assert times(wheel) == [
        ("(no. 2)", "26 s", True),
        ("(no. 3)", "29 s", True),
        ("(no. 1)", "32 s", True),
    ]
    (line,) = [c for c in build_report(wheel.state, {}.__getitem__).charts if c.key == "timeline"]
    assert "read at 26 s, 29 s, and 32 s." in line.text


def test_all_in_one_sentence_have_one_time_and_the_one_done_again_its_own(wheel):
    wheel.say("compound applied")
    wheel.clock.advance(20)
    wheel.ok("all wheel nuts torqued to 100 foot pounds")
    assert times(wheel) == [("(all 3)", "23 s", True)]
    wheel.ok("wheel nut two at 101 foot pounds")
    assert times(wheel) == [("(no. 1 and 3)", "23 s", True), ("(no. 2)", "26 s", True)]
