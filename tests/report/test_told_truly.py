"""Sentences that would not be true of a job, and what page 1 says in their place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from joblog.report.model import Report
from joblog.sheet.load import sheet_from_text

AXLES = """
[sheet]
key = "axles"
title = "Axles"
revision = "1"
summary = "Both axles get new oil."

[[parts]]
key = "washer"
name = "Front washer"
say = ["front washer"]

[[fluids]]
key = "front-oil"
name = "Front oil"
specification = "Example"
service = { value = 1.2, unit = "L" }
total = { value = 1.4, unit = "L" }

[[fluids]]
key = "rear-oil"
name = "Rear oil"
specification = "Example"
service = { value = 2.4, unit = "L" }
total = { value = 3, unit = "L" }

[[steps]]
key = "rear-drained"
title = "Rear drained"
say = ["rear drained"]
pour = { fluid = "rear-oil", direction = "out" }

[[steps]]
key = "front-filled"
title = "Front filled"
say = ["front filled"]
parts = ["washer"]
pour = { fluid = "front-oil", direction = "in" }

[[steps]]
key = "rear-filled"
title = "Rear filled"
say = ["rear filled"]
pour = { fluid = "rear-oil", direction = "in" }

[[steps]]
key = "seen"
title = "Looked at once more"
say = ["looked at again"]
after = ["rear-filled"]
window = { since = "rear-filled", opens = 10, closes = 600 }
"""


@pytest.fixture
def axles(new_script: Any) -> Any:
    """Return a job on two axles: the front one's oil went in and never came out."""
    s = new_script(number=70)
    s.toml, s.sheet = AXLES, sheet_from_text(AXLES)
    s.open()
    for step, fluid, way, value in (
        ("rear-drained", "rear-oil", "out", "2.4"),
        ("front-filled", "front-oil", "in", "1.2"),
        ("rear-filled", "rear-oil", "in", "2.4"),
    ):
        s.step(step)
        body = {"fluid": fluid, "direction": way, "value": value, "unit": "L", "step": step}
        s.say("amount", "quantity", body)
    return s


def poured(s: Any, value: str, way: str) -> None:
    step = {"out": "drained", "in": "filled"}[way]
    body = {"fluid": "gear-fluid", "direction": way, "value": value, "unit": "qt_us", "step": step}
    s.say("amount", "quantity", body)


def close(s: Any, how: str = "finished") -> Any:
    s.add("job-closed", {"how": how, "reason": "a part broke" if how == "aborted" else ""})
    return s


def test_of_two_fluids_each_sentence_says_which(axles: Any, make: Callable[..., Report]) -> None:
    front = make(close(axles), units="metric").front
    told = [line.replace("\u00a0", " ") for line in front.found]
    assert "Front oil: 1.2 L of new fluid went in." in told
    assert "Rear oil: 2.4 L of old fluid came out and 2.4 L of new fluid went in." in told
    shares = [line for line in front.means if "is new now" in line]
    assert [line.split(" 8")[0] for line in shares] == ["Rear oil: about"]


@pytest.mark.parametrize("once_more", [True, False], ids=["plug-out-again", "amounts-alone"])
def test_fluid_that_came_out_again_is_not_called_old(
    new_script: Any, make: Callable[..., Report], once_more: bool
) -> None:
    """Drained and filled twice: what came out the second time was in part, or all, new."""
    s = new_script(number=79)
    s.open()
    for out, into in (("3.6", "3.6"), ("3.5", "3.5")):
        if once_more:
            s.step("drain-plug-out")
        poured(s, out, "out")
        poured(s, into, "in")
    front = make(s).front
    found = " ".join(front.found).replace("\u00a0", " ")
    assert "7.1 US qt of new fluid went in and 7.1 US qt came out, part of it new fluid." in found
    assert "old fluid came out" not in found
    # Of 8.2 quarts at least those of the last filling, or as much: 7.1 - 3.5.
    assert "At least 44% of the fluid is new now." in front.means
    assert not [chart for chart in make(s).charts if chart.key.startswith(("renewed", "volume"))]


