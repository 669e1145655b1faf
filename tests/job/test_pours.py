"""A fluid that goes in at two steps, and temperatures that no formula covers."""

from __future__ import annotations

import pytest
from small_sheets import fluid, reading, step

TWICE = (
    fluid("oil", "Oil", "3 L", density=850, tolerance="0.2 L")
    + step("out", "Drain", "oil drained", out="oil", reading=reading("oil temperature", "degC"))
    + step("fill", "Fill", "oil filled", into="oil", after=["out"])
    + step(
        "run", "Run", "engine has run", after=["fill"], reading=reading("shop temperature", "degC")
    )
    + step("top", "Top up", "topped up", into="oil", after=["run"])
)


@pytest.fixture
def twice(bench):
    job = bench(steps=TWICE)
    job.ok("drained three liters", "oil temperature two zero celsius")
    return job


def test_each_amount_belongs_to_the_step_at_hand_and_they_add_up(twice):
    twice.ok("two point five liters in", "oil filled", "engine has run")
    twice.ok("shop temperature two zero celsius", "half a liter in", "topped up")
    assert [v.step for v in twice.state.values if v.entry.kind == "quantity"] == [
        "out", "fill", "top",
    ]  # fmt: skip
    assert twice.state.fluids[0].poured_in == 3
    assert twice.ok("job complete").spoken == "Job complete."


def test_too_little_is_told_when_the_last_of_it_is_in_and_not_before(twice):
    twice.ok("two liters in", "oil filled", "engine has run", "shop temperature two zero celsius")
    reply = twice.say("half a liter in", "topped up")
    assert reply.tone == "warn"
    assert reply.findings[0].key == "drained:oil:less"


def test_a_correction_stays_with_the_step_of_what_it_corrects(twice):
    twice.ok("two point five liters in", "oil filled", "engine has run")
    twice.ok("shop temperature two zero celsius", "correction two point six liters in")
    (poured,) = [v for v in twice.state.values if v.entry.body.get("direction") == "in"]
    assert (poured.value * 10, poured.step) == (26, "fill")


def test_a_temperature_beyond_any_formula_is_asked_and_spoils_nothing(bench):
    """API MPMS 11.1 covers -50 to 150 °C; what is recorded beyond it corrects nothing."""
    job = bench(steps=TWICE)
    job.ok("drained three liters")
    assert job.say("oil temperature nine hundred celsius").tone == "again"
    job.say("affirm")
    job.ok("three liters in", "oil filled", "engine has run", "shop temperature two zero celsius")
    job.say("point one liters in", "topped up")
    assert job.state.fluids[0].poured_in * 10 == 31  # the job goes on
    assert job.state.open_findings == ()


@pytest.mark.parametrize(
    ("lines", "spoken", "shown"),
    [
        (
            ["drained four liters"],  # with three drained before: more than twice what goes in
            "Seven liters in all. Once more, four liters out? Affirm or negative.",
            "In all that makes 7 L out; the sheet expects 3 L. Another 4 L?",
        ),
        (
            ["drained seven liters"],  # by itself beyond reason: the doubt is about the amount
            "Out, seven liters? Affirm or negative.",
            "Out, 7 L is far from what the sheet expects. Is that right?",
        ),
        (
            ["correction drained seven liters"],
            "Out, seven liters? Affirm or negative.",
            "Out, 7 L is far from what the sheet expects. Is that right?",
        ),
    ],
)
def test_a_doubt_says_whether_it_is_about_the_amount_or_the_sum(twice, lines, spoken, shown):
    reply = twice.say(*lines)
    assert (reply.spoken, reply.shown) == (spoken, shown)
    twice.say("affirm")
    assert twice.state.question is None


@pytest.mark.parametrize(
    ("answer", "end"),
    [
        ("affirm", " and was answered."),
        ("negative", ". Nothing was recorded of it."),
        ("what is next", "."),
    ],
)
def test_a_customer_is_told_what_was_typed_and_what_came_of_it(twice, answer, end):
    twice.say("drained seven liters", answer)
    (finding,) = [f for f in twice.state.findings if f.key.startswith("unsure:")]
    assert finding.customer == f"One typed line was unclear; the program asked{end}"
