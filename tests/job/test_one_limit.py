"""Readings of which the sheet gives one limit alone."""

from __future__ import annotations

from fractions import Fraction

import pytest

STEPS = """
[[steps]]
key = "frost"
title = "Freezing point"
say = ["freezing point read"]
reading = { name = "freezing point", unit = "degC", high = -30 }

[[steps]]
key = "tread"
title = "Tread"
say = ["tread measured"]
reading = { name = "tread depth", unit = "mm", low = 1.6 }

[[steps]]
key = "cooled"
title = "Cold enough"
say = ["cold enough"]
reading = { name = "room temperature", unit = "degC", low = -10 }
"""


@pytest.mark.parametrize(
    "said",
    [
        "freezing point minus three five celsius",
        "freezing point minus two five celsius",  # outside, and told as that
        "tread depth four point five millimeters",
        "room temperature minus five celsius",
        "room temperature eight celsius",
    ],
)
def test_what_can_be_meant_is_recorded_unasked(bench, said):
    job = bench(steps=STEPS)
    assert job.say(said).tone in ("ok", "warn")
    assert len(job.state.values) == 1


def test_a_reading_inside_its_one_limit_is_never_called_far_from_it(bench):
    job = bench(steps=STEPS)
    reply = job.say("tread depth eight zero millimeters")
    assert reply.shown == "Tread depth, 80 mm: is that right?"
    reply = job.say("freezing point eight zero celsius")
    assert reply.shown == "Freezing point, 80 °C is far from what the sheet expects. Is that right?"


CALIPER = """
[[steps]]
key = "rotor"
title = "Rotor"
say = ["rotor measured"]
reading = { name = "rotor thickness", unit = "in", low = 0.9, high = 1.4 }
"""


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("one point zero two five inches", "1.025"),  # with two places alone it was heard as 1
        ("point nine three five", "0.935"),
        ("nine hundred thirty five thou", "0.935"),
        ("one and three sixteenths inches", "1.1875"),
        ("one point zero two five five inches", "1.0255"),  # a micrometer; was heard as 1
        ("zero point nine three five five", "0.9355"),
        ("fifteen sixteenths of an inch", None),  # no way to say it here: to be said again
    ],
)
def test_a_caliper_shows_thousandths(bench, said, value):
    job = bench(steps=CALIPER)
    job.say(f"rotor thickness {said}")
    assert [str(v.value) for v in job.state.values] == ([value] if value else [])


def test_a_sixteenth_is_read_back_as_it_was_said(bench):
    job = bench(steps=CALIPER)
    reply = job.say("rotor thickness one and three sixteenths inches")
    assert reply.spoken.startswith("Rotor thickness, one point one eight seven five inches")
    assert "1.1875 in" in reply.shown


GAUGES = """
[[steps]]
key = "volts"
title = "Battery"
say = ["battery measured"]
reading = { name = "battery voltage", unit = "V", low = 11, high = 15 }

[[steps]]
key = "running"
title = "Running"
say = ["has run"]
reading = { name = "run time", unit = "min", low = 1, high = 20 }

[[steps]]
key = "pressed"
title = "Pump"
say = ["pump tried"]
reading = { name = "pump pressure", unit = "psi", low = 2000, high = 3000 }

[[steps]]
key = "cold"
title = "Cold"
say = ["cold measured"]
reading = { name = "air temperature", unit = "degC", low = -40, high = 140 }

[[steps]]
key = "driven"
title = "Driven"
say = ["has been driven"]
reading = { name = "odometer", unit = "mi" }
"""


@pytest.mark.parametrize(
    ("said", "value", "unit"),
    [
        ("battery voltage twelve and a half volts", "25/2", "V"),
        ("run time two minutes forty five", "165", "s"),
        ("run time two minutes and forty five seconds", "165", "s"),
        ("run time two minutes and forty five", "165", "s"),
        ("run time a minute and a half", "3/2", "min"),
        ("run time a minute and a quarter", "5/4", "min"),  # was heard as a half, at 0.99
        ("run time a quarter of an hour", "1/4", "h"),
        ("pump pressure twenty five hundred p s i", "2500", "psi"),
        ("pump pressure two thousand five hundred p s i", "2500", "psi"),
        ("pump pressure two five zero zero p s i", "2500", "psi"),  # as it is read back
        ("pump pressure one hundred and eighty bar", "180", "bar"),
        ("air temperature sixty five point two five celsius", "261/4", "degC"),
        ("air temperature one hundred five point five celsius", "211/2", "degC"),
        ("air temperature one oh five point five celsius", "211/2", "degC"),
        ("air temperature 115.2", "576/5", "degC"),
        ("air temperature twenty one and a half degrees", "43/2", "degC"),
        ("air temperature negative thirty five", "-35", "degC"),
        ("odometer one oh four two oh six point three miles", "104206.3", "mi"),
    ],
)
def test_a_gauge_is_read_as_people_read_it(bench, said, value, unit):
    job = bench(steps=GAUGES)
    job.say(said)
    assert [(Fraction(v.value), v.unit) for v in job.state.values] == [(Fraction(value), unit)]


@pytest.mark.parametrize("said", ["run time two minutes five", "pump pressure ten hundred"])
def test_what_gives_no_one_number_is_said_so(bench, said):
    job = bench(steps=GAUGES)
    assert "No number in it was clear" in job.say(said).shown
    assert job.state.values == ()


@pytest.mark.parametrize(("said", "value"), [("a quarter", "41.25"), ("three quarters", "41.75")])
def test_a_wrench_may_show_quarters(bench, said, value):
    job = bench()
    job.say(f"drain plug torque forty one and {said} foot pounds")  # was heard as a half, at 0.99
    assert [str(v.value) for v in job.state.values] == [value]


def test_an_odometer_has_no_thousandths(bench):
    job = bench(steps=GAUGES)
    assert "no phrase" in job.say("odometer 104.206 miles").shown
    assert job.state.values == ()


VACUUM = """
[[steps]]
key = "pulled"
title = "Vacuum"
say = ["vacuum is on"]
reading = { name = "gauge pressure", unit = "bar", low = -0.9, high = -0.7 }
"""


@pytest.mark.parametrize(
    ("said", "tone"),
    [
        ("gauge pressure minus point eight bar", "ok"),
        ("gauge pressure -0.8", "ok"),
        ("vacuum is on at minus zero point eight bar", "ok"),
        ("gauge pressure minus point five bar", "warn"),
    ],
)
def test_a_vacuum_is_said_with_minus(bench, said, tone):
    job = bench(steps=VACUUM)
    assert job.say(said).tone == tone
    (value,) = job.state.values
    assert value.value < 0


def test_where_no_limit_is_below_zero_minus_is_told_for_what_it_is(bench):
    job = bench(steps=VACUUM.replace("low = -0.9, high = -0.7", "low = 0.7, high = 0.9"))
    told = job.say("gauge pressure minus point eight bar").shown
    assert told.startswith("On this sheet such a reading is above zero")
    assert job.state.values == ()