def test_nothing_is_said_of_the_share_where_nobody_measured_what_came_out(
    new_script: Any, make: Callable[..., Report]
) -> None:
    """Brake fluid is pressed through: how much of it is new, no formula of draining tells."""
    s = new_script(sheet_key="brake-fluid", number=71)
    s.open()
    for step in s.sheet.steps:
        s.step(step.key)
    body = {"fluid": "brake-fluid", "direction": "in", "value": "0.8", "unit": "L"}
    s.say("amount", "quantity", body | {"step": "filled"})
    report = make(close(s))
    assert not [line for line in report.front.means if "new now" in line]
    assert not [chart for chart in report.charts if chart.key.startswith("renewed")]


def test_no_plug_is_named_where_the_rest_stays_inside(
    full: Any, make: Callable[..., Report]
) -> None:
    share = next(line for line in make(full).front.means if "is new now" in line)
    assert share.endswith("The rest stays inside when the old fluid is drained, as it should.")


def test_a_used_part_that_was_put_back_is_not_listed_as_a_new_one(
    axles: Any, make: Callable[..., Report]
) -> None:
    axles.say("old front washer kept", "part", {"part": "washer", "state": "reused"})
    washer = next(s for s in make(axles).supplies if s.name == "Front washer")
    assert washer.evidence == "no new one: the used one was put back"
    axles.say("new front washer fitted", "part", {"part": "washer", "state": "new"})
    washer = next(s for s in make(axles).supplies if s.name == "Front washer")
    assert washer.evidence == "with the step “Front filled”"


def plug_in(s: Any, washer: str = "") -> None:
    """The drain plug comes out and goes in again; what is told of its washer, stands behind."""
    s.step("drain-plug-out")
    s.step("drain-plug-in")
    if washer:
        body = {"part": "drain-washer", "state": washer, "step": "drain-plug-in"}
        s.say("washer", "part", body)


@pytest.mark.parametrize(
    ("washers", "amount", "evidence"),
    [
        ([""], "1", ""),
        (["", ""], "2", "; fitted 2 times"),
        (["new", "", ""], "3", "; fitted 3 times"),
        (["reused", ""], "1", "; fitted 2 times; once the used one was put back"),
        (["", "reused"], "1", "; fitted 2 times; once the used one was put back"),
        (["reused", "reused"], "0", None),
    ],
)
def test_a_plug_that_comes_out_again_takes_another_washer(
    new_script: Any,
    make: Callable[..., Report],
    washers: list[str],
    amount: str,
    evidence: str | None,
) -> None:
    s = new_script(number=80)
    s.open()
    for washer in washers:
        plug_in(s, washer)
    told = make(s).supplies[0]
    assert told.amount == amount
    with_step = "with the step “Drain plug in with a new washer, tighten”"
    none = "no new one: the used one was put back"
    assert told.evidence == (none if evidence is None else with_step + evidence)


def test_a_plug_told_as_in_before_it_was_ever_out_took_no_washer(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=81)
    s.open()
    s.step("drain-plug-in")
    plug_in(s)
    assert make(s).supplies[0].amount == "1"


def test_a_washer_stays_used_where_the_plug_came_out_once_more_and_the_job_was_stopped(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=82)
    s.open()
    plug_in(s)
    s.step("drain-plug-out")
    assert make(close(s, "aborted")).supplies[0].amount == "1"


