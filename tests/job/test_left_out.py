"""A step confirmed as missing: no longer proposed, and it may still be said as done after all."""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.job.helping import answer_help
from joblog.report.build import build_report
from joblog.web.view import job_view

PLUG = (Path(__file__).parents[1] / "vision" / "data" / "plug-900000003.jpg").read_bytes()
A, B = "unit-checked", "fill-plug-loose"
FIRST, SECOND = 'say = ["vehicle checked"]', 'say = ["fill plug loose", "fill plug loosened"]'


def left_out(bench, short_drain):
    """Closing was asked for and the first step confirmed as missing, by voice's words."""
    job = bench(toml=short_drain)
    assert "Missing: vehicle checked." in job.say("job complete").spoken
    job.say("confirm because not needed")
    assert job.state.finding(f"missing:{A}:step").resolved
    return job


def test_it_is_proposed_nowhere_and_nothing_waits_for_it(bench, short_drain):
    job = left_out(bench, short_drain)
    assert job.say("what is next").spoken == "Next: fill plug loose."
    assert "vehicle checked" not in answer_help(job.state).shown
    view = job_view(job.session)
    assert view["next"]["key"] == B
    assert "Vehicle and sheet match" not in view["missing"]
    following = job.ok("fill plug loose").spoken
    assert following.startswith("Fill plug loose. Next: drain plug out.")
    # The order was broken for the reason that was given; that stays to be read, and is settled.
    order = job.state.finding(f"order:{B}:{A}")
    assert order.resolved == "confirmed by Imani Okafor: it is not needed on this unit"


def test_the_order_confirmed_by_nobody_is_still_asked_for(bench, short_drain):
    """Only what is done after the confirmation is covered by it."""
    job = bench(toml=short_drain)
    job.say("fill plug loose", "job complete", "confirm because not needed")
    assert job.open_keys().count(f"order:{B}:{A}") == 1


def test_the_last_step_left_out_ends_the_job(bench, short_drain):
    job = left_out(bench, short_drain)
    job.say(*["confirm because not needed"] * 4)
    assert job.state.next_step is None
    assert job.say("what is next").spoken == "That was the last step. Say job complete."
    assert job.say("job complete").spoken == "Job complete."


def test_confirmed_by_mistake_it_is_next_again(bench, short_drain):
    job = left_out(bench, short_drain)
    job.say("disregard")
    assert job.say("what is next").spoken == "Next: vehicle checked."


def test_a_step_that_comes_before_one_left_out_is_still_proposed(bench, short_drain):
    job = bench(toml=short_drain)
    job.say("job complete")
    job.session.confirm("missing:drain-plug-out:step", "the plug is seized", "Imani Okafor")
    assert job.say("what is next").spoken == "Next: vehicle checked."
    job.ok("vehicle checked")
    assert job.say("what is next").spoken == "Next: fill plug loose."


def test_a_torque_without_a_name_is_not_given_to_a_step_left_out(bench, short_drain):
    job = bench(toml=short_drain)
    job.say("job complete")
    job.session.confirm("missing:drain-plug-in:step", "the plug is seized", "Imani Okafor")
    for step in (A, B, "drain-plug-out"):
        job.session.confirm(f"missing:{step}:step", "left to others", "Imani Okafor")
    job.say("torque four one foot pounds")
    assert job.state.values == ()


def test_done_after_all_it_counts_and_record_and_report_say_both(bench, short_drain):
    job = left_out(bench, short_drain)
    assert job.ok("vehicle checked").spoken == "Vehicle checked. Next: fill plug loose."
    assert job.status(A) == "done"
    kinds = [e.kind for e in job.state.entries if e.kind in ("confirmed", "step-done")]
    assert kinds == ["confirmed", "step-done"]
    said = "confirmed by Imani Okafor: it is not needed on this unit; done afterwards"
    assert job.state.finding(f"missing:{A}:step").resolved == said
    assert f"missing:{A}:step" not in job.open_keys()
    for language, ended in (
        ("en", said),
        ("es", "confirmado por Imani Okafor: no hace falta en esta unidad; hecho después"),
    ):
        report = build_report(job.state, job.session.store.read_media, language=language)
        assert report.findings[0].resolved == ended
        assert not report.findings[0].open
        assert report.steps[0].done
    job.say("disregard")
    assert job.status(A) == "open"
    assert job.say("what is next").spoken == "Next: fill plug loose."
    assert "done afterwards" not in job.state.finding(f"missing:{A}:step").resolved


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        (
            'reading = { name = "fluid temperature", unit = "degC", low = 40, high = 90 }',
            "fluid temperature sixty",
        ),
        (
            'torque = { fastener = "case bolt", value = 41, unit = "lbf.ft", tolerance = 4 }',
            "torque case bolt four one foot pounds",
        ),
        ('pour = { fluid = "gear-fluid", direction = "in" }', "one quart in"),
    ],
    ids=["reading", "torque", "pour"],
)
def test_a_value_that_two_steps_want_goes_to_the_one_not_left_out(bench, short_drain, wanted, said):
    fluid = '[[fluids]]\nkey = "gear-fluid"\nname = "Gear fluid"\nspecification = "an example"\n'
    text = short_drain.replace("[[tools]]", f"{fluid}\n[[tools]]", 1)
    for say in (FIRST, SECOND):
        text = text.replace(say, f"{say}\n{wanted}", 1)
    job = left_out(bench, text)
    job.say(said)
    assert [e.body["step"] for e in job.state.entries if "step" in e.body] == [B]
    assert job.status(A) == "open"


def test_a_photo_that_two_steps_want_goes_to_the_one_not_left_out(bench, short_drain):
    photo = 'photo = { kind = "plug", phase = "once", plug_diameter_mm = 18.0 }'
    job = left_out(bench, short_drain.replace(FIRST, f"{FIRST}\n{photo}", 1))
    job.say("fill plug loose")
    job.session.photo(PLUG, "plug")
    assert [p.step for p in job.state.photos] == ["drain-plug-out"]


def test_an_optional_step_too_late_is_not_what_was_confirmed(bench, short_drain):
    """The step it should have come before was done after all: nobody gave a reason for that."""
    swept = 'key = "bay-swept"\ntitle = "Bay swept"\nsay = ["bay swept"]\noptional = true'
    job = left_out(bench, f'{short_drain}\n[[steps]]\n{swept}\nbefore = ["{A}"]\n')
    job.say("vehicle checked")
    assert job.say("bay swept").spoken == (
        "Bay swept should have come before vehicle checked. "
        "Say confirm because, and the reason, or disregard."
    )
    assert f"order:bay-swept:{A}" in job.open_keys()
