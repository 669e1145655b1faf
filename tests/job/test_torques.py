"""Several fasteners in sequence, two stages, torque and angle."""

from __future__ import annotations

import pytest

from joblog.errors import SheetError
from joblog.sheet.load import problems_in

WHEEL = """
[sheet]
key = "wheel"
title = "Wheel refit"
revision = "1"
summary = "The wheel is fitted and its nuts are tightened."

[[steps]]
key = "wheel-on"
title = "Wheel on"
say = ["wheel on"]

[[steps]]
key = "nuts-tight"
title = "Nuts tightened crosswise"
say = ["nuts tight"]
after = ["wheel-on"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 6, count = 5 }

[[steps]]
key = "wheel-down"
title = "Down"
say = ["wheel down"]
after = ["nuts-tight"]
"""

STAGES = """
[sheet]
key = "cover"
title = "Cover bolt"
revision = "1"
summary = "The cover is fitted."

[[steps]]
key = "stage-one"
title = "Cover bolt, first stage"
say = ["first stage done"]
torque = { fastener = "cover bolt", value = 20, unit = "N.m", tolerance = 2 }

[[steps]]
key = "stage-two"
title = "Cover bolt, second stage"
say = ["second stage done"]
after = ["stage-one"]
torque = { fastener = "cover bolt", value = 50, unit = "N.m", tolerance = 3, stage = 2, angle = 90 }
"""


@pytest.fixture
def wheel(bench):
    job = bench(toml=WHEEL)
    job.ok("wheel on")
    return job


def test_each_nut_counts_and_the_last_one_finishes_the_step(wheel):
    assert wheel.ok("wheel nut one torqued to one one zero").spoken.endswith("One of five.")
    wheel.ok("wheel nut number two is one one zero newton meters")
    wheel.ok("torque one one one", "wheel nut one zero nine")  # the next in turn
    assert wheel.status("nuts-tight") == "open"
    assert [v.entry.body["which"] for v in wheel.state.values] == ["1", "2", "3", "4"]
    reply = wheel.ok("wheel nut five torqued to one one zero")
    assert "Five of five. Next: wheel down." in reply.spoken
    assert wheel.status("nuts-tight") == "done"


def test_all_at_once(wheel):
    wheel.ok("all wheel nuts torqued to one one zero newton meters")
    assert wheel.status("nuts-tight") == "done"
    assert wheel.state.values[0].entry.body["which"] == "all"


def test_out_of_sequence_is_told_and_settled_by_the_skipped_ones(wheel):
    wheel.ok("wheel nut one torqued to one one zero")
    reply = wheel.say("wheel nut four torqued to one one zero")
    value = "Torque wheel nut, one one zero newton-meters. "
    assert reply.spoken.startswith(f"{value}Wheel nut four, but two must come first.")
    wheel.ok("wheel nut two torqued to one one zero", "wheel nut three torqued to one one zero")
    (finding,) = wheel.state.findings
    assert finding.resolved == "done afterwards"


def test_saying_tight_with_nuts_missing_leaves_the_step_incomplete(wheel):
    wheel.ok("wheel nut one torqued to one one zero")
    wanted = "Wanted: torque of wheel nuts two, three, four and five."
    assert wheel.ok("nuts tight").spoken == f"Nuts tight. {wanted}"
    assert wheel.status("nuts-tight") == "incomplete"
    wheel.say("job complete")
    assert "missing:nuts-tight:torque-2-3-4-5" in wheel.open_keys()


def test_one_nut_again_mends_that_nut_only(wheel):
    wheel.ok("wheel nut one torqued to one one zero")
    wheel.say("wheel nut two torqued to nine zero")
    assert len(wheel.open_keys()) == 1
    wheel.ok("wheel nut three torqued to one one zero")
    assert len(wheel.open_keys()) == 1
    wheel.ok("wheel nut two torqued to one one zero")
    assert wheel.open_keys() == []


def test_a_correction_keeps_the_number_of_its_nut(wheel):
    wheel.ok("wheel nut one torqued to one one zero", "wheel nut two torqued to one one two")
    wheel.ok("correction wheel nut one torqued to one one one")
    assert [(v.entry.body["which"], v.value) for v in wheel.state.values] == [
        ("1", 111),
        ("2", 112),
    ]
    wheel.ok("correction one one four")  # of what was recorded last, which is that correction
    assert [v.value for v in wheel.state.values] == [114, 112]