def test_washers_that_two_steps_share_are_counted_by_what_was_fitted(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(sheet_key="manual-gearbox", number=83)
    s.open()
    for step in ("drain-plug-out", "drain-plug-in", "drain-plug-out", "drain-plug-in"):
        s.step(step)
    assert make(s).supplies[0].amount == "2"
    s.step("fill-plug-in")
    told = make(s).supplies[0]
    assert told.amount == "3"
    assert "Drain plug in" in told.evidence
    assert told.evidence.count("with the step") == 2


def test_a_look_is_no_reading(axles: Any, make: Callable[..., Report]) -> None:
    axles.step("seen")
    names = [row.what for row in make(axles).measured]
    assert "Time from “Rear filled” to “Looked at once more”" in names


def test_a_corrected_torque_was_not_tightened_again(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=72)
    s.open()
    body = {"step": "drain-plug-in", "value": "60", "unit": "lbf.ft"}
    wrong = s.say("sixty", "torque", body)
    s.say("correction forty", "torque", body | {"value": "40"}, supersedes=wrong)
    told = [f.text for f in make(s).findings if "reported" in f.text]
    assert told
    assert not [text for text in told if "tightened again" in text]


@pytest.mark.parametrize(
    ("unit", "options", "meter"),
    [
        ("km", {"units": "us"}, "88,000 km (54,681 mi)"),
        ("mi", {"units": "us"}, "88,000 mi"),
        ("mi", {"units": "metric", "language": "es"}, "88.000 mi (141.622 km)"),
        ("km", {"units": "both"}, "88,000 km (54,681 mi)"),
    ],
)
def test_an_odometer_stands_as_its_dial_shows_it(
    unit: str, options: dict[str, str], meter: str, new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(sheet_key="coolant", number=73)
    s.open(unit={"make": "Kestrel", "odometer": "88000", "odometer_unit": unit})
    for step in s.sheet.steps:
        s.step(step.key)
    report = make(close(s), **options)
    assert meter in [fact.text.replace("\u00a0", " ") for fact in report.facts]
    assert report.front.due is not None
    assert f"\u00a0{unit}" in report.front.due.figures[0].split("(")[0]


def test_a_label_without_a_code_is_told_so(new_script: Any, make: Callable[..., Report]) -> None:
    s = new_script(number=74)
    s.open()
    why = {"usable": False, "why": "no bar code could be read: hold it flat, sharp and near"}
    s.photo("unit-checked", "label", "before", why)
    told = [f.text for f in make(s).findings]
    assert any("as no bar code could be read in it" in text for text in told)


def test_of_two_photos_of_no_use_one_is_to_be_answered_for(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=75)
    s.open()
    for _ in range(2):
        s.photo("level-before", "dipstick", "before", {"usable": False, "why": "blurred: ..."})
    ended = [f.resolved for f in make(s).findings if "not usable" in f.text]
    assert sorted(ended) == ["photo taken again", "still open"]


def test_a_value_outside_is_told_before_a_photo_of_no_use(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=76)
    s.open()
    s.photo("level-before", "dipstick", "before", {"usable": False, "why": "blurred: ..."})
    s.say("torque", "torque", {"step": "drain-plug-in", "value": "30", "unit": "lbf.ft"})
    told = [line for line in make(s).front.found if "not usable" in line or "specified" in line]
    assert "specified" in told[0]


@pytest.mark.parametrize(("filled", "warned"), [(False, True), (True, False)])
def test_a_job_that_stopped_with_the_fluid_out_says_so_on_page_1(
    filled: bool, warned: bool, new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=77)
    s.open()
    poured(s, "3.6", "out")
    if filled:
        poured(s, "3.6", "in")
    told = make(close(s, "aborted")).front.next
    warning = "Automatic transaxle fluid was drained, and no new fluid is on record."
    assert any(line.startswith(warning) for line in told) is warned
    assert told[-1].startswith("This service still has to be done.")


@pytest.mark.parametrize("last", ["drain-plug-out", "drained", "filter-on", "raised"])
def test_oil_that_was_let_out_unmeasured_is_warned_of(
    last: str, new_script: Any, make: Callable[..., Report]
) -> None:
    """The engine's oil is not measured: that its plug is out, or that it ran out, tells enough."""
    s = new_script(sheet_key="engine-oil-filter", number=78)
    s.open(unit={"type": "van"})
    s.step(last)
    told = make(close(s, "aborted")).front.next
    warned = any("It must not run before it is filled." in line for line in told)
    assert warned is (last != "raised")


TURNED = """
[sheet]
key = "turned"
title = "Bolt"
revision = "1"
summary = "A bolt is turned."

[[steps]]
key = "bolt"
title = "Bolt tightened"
say = ["bolt tight"]
torque = { fastener = "main bolt", value = 30, unit = "N.m", tolerance = 3, angle = 90 }
"""


@pytest.mark.parametrize(
    ("language", "name", "range_"),
    [("en", "Angle, main bolt", "85° to 95°"), ("es", "Ángulo, main bolt", "85° a 95°")],
)
def test_an_angle_is_named_like_a_torque_and_has_no_gap_before_its_sign(
    language: str, name: str, range_: str, new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=78)
    s.toml, s.sheet = TURNED, sheet_from_text(TURNED)
    s.open()
    s.say("bolt thirty", "torque", {"step": "bolt", "value": "30", "unit": "N.m"})
    turned = {"step": "bolt", "name": "angle main bolt", "value": "90", "unit": "deg"}
    s.say("turned ninety", "reading", turned)
    row = next(row for row in make(s, language=language).measured if row.what == name)
    assert row.value == "90°"
    assert range_ in row.specified


WHEELS = """
[sheet]
key = "wheels"
title = "Wheel nuts"
revision = "1"
summary = "The wheel nuts are tightened."

[[steps]]
key = "left"
title = "Left wheel"
say = ["left wheel"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 10, count = 5 }

[[steps]]
key = "right"
title = "Right wheel"
say = ["right wheel"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 10, count = 5 }

[[steps]]
key = "cold"
title = "Pressure cold"
say = ["pressure cold"]
reading = { name = "tire pressure", unit = "bar", low = 2.1, high = 2.5 }

[[steps]]
key = "warm"
title = "Pressure warm"
say = ["pressure warm"]
reading = { name = "tire pressure", unit = "bar", low = 2.2, high = 2.8 }
"""


@pytest.fixture
def wheels(new_script: Any) -> Any:
    s = new_script(number=84)
    s.toml, s.sheet = WHEELS, sheet_from_text(WHEELS)
    s.open()
    body = {"unit": "N.m", "which": "all"}
    s.say("left", "torque", body | {"step": "left", "value": "90"})
    s.say("right", "torque", body | {"step": "right", "value": "110"})
    for step, value in (("cold", "2.3"), ("warm", "2.4")):
        said = {"step": step, "name": "tire pressure", "value": value, "unit": "bar"}
        s.say("pressure", "reading", said)
    return s


def test_values_of_one_name_from_several_steps_are_told_apart_and_all_count(
    wheels: Any, make: Callable[..., Report]
) -> None:
    report = make(close(wheels), units="metric")
    assert [row.what for row in report.measured] == [
        "Torque, wheel nut (all 5), “Left wheel”",
        "Torque, wheel nut (all 5), “Right wheel”",
        "Tire pressure, “Pressure cold”",
        "Tire pressure, “Pressure warm”",
    ]
    checked = "We checked 4 values. Outside its limits: Torque, wheel nut (all 5), “Left wheel”."
    assert report.front.found[0].replace("\u00a0", " ") == checked
    es = make(wheels, units="metric", language="es")
    assert es.measured[0].what.endswith(", «Left wheel»")


def test_a_sheet_without_sentences_for_the_customer_says_how_much_was_done(
    wheels: Any, make: Callable[..., Report]
) -> None:
    front = make(wheels).front
    told = "4 steps of the work were done; all are listed under “Order of work”."
    assert (front.done, front.more) == ((told,), "")


def test_what_was_heard_is_never_told_as_certain(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=85)
    s.open()
    body = {"step": "drain-plug-in", "value": "41", "unit": "lbf.ft"}
    s.say("forty one", "torque", body, sure="0.9991")
    assert make(s).measured[0].sure == "99%"


def test_a_phone_whose_photo_made_a_step_done_did_not_work_on_the_job(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=86)
    s.open()
    s.photo("level-before", "dipstick", "before", {"usable": True, "level_fraction": "0.4"})
    s.entries[-1] = s.entries[-1].model_copy(update={"by": "shop phone"})
    assert s.state().step("level-before").status.value == "done"
    s.say("forty one", "torque", {"step": "drain-plug-in", "value": "41", "unit": "lbf.ft"})
    s.entries[-1] = s.entries[-1].model_copy(update={"by": "Marek Dvorak"})
    people = {fact.label: fact.text for fact in make(s).front.people}
    assert people["Also worked on it"] == "Marek Dvorak"
