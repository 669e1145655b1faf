"""What a value or photo is of where nothing is named: never of the step after it.

A correction is about the value told last, and never reports the next step as done.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import fluid, step, tool, torque

from joblog.sheet.load import library, sheet_text

PICTURES = Path(__file__).parents[2] / "sample_images"

WRENCH = tool("wrench", "Torque wrench", "5 N.m", "100 N.m")
TWICE = (
    WRENCH
    + step("for-now", "Plug in for now", "plug in for now", torque=torque("plug", "30 N.m", 3))
    + step("run", "Run it", "run and stopped", after=["for-now"])
    + step(
        "for-good",
        "Plug tightened again",
        "plug checked again",
        after=["run"],
        torque=torque("plug", "30 N.m", 3),
    )
)
STAGES = (
    WRENCH
    + step("first", "First pass", "first pass", torque=torque("head bolt", "30 N.m", 3, count=2))
    + step(
        "second",
        "Second pass",
        "second pass",
        after=["first"],
        torque=torque("head bolt", "60 N.m", 3, count=2, stage=2),
    )
)
AXLES = (
    fluid("front-oil", "Front oil", "1.2 L")
    + fluid("rear-oil", "Rear oil", "1.4 L")
    + step("rear", "Rear axle drained", "rear drained", out="rear-oil")
    + step("front", "Front axle drained", "front drained", out="front-oil", after=["rear"])
)


def values(job):
    return [
        (v.step, str(v.value), v.entry.body.get("which"))
        for v in sorted(job.state.values, key=lambda v: v.entry.seq)
    ]


def told(job):
    return [one[:2] for one in values(job)]


def shipped(bench, key):
    return bench(toml=sheet_text(library()[key]))


def test_a_corrected_torque_without_a_name_is_not_the_next_brakes(bench):
    job = shipped(bench, "brake-fluid")
    job.ok("old fluid tested", "wheels chocked", "on stands", "reservoir filled")
    job.ok("rear right bled", "torque 8.5 newton meters")
    reply = job.ok("correction torque 8 newton meters")
    assert reply.spoken.startswith("Corrected: torque rear right screw")
    assert told(job) == [("rear-right", "8")]
    assert job.status("rear-left") == "open"


def test_a_plug_that_is_tightened_twice_is_corrected_where_it_was_told(bench):
    job = bench(steps=TWICE)
    job.ok("plug in for now", "plug torqued to 31", "run and stopped")
    job.ok("correction plug torqued to 30")
    assert told(job) == [("for-now", "30")]
    assert job.status("for-good") == "open"
    job.ok("plug torqued to 31", "correction plug torqued to 29")
    assert told(job) == [("for-now", "30"), ("for-good", "29")]


def test_a_second_pass_needs_no_word_for_its_stage(bench):
    job = bench(steps=STAGES)
    job.ok("all head bolts torqued to 30", "second pass", "head bolt torqued to 60")
    assert values(job)[1:] == [("second", "60", "1")]
    job.ok("correction head bolt torqued to 61", "head bolt torqued to 60")
    job.ok("correction head bolt one torqued to 59")
    assert values(job)[1:] == [("second", "60", "2"), ("second", "59", "1")]


def test_far_too_much_on_the_first_pass_stays_on_it(bench):
    job = bench(steps=STAGES)
    job.ok("head bolt torqued to 30")
    assert job.say("head bolt torqued to 44").tone == "warn"  # of number 2
    assert values(job)[1:] == [("first", "44", "2")]
    job.ok("correction head bolt torqued to 30", "second pass")
    assert job.say("head bolt torqued to 50").tone == "warn"  # fits neither: no guess
    assert values(job)[-1][:2] == ("first", "50")


def test_a_reading_of_one_name_is_for_the_step_at_hand(bench):
    job = shipped(bench, "coolant")
    job.ok("engine is cold", "cap open", "radiator drained", "6.3 liters out", "drain cock closed")
    job.ok("drain cock torqued to 20", "6.3 liters in", "filling done", "engine running")
    job.ok("no more bubbles", "coolant temperature 95")
    assert ("bled", "95") in told(job)
    job.ok("correction coolant temperature 93", "coolant temperature 94")
    assert told(job)[-2:] == [("bled", "93"), ("bled", "94")]
    assert not job.state.findings


@pytest.mark.parametrize("before", [True, False])
def test_the_reading_of_the_first_step_is_not_overwritten(bench, before):
    job = shipped(bench, "coolant")
    job.ok("engine is cold", *(["coolant temperature 20"] if before else []), "cap open")
    job.ok("radiator drained", "6.3 liters out", "drain cock closed", "drain cock torqued to 20")
    job.ok("6.3 liters in", "filling done", "engine running", "coolant temperature 90")
    job.ok("no more bubbles", "correction coolant temperature 88")
    assert told(job)[-1] == ("bled", "88")
    assert (("engine-cold", "20") in told(job)) is before


def test_a_corrected_amount_without_a_name_is_of_the_fluid_told_last(bench):
    job = bench(steps=AXLES)
    job.ok("rear drained", "1.4 liters out", "correction 1.3 liters out")
    assert told(job) == [("rear", "1.3")]
    assert job.status("front") == "open"


@pytest.mark.parametrize("again", ["correction torque 8 newton meters", "correction 8"])
@pytest.mark.parametrize("first", [("9", "disregard"), ("80", "negative"), ("80", "disregard")])
def test_what_was_taken_back_or_denied_is_told_anew(bench, first, again):
    """The value before it, of another brake, is left alone."""
    value, gone = first
    job = shipped(bench, "brake-fluid")
    job.ok("old fluid tested", "wheels chocked", "on stands", "reservoir filled")
    job.ok("rear right bled", "torque 8.5 newton meters", "rear left bled")
    job.say(f"torque {value} newton meters", gone)
    reply = job.say(again)
    assert reply.spoken.startswith("Torque rear left screw")
    assert told(job) == [("rear-right", "8.5"), ("rear-left", "8")]


def test_a_correction_that_was_taken_back_leaves_the_first_value_to_be_corrected(bench):
    job = shipped(bench, "brake-fluid")
    job.ok("old fluid tested", "wheels chocked", "on stands", "reservoir filled")
    job.ok("rear right bled", "torque 8.5 newton meters", "correction torque 8 newton meters")
    job.ok("disregard", "correction 8.2")
    assert told(job) == [("rear-right", "8.2")]


def test_another_fastener_named_is_corrected_though_one_was_taken_back(bench):
    job = shipped(bench, "brake-fluid")
    job.ok("old fluid tested", "wheels chocked", "on stands", "reservoir filled")
    job.ok("rear right bled", "rear right screw 8.5", "rear left bled", "rear left screw 9")
    job.ok("disregard", "correction rear right screw 8")
    assert told(job) == [("rear-right", "8")]


def test_a_colleagues_amount_is_left_alone_behind_ones_own_that_was_taken_back(bench):
    job = bench(steps=AXLES)
    job.say("rear drained", "0.9 liters out")
    job.say("0.5 liters out", "disregard", "correction 0.4 liters out", by="Marek Dvorak")
    assert told(job) == [("rear", "0.9"), ("front", "0.4")]  # as the 0.5 was meant


PLUGS = (
    fluid("front-oil", "Front oil", "1.2 L")
    + fluid("rear-oil", "Rear oil", "2.4 L", container="1 L")
    + step(
        "front",
        "Front axle drained",
        "front drained",
        photo={"kind": "plug", "phase": "before", "plug_diameter_mm": 18},
    )
    + step(
        "rear",
        "Rear axle drained",
        "rear drained",
        photo={"kind": "plug", "phase": "before", "plug_diameter_mm": 18},
    )
    + step("front-filled", "Front axle filled", "front filled", into="front-oil")
    + step("rear-filled", "Rear axle filled", "rear filled", into="rear-oil")
)


def test_a_photo_is_of_the_step_just_reported_and_the_answer_names_it(bench):
    """Of two plugs the rear one is out first, though the sheet has the front one first."""
    job = bench(steps=PLUGS)
    job.say("rear drained")
    reply = job.session.photo((PICTURES / "plug-before.jpg").read_bytes(), "plug")
    assert "it is measured for “Rear axle drained”." in reply.shown
    job.say("front drained")
    reply = job.session.photo((PICTURES / "plug-after.jpg").read_bytes(), "plug")
    assert "it is measured for “Front axle drained”." in reply.shown
    assert [photo.step for photo in job.state.photos] == ["rear", "front"]


def test_another_is_of_the_fluid_poured_last(bench):
    job = bench(steps=PLUGS)
    job.say("one liter of rear oil in", "another")
    job.say("front filled", "one liter in", "another 0.2 liters")
    assert [v.entry.body["fluid"] for v in job.state.values] == ["rear-oil"] * 2 + ["front-oil"] * 2


FILTER = (
    fluid("oil", "Oil", "5 L")
    + step("filter", "Filter filled beforehand", "filter filled", into="oil")
    + step("engine", "Engine filled", "engine topped up", into="oil")
)


def test_an_amount_is_of_the_step_just_reported(bench):
    job = bench(steps=FILTER)
    job.say("engine topped up", "4.6 liters in")
    assert told(job) == [("engine", "4.6")]
    assert job.status("filter") == "open"


def test_a_torque_of_two_steps_is_of_the_one_just_reported(bench):
    job = bench(steps=TWICE)
    job.say("plug in for now", "run and stopped", "plug checked again", "plug torqued to 30")
    assert told(job) == [("for-good", "30")]


@pytest.mark.parametrize("by", ["Imani Okafor", "Marek Dvorak"])
def test_an_amount_told_twice_and_denied_once_can_still_be_corrected(bench, by):
    job = bench(steps=FILTER)
    job.say("engine topped up", "5.2 liters in")
    assert job.say("5.2 liters in", by=by).tone == "again"
    job.say("negative", "correction 5.1 liters in", by=by)
    assert told(job) == [("engine", "5.1")]


def test_told_anew_it_is_of_the_same_step_though_work_went_on(bench):
    job = shipped(bench, "brake-fluid")
    job.ok("old fluid tested", "wheels chocked", "on stands", "reservoir filled")
    job.ok("rear right bled", "torque 8 newton meters", "rear left bled", "torque 9 newton meters")
    job.ok("disregard", "front right bled", "correction torque 8.5 newton meters")
    assert told(job) == [("rear-right", "8"), ("rear-left", "8.5")]