def test_two_stages_and_an_angle(bench):
    job = bench(toml=STAGES)
    job.ok("cover bolt torqued to two zero")
    reply = job.ok("cover bolt stage two torqued to five zero newton meters")
    assert reply.spoken.endswith("Wanted: angle.")
    job.ok("cover bolt stage two turned nine zero degrees")
    assert job.status("stage-two") == "done"
    assert [v.within for v in job.state.values] == [True, True, True]


def test_an_angle_out_of_specification(bench):
    job = bench(toml=STAGES)
    job.ok("cover bolt torqued to two zero", "cover bolt stage two torqued to five zero")
    reply = job.say("cover bolt stage two turned six zero degrees")
    assert "is below the limit" in reply.spoken
    job.ok("correction nine zero")
    assert job.open_keys() == []


def test_the_second_stage_before_the_first_is_out_of_order(bench):
    job = bench(toml=STAGES)
    reply = job.say("cover bolt stage two torqued to five zero")
    assert reply.findings[0].key == "order:stage-two:stage-one"


def test_a_stage_done_over_wants_the_later_stage_again(bench):
    """Tightened anew, not corrected: a corrected figure changes nothing that was done."""
    job = bench(toml=STAGES)
    job.ok("cover bolt torqued to two zero", "cover bolt stage two torqued to five zero")
    job.ok("cover bolt stage two turned nine zero degrees")
    job.ok("correction cover bolt torqued to two one")
    assert job.state.findings == ()
    reply = job.say("cover bolt torqued to two zero")
    assert reply.tone == "warn"
    assert "now do second stage done again" in reply.shown
    reply = job.say("cover bolt stage two torqued to five zero newton meters")
    assert "Wanted: angle." in reply.spoken
    (finding,) = job.state.findings
    assert finding.resolved == "done afterwards"
    job.ok("cover bolt stage two turned nine zero degrees")
    assert job.status("stage-two") == "done"


TWICE = """
[sheet]
key = "twice"
title = "Twice"
revision = "1"
summary = "The same plug is tightened twice, and read twice."

[[steps]]
key = "cold"
title = "Cold"
say = ["plug set cold"]
torque = { fastener = "plug", value = 20, unit = "N.m", tolerance = 2 }
reading = { name = "oil temperature", unit = "degC", required = false }

[[steps]]
key = "hot"
title = "Hot"
say = ["plug set hot"]
after = ["cold"]
torque = { fastener = "plug", value = 30, unit = "N.m", tolerance = 2 }
reading = { name = "oil temperature", unit = "degC", required = false }
"""

WARM = """
[[steps]]
key = "warm"
title = "Warm"
say = ["engine is warm"]
after = ["cold"]
"""


def test_a_name_that_two_steps_share_means_the_step_at_hand(bench):
    job = bench(toml=TWICE)
    job.ok("oil temperature one five celsius", "plug torqued to two zero")
    job.ok("oil temperature eight one celsius", "plug torqued to three zero")
    assert [(v.step, v.value) for v in job.state.values] == [
        ("cold", 15),
        ("cold", 20),
        ("hot", 81),
        ("hot", 30),
    ]
    job.ok("plug set cold torqued to two one")  # named by its own phrase: that step
    assert job.state.values[-1].step == "cold"


def test_of_steps_with_one_name_that_said_as_done_is_at_hand_though_too_early(bench):
    job = bench(toml=TWICE.replace('after = ["cold"]', 'after = ["cold", "warm"]') + WARM)
    job.ok("plug torqued to two zero")
    job.say("plug set hot", "plug torqued to three zero")
    assert [(v.step, v.value) for v in job.state.values] == [("cold", 20), ("hot", 30)]


@pytest.mark.parametrize("order", ['after = ["cold"]', ""])
def test_a_sheet_with_two_torques_of_one_name_opens_only_where_the_step_tells_them(bench, order):
    text = TWICE.replace('after = ["cold"]', order)
    found = [p for p in problems_in(text, "x")[1] if "told apart by voice" in p.sentence]
    assert [(p.remark, p.stops) for p in found] == [(False, not order)]
    if not order:
        with pytest.raises(SheetError, match="a name of its own"):
            bench(toml=text)


def test_a_question_about_one_fastener_is_not_answered_by_another(bench):
    job = bench()
    job.say("torque drain plug four one zero")
    job.say("torque fill plug two seven")
    assert job.state.question is not None
    job.say("torque drain plug four one")
    assert job.state.question is None
