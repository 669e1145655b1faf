"""Which question, whose, and which fastener: what a correction leaves as it was."""

from __future__ import annotations

import pytest

# Values of this sheet are made up.
NUTS = """
[sheet]
key = "cover"
title = "Cover refitted"
revision = "1"
summary = "The cover is fitted and its nuts are tightened."

[[tools]]
key = "small"
name = "Small wrench"
say = ["wrench one"]
highest = { value = 200, unit = "N.m" }

[[tools]]
key = "large"
name = "Large wrench"
say = ["wrench two"]
highest = { value = 500, unit = "N.m" }

[[fluids]]
key = "oil"
name = "oil"
specification = "made up"
service = { value = 4, unit = "L" }

[[steps]]
key = "nuts-tight"
title = "Nuts tightened crosswise"
say = ["nuts tight"]
tools = ["small", "large"]
torque = { fastener = "cover nut", value = 110, unit = "N.m", tolerance = 6, count = 5 }

[[steps]]
key = "filled"
title = "Filled"
say = ["filling done"]
pour = { fluid = "oil", direction = "in" }
"""
MAREK = "Marek Dvorak"


@pytest.fixture
def nuts(bench):
    return bench(toml=NUTS)


def torques(job) -> list[str]:
    bodies = [v.entry.body for v in job.state.values if v.entry.kind == "torque"]
    return [f"{b['which']}: {b['value']}" for b in bodies]


def poured(job) -> list[str]:
    return [str(v.value) for v in job.state.values if v.entry.kind == "quantity"]


@pytest.mark.parametrize(
    "line",
    [
        "correction 112 newton meters",
        "correction torque 112 newton meters",
        "correction cover nut torqued to 112 newton meters",
        "correction cover nut 3 torqued to 112 newton meters",
    ],
)
def test_the_fastener_asked_about_keeps_its_number(nuts, line):
    nuts.say("cover nut torqued to 110 newton meters")
    assert nuts.say("cover nut 3 torqued to 400 newton meters").tone == "again"
    nuts.say(line)
    assert torques(nuts) == ["1: 110", "3: 112"]
    assert nuts.state.question is None


def test_all_fasteners_asked_about_stay_all(nuts):
    assert nuts.say("all cover nuts torqued to 400 newton meters").tone == "again"
    nuts.say("correction 110 newton meters")
    assert torques(nuts) == ["all: 110"]


def test_a_correction_of_another_fastener_leaves_the_question_open(nuts):
    nuts.say("cover nut torqued to 110 newton meters")
    assert nuts.say("cover nut 3 torqued to 400 newton meters").tone == "again"
    nuts.say("correction cover nut 1 torqued to 112 newton meters")
    assert torques(nuts) == ["1: 112"]
    assert nuts.state.question is not None
    nuts.say("negative", "cover nut 3 torqued to 111 newton meters")
    assert torques(nuts) == ["1: 112", "3: 111"]


@pytest.mark.parametrize("line", ["correction 112", "correction cover nut torqued to 112"])
def test_asked_about_a_correction_it_is_still_about_that_fastener(nuts, line):
    nuts.say("cover nut 2 torqued to 110 newton meters", "cover nut 4 torqued to 111 newton meters")
    assert nuts.say("correction cover nut 2 torqued to 400 newton meters").tone == "again"
    nuts.say(f"{line} newton meters")
    assert torques(nuts) == ["2: 112", "4: 111"]


def test_a_bare_correction_is_about_the_fastener_corrected_last(nuts):
    nuts.say("cover nut torqued to 110 newton meters", "cover nut torqued to 111 newton meters")
    nuts.ok("correction cover nut 1 torqued to 112 newton meters", "correction 109 newton meters")
    assert torques(nuts) == ["1: 109", "2: 111"]


def test_the_wrench_that_was_said_is_kept(nuts):
    assert nuts.say("cover nut torqued to 400 newton meters using wrench two").tone == "again"
    nuts.say("correction 110 newton meters")
    (value,) = nuts.state.values
    assert value.entry.body["wrench"] == "large"


# two people


def test_a_bare_correction_is_not_about_a_question_to_somebody_else(nuts):
    nuts.say("one liter in")
    assert nuts.say("ten liters in", by=MAREK).tone == "again"
    nuts.say("correction two liters")
    assert poured(nuts) == ["2"]
    assert [q.entry.by for q in nuts.state.questions] == [MAREK]
    nuts.say("correction one liter", by=MAREK)
    assert poured(nuts) == ["2", "1"]


def test_a_named_correction_leaves_somebody_else_s_question_open(nuts):
    nuts.say("one liter in")
    assert nuts.say("ten liters in", by=MAREK).tone == "again"
    nuts.say("correction two liters in")
    assert poured(nuts) == ["2"]
    assert [q.entry.by for q in nuts.state.questions] == [MAREK]


def test_what_somebody_else_reports_meanwhile_makes_no_difference(nuts):
    nuts.say("one liter in")
    assert nuts.say("ten liters in", by=MAREK).tone == "again"
    nuts.say("cover nut torqued to 110 newton meters")
    nuts.say("correction two liters", by=MAREK)
    assert poured(nuts) == ["1", "2"]
    assert nuts.state.question is None


def test_a_value_of_another_kind_in_between_makes_no_difference_where_the_unit_is_said(nuts):
    nuts.say("one liter in")
    assert nuts.say("ten liters in").tone == "again"
    nuts.say("cover nut torqued to 110 newton meters", "correction two liters")
    assert poured(nuts) == ["1", "2"]


def test_without_a_unit_it_is_about_what_was_recorded_last(nuts):
    assert nuts.say("ten liters in").tone == "again"
    nuts.say("cover nut torqued to 110 newton meters", "correction 112")
    assert (torques(nuts), poured(nuts)) == (["1: 112"], [])


@pytest.mark.parametrize(("refused", "spoken"), [("0", "above zero"), ("4 foot pounds", "unit")])
def test_what_is_refused_as_an_answer_leaves_the_question_open(nuts, refused, spoken):
    assert nuts.say("40 liters in").tone == "again"
    reply = nuts.say(refused)
    assert spoken in reply.spoken
    assert not poured(nuts)
    nuts.ok("4")
    assert poured(nuts) == ["4"]
    assert nuts.state.question is None


@pytest.mark.parametrize(
    ("said", "corrected", "kept"),
    [
        ("torque drain plug 41 newton meters", "correction 42", "42 N.m"),
        ("torque drain plug 41 newton meters", "correction torque drain plug 42", "42 N.m"),
        ("torque drain plug 41 newton meters", "correction 31 foot pounds", "31 lbf.ft"),
        ("drained 3.1 liters", "correction 3.2", "3.2 L"),
        ("drained 33 liters", "correction 3.3", "3.3 L"),  # while it is asked about
        ("drained 33 liters", "correction drained 3.3", "3.3 L"),
        ("fluid temperature 165 fahrenheit", "correction 167", "167 degF"),
    ],
)
def test_a_correction_without_a_unit_keeps_the_unit(bench, said, corrected, kept):
    job = bench()
    job.say(said, corrected)
    assert [f"{v.value} {v.unit}" for v in job.state.values] == [kept]
