"""Numbered fasteners: the number said counts, the missing ones are named, an angle for each."""

from __future__ import annotations

import pytest

from joblog.job.replay import replay
from joblog.report.build import build_report

WHEEL = """
[[steps]]
key = "nuts-tight"
title = "Nuts tightened crosswise"
say = ["nuts tight"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 6, count = 5 }

[[steps]]
key = "wheel-down"
title = "Down"
say = ["wheel down"]
after = ["nuts-tight"]
"""
SMALL = WHEEL.replace("value = 110", "value = 15").replace("tolerance = 6", "tolerance = 2")
TINY = WHEEL.replace("value = 110", "value = 9").replace("tolerance = 6", "tolerance = 1")
PLUGS = """
[[steps]]
key = "plugs-in"
title = "Spark plugs in"
say = ["plugs in"]
torque = { fastener = "spark plug", value = 15, unit = "N.m", tolerance = 2, count = 2, angle = 90 }
"""


def torques(job) -> list[str]:
    bodies = [v.entry.body for v in job.state.values if v.entry.kind == "torque"]
    return [f"{b['which']}: {b['value']}" for b in bodies]


def angles(job) -> list[str]:
    bodies = [v.entry.body for v in job.state.values if v.entry.kind == "reading"]
    return [f"{b['which']}: {b['value']}" for b in bodies]


def missing(job) -> list[str]:
    return [key for key in job.open_keys() if key.startswith("missing:nuts-tight")]


# a number that was said counts


@pytest.mark.parametrize(
    ("said", "back"),
    [
        ("wheel nut three is one one two", "Torque wheel nut three, one one two newton-meters."),
        ("all wheel nuts are one one two", "Torque wheel nut, one one two newton-meters."),
    ],
)
def test_read_back_names_the_number(bench, said, back):
    job = bench(steps=WHEEL)
    job.say(said)
    assert job.say("read back").spoken == back


def test_a_number_beyond_reason_is_asked_about_with_the_nut_it_is_of(bench):
    job = bench(steps=WHEEL)
    asked = job.say("wheel nut three is one one")
    assert (
        asked.spoken == "Torque wheel nut number three, one one newton-meters? Affirm or negative."
    )
    assert asked.shown.startswith("Torque wheel nut 3, 11 N·m is far from")


@pytest.mark.parametrize("steps", [WHEEL, SMALL])
@pytest.mark.parametrize("said", ["wheel nut one fifteen", "wheel nut one 15", "wheel nut 1 15"])
def test_a_number_and_a_value_that_run_together_are_asked_about(bench, steps, said):
    job = bench(steps=steps)
    reply = job.say(said)
    assert reply.tone == "again"
    assert torques(job) == []
    both = "first, one five newton-meters, or second, one one five newton-meters?"
    assert reply.spoken == f"Torque wheel nut number one: {both}"
    job.say("first")
    assert torques(job) == ["1: 15"]


def test_the_other_answer_is_the_next_nut(bench):
    job = bench(steps=WHEEL)
    job.ok("wheel nut torqued to one one zero")
    reply = job.say("wheel nut one fifteen")
    assert "number two, one one five newton-meters" in reply.spoken
    job.say("second")
    assert torques(job) == ["1: 110", "2: 115"]


def test_one_figure_after_the_number_is_asked_about_where_it_can_be_meant(bench):
    job = bench(steps=TINY)
    assert job.say("wheel nut one nine").tone == "again"
    job.say("first")
    assert torques(job) == ["1: 9"]


def test_a_hundred_after_a_number_is_asked_about(bench):
    job = bench(steps=WHEEL)
    assert job.say("wheel nut two hundred ten newton meters").tone == "again"
    job.say("first")
    assert torques(job) == ["2: 110"]


def test_figure_by_figure_there_is_no_question(bench):
    job = bench(steps=WHEEL)
    job.ok("wheel nut one one zero", "wheel nut one zero nine", "wheel nut number three at 110")
    assert torques(job) == ["1: 110", "2: 109", "3: 110"]


def test_a_number_alone_is_that_of_the_nut_at_hand(bench):
    job = bench(steps=WHEEL)
    job.say("number one at one one two", "number two one one five newton meters")
    assert torques(job) == ["1: 112", "2: 115"]
    asked = job.say("number three one fifteen")  # 115, or 150, which sounds like it
    assert asked.spoken.startswith("Torque wheel nut number three: first, one one five")
    job.say("first")
    assert torques(job)[-1] == "3: 115"


