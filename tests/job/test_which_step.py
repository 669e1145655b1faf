"""Values that several steps want under one name: the answer says which step has it."""

from __future__ import annotations

import pytest

STEPS = "".join(
    f"""
[[steps]]
key = "{side}"
title = "{side.capitalize()} wheel"
say = ["{side} wheel tight"]
torque = {{ fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 10, count = 5 }}

[[steps]]
key = "{side}-pressure"
title = "Pressure {side}"
say = ["{side} pressure set"]
reading = {{ name = "tire pressure", unit = "bar", low = 2.1, high = 2.5 }}
"""
    for side in ("left", "right")
)


@pytest.mark.parametrize(
    ("line", "titles"),
    [
        ("all wheel nuts 110 newton meters", ("Left wheel", "Right wheel")),
        ("tire pressure 2.3 bar", ("Pressure left", "Pressure right")),
    ],
)
def test_the_answer_names_the_step_that_has_the_value(bench, line, titles):
    job = bench(steps=STEPS)
    for side, title in zip(("left", "right"), titles, strict=True):
        reply = job.say(line)
        assert f", for “{title}”." in reply.shown
        assert f", in spec, {side} " in reply.spoken


def test_a_name_that_one_step_has_alone_is_enough(bench):
    job = bench(steps=STEPS.partition('[[steps]]\nkey = "right"')[0])
    reply = job.say("all wheel nuts 110 newton meters")
    assert "for “" not in reply.shown
    assert reply.spoken.startswith("Torque wheel nut, one one zero newton-meters, in spec. ")