def test_a_number_that_the_step_at_hand_has_not_is_refused(bench):
    job = bench(steps=PLUGS.replace(", angle = 90", "") + WHEEL)
    for said in ("number three at one five newton meters", "number two at 15 newton meters"):
        job.say("plugs in", said)
    assert torques(job) == ["2: 15"]
    one = PLUGS.replace("count = 2, angle = 90", "count = 1")
    job = bench(steps=one + WHEEL)
    job.say("plugs in")
    reply = job.say("number three at one five newton meters")
    assert reply.spoken == "Which one? Say it with its name."
    assert "no spark plug number 3" in reply.shown
    assert not job.state.values


@pytest.mark.parametrize("said", ["wheel nut two 115", "wheel nut number 2 115 nm"])
def test_a_number_without_a_word_behind_it_is_refused_with_the_right_way_to_say_it(bench, said):
    job = bench(steps=WHEEL)
    reply = job.say(said)
    assert torques(job) == []
    assert "number two at one one five" in reply.shown
    job.say("wheel nut number two at one one five")
    assert torques(job) == ["2: 115"]


@pytest.mark.parametrize("steps", [WHEEL, SMALL])
def test_another_nut_does_not_answer_the_question(bench, steps):
    job = bench(steps=steps)
    assert job.say("wheel nut one fifteen").tone == "again"
    value = "115" if steps is WHEEL else "15"
    job.say(f"wheel nut number two torqued to {value}")
    assert torques(job) == [f"2: {value}"]
    assert job.state.question is not None
    job.say(f"wheel nut number one torqued to {value}")
    assert torques(job) == [f"2: {value}", f"1: {value}"]
    assert job.state.question is None


def test_a_number_in_the_question_of_a_far_value_counts(bench):
    job = bench(steps=WHEEL)
    assert job.say("wheel nut torqued to four one zero newton meters").tone == "again"
    job.say("wheel nut number two torqued to four one zero newton meters")
    assert torques(job) == []
    job.say("negative", "affirm")
    assert torques(job) == ["1: 410"]


def test_said_again_without_its_number_it_is_the_nut_that_was_asked_about(bench):
    job = bench(steps=WHEEL)
    assert job.say("wheel nut number two torqued to four one zero newton meters").tone == "again"
    job.say("wheel nut torqued to one one zero newton meters")
    assert torques(job) == ["2: 110"]
    assert job.state.question is None


def test_neither_all_nor_a_number_in_one_breath_is_taken_from_the_question(bench):
    job = bench(steps=WHEEL)
    assert job.say("all wheel nuts torqued to 400 newton meters").tone == "again"
    job.say("wheel nut torqued to one one zero newton meters")
    assert torques(job) == ["1: 110"]
    assert job.say("wheel nut number four torqued to 400 newton meters").tone == "again"
    assert job.say("wheel nut two hundred ten newton meters").tone == "again"
    job.say("first")
    assert torques(job) == ["1: 110", "2: 110"]


def test_all_of_them_settle_the_question_about_one(bench):
    job = bench(steps=WHEEL)
    assert job.say("wheel nut number two torqued to four one zero newton meters").tone == "again"
    job.say("all wheel nuts torqued to one one zero newton meters")
    assert torques(job) == ["all: 110"]
    assert job.state.question is None


# the missing ones are named


def test_the_nut_that_is_missing_is_named(bench):
    job = bench(steps=WHEEL)
    for number in ("one", "two", "four", "five"):
        job.say(f"wheel nut number {number} torqued to one one zero")
    reply = job.say("nuts tight")
    assert "Wanted: torque of wheel nut three." in reply.spoken
    assert "torque of wheel nut 3" in reply.shown
    assert "Torque of wheel nut three, nuts tight." in job.say("what is missing").spoken
    job.say("wheel nut torqued to one one one")
    assert job.status("nuts-tight") == "done"


def test_all_missing_nuts_are_counted_and_some_are_listed(bench):
    job = bench(steps=WHEEL)
    assert job.say("nuts tight").spoken == "Nuts tight. Wanted: torque of all five wheel nuts."
    job.say("wheel nut two torqued to one one zero", "wheel nut three torqued to one one zero")
    assert "torque of wheel nuts one, four and five" in job.say("what is missing").spoken.lower()


def test_a_confirmation_covers_only_what_it_names(bench):
    job = bench(steps=WHEEL)
    for number in ("one", "two", "four", "five"):
        job.say(f"wheel nut number {number} torqued to one one zero")
    job.say("nuts tight", "wheel down", "job complete")
    assert missing(job) == ["missing:nuts-tight:torque-3"]
    job.say("confirm because checked twice")
    assert missing(job) == []


def test_a_confirmed_nut_stays_confirmed_and_another_is_told_anew(bench):
    job = bench(steps=WHEEL)
    job.say("nuts tight", "wheel down", "job complete")
    assert missing(job) == ["missing:nuts-tight:torque-1-2-3-4-5"]
    assert "torque of all five wheel nuts" in job.say("job complete").spoken
    job.say("confirm because checked twice")
    assert missing(job) == []
    job.say("wheel nut two torqued to one one zero")
    assert missing(job) == []  # the four that are left were named
    assert job.state.finding("missing:nuts-tight:torque-1-3-4-5").resolved


def test_one_confirmed_is_not_all_confirmed(bench):
    job = bench(steps=WHEEL)
    for number in ("one", "two", "three", "four"):
        job.say(f"wheel nut number {number} torqued to one one zero")
    job.say("nuts tight", "wheel down", "job complete", "confirm because checked twice")
    assert missing(job) == []
    others = [e for e in job.state.entries if e.body.get("which") != "4"]
    state = replay(job.session.sheet, others)  # nut four was never reported, five is confirmed
    finding = state.finding("missing:nuts-tight:torque-4-5")
    assert finding is not None
    assert not finding.resolved


def test_the_report_names_them_all(bench):
    job = bench(steps=WHEEL)
    job.say("nuts tight", "wheel down", "job complete", "confirm because checked twice")
    job.say("job complete")
    text = str(build_report(job.state, {}.__getitem__).front)
    assert "the torque of all 5 wheel nuts is missing. Confirmed by Imani Okafor" in text
    spanish = str(build_report(job.state, {}.__getitem__, language="es").front)
    assert "par de apriete n.º 1, 2, 3, 4 y 5" in spanish


# an angle for each fastener


def test_one_angle_is_not_the_angle_of_all(bench):
    job = bench(steps=PLUGS)
    reply = job.ok("spark plug torqued to one five newton meters", "all spark plugs torqued to 15")
    assert reply.spoken.endswith("Wanted: angle of all two spark plugs.")
    reply = job.ok("spark plug turned nine zero degrees")
    assert "One of two." in reply.spoken
    assert reply.spoken.endswith("Wanted: angle of spark plug two.")
    assert angles(job) == ["1: 90"]
    assert job.status("plugs-in") == "incomplete"
    job.ok("spark plug number two turned nine zero degrees")
    assert angles(job) == ["1: 90", "2: 90"]
    assert job.status("plugs-in") == "done"


@pytest.mark.parametrize(
    "line",
    [
        "spark plug two turned 90 degrees",
        "spark plug two angle 90",
        "spark plug number two is turned by ninety",
        "spark plug 2 turned 90°",
    ],
)
def test_the_angle_of_a_numbered_one(bench, line):
    job = bench(steps=PLUGS)
    job.say("all spark plugs torqued to 15 newton meters")
    job.ok(line)
    assert angles(job) == ["2: 90"]


def test_the_angle_of_all_and_of_the_step_at_hand(bench):
    job = bench(steps=PLUGS)
    job.say("all spark plugs torqued to 15 newton meters")
    job.ok("angle ninety degrees")
    assert angles(job) == ["1: 90"]
    job.ok("spark plug angle 90")
    assert angles(job) == ["1: 90", "2: 90"]
    job.ok("all spark plugs turned 90 degrees")
    assert job.status("plugs-in") == "done"


def test_a_torque_anew_wants_the_angle_of_that_one_only(bench):
    job = bench(steps=PLUGS)
    job.say("all spark plugs torqued to 15 newton meters", "all spark plugs turned 90 degrees")
    reply = job.say("spark plug two torqued to 15 newton meters")
    assert "Wanted: angle of spark plug two." in reply.spoken
    job.ok("spark plug turned 90 degrees")
    assert angles(job)[-1] == "2: 90"
    assert job.status("plugs-in") == "done"


def test_an_angle_outside_is_mended_by_the_same_plug_only(bench):
    job = bench(steps=PLUGS)
    job.say("all spark plugs torqued to 15 newton meters", "spark plug two turned 60 degrees")
    assert len(job.open_keys()) == 1
    job.say("spark plug one turned 90 degrees")
    assert len(job.open_keys()) == 1
    job.say("correction spark plug two turned 90 degrees")
    assert angles(job) == ["2: 90", "1: 90"]
    assert job.open_keys() == []


def test_an_angle_and_a_number_that_run_together_are_asked_about(bench):
    job = bench(steps=PLUGS.replace("angle = 90", "angle = 120"))
    job.say("all spark plugs torqued to 15 newton meters")
    assert job.say("angle spark plug one ninety").tone == "again"


def test_a_nut_outside_its_limits_is_named_by_number_and_not_counted_as_tight(bench):
    job = bench(steps=WHEEL)
    job.ok("all wheel nuts one one zero newton meters")
    reply = job.say("wheel nut number three at six zero newton meters")
    assert "nut no. 3: 60 N·m is below the limit" in reply.shown
    assert "nut number three, six zero newton-meters, is below" in reply.spoken
    assert "5 of 5" not in reply.shown
