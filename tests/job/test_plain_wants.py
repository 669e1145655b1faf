"""What a step wants is told in plain words: any photo is a photo, a part is to be fitted."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import fluid, step

from joblog.job.phrases import phrases_of
from joblog.sheet.load import library, sheet_text
from joblog.web.view import step_view

STEPS = """
[[parts]]
key = "gasket"
name = "Cover gasket"
say = ["gasket"]

[[fluids]]
key = "oil"
name = "Oil"
specification = "Example"
service = { value = 2, unit = "L" }
container = { value = 1, unit = "L" }

[[steps]]
key = "looked"
title = "Look at the gears"
say = ["gears looked at"]
photo = { kind = "other" }

[[steps]]
key = "cover"
title = "Cover on"
say = ["cover closed"]
after = ["looked"]
parts = ["gasket"]

[[steps]]
key = "filled"
title = "Filled"
say = ["filling done"]
after = ["cover"]
pour = { fluid = "oil", direction = "in" }
"""


def test_a_photo_of_the_kind_other_is_just_a_photo(bench):
    job = bench(steps=STEPS)
    reply = job.say("gears looked at")
    assert (reply.shown, reply.spoken) == (
        "Gears looked at: done. Wanted: photo.",
        "Gears looked at. Wanted: photo.",
    )
    assert job.say("what is missing").shown.startswith("Photo, gears looked at.")
    job.say("cover closed", "filling done", "two liters in")
    assert "Look at the gears: photo missing." in job.say("job complete").shown
    job.ok("confirm because not possible")  # by the same key as ever
    key = "missing:looked:photo-of-the-other"
    assert [f.resolved for f in job.state.findings if f.key == key] == [
        "confirmed by Imani Okafor: it was not possible"
    ]


def test_what_is_to_be_fitted_new_does_not_sound_as_if_it_were_noted(bench):
    job = bench(steps=STEPS)
    job.say("gears looked at")
    asked, noted = job.say("what is next").shown, job.say("new gasket fitted").shown
    assert "Fit new: Cover gasket." in asked
    assert noted.startswith("New Cover gasket: noted.")


def test_a_sum_that_grows_too_large_is_asked_about_in_plain_words(bench):
    job = bench(steps=STEPS)
    job.say("gears looked at", "cover closed", "two liters in")
    reply = job.say("two and a half liters in")
    assert reply.shown.startswith("In all that makes 4.5 L in; the sheet expects 2 L.")


def test_a_long_window_is_told_in_minutes_and_by_what_is_said(bench):
    steps = f"""{STEPS}
[[steps]]
key = "settled"
title = "Level at the hole"
say = ["level at the hole"]
after = ["filled"]
window = {{ since = "filled", opens = 30, closes = 600 }}
"""
    job = bench(steps=steps)
    job.say("gears looked at", "cover closed", "two liters in", "filling done")
    asked = job.say("what is next").shown
    assert "Between 30 s and 10 min after filling done." in asked
    last = job.state.steps[-1]
    wants = step_view(job.state.sheet, last)["wants"]
    assert wants == ["between 30 s and 10 min after “filling done”"]


TWO_FLUIDS = (
    fluid("front", "Front axle oil 80W-90", "1.2 L", say=["front oil"])
    + fluid("rear", "Rear axle oil 80W-90", "2.4 L", say=["rear oil"])
    + step("rear-out", "Rear drained", "rear drained", out="rear")
    + step("front-out", "Front drained", "front drained", out="front")
)


def test_of_two_fluids_the_question_says_how_each_is_named(bench):
    job = bench(steps=TWO_FLUIDS)
    reply = job.say("two liters out")
    assert reply.shown == "Which fluid? Say “... of front oil out” or “... of rear oil out”."
    assert job.say("2.4 liters of rear oil out").tone == "ok"


def test_examples_are_in_the_sheets_own_unit_and_name_one_of_two_fluids(bench):
    two, one = bench(steps=TWO_FLUIDS).session.sheet, bench(steps=STEPS).session.sheet
    assert {
        "drained three point one liters of front oil",
        "drained three point one liters of rear oil",
        "drained three point one liters",
    } <= {phrase.example for phrase in phrases_of(two)}
    examples = [phrase.example for phrase in phrases_of(one)]
    assert "another liter" in examples
    assert not [text for text in examples if "quart" in text]


def test_a_colleagues_value_that_is_corrected_is_told_with_the_name(bench):
    job = bench(steps=TWO_FLUIDS)
    job.say("rear drained", "2.3 liters out")
    reply = job.say("correction 2.4 liters out", by="Marek Dvorak")
    assert "It was 2.3 L, told by Imani Okafor." in reply.shown
    reply = job.say("correction 2.5 liters out", by="Marek Dvorak")
    assert "told by" not in reply.shown


LEVEL = """
[[steps]]
key = "level"
title = "Level as found"
say = ["level as found"]
photo = { kind = "dipstick", phase = "before", mark_distance_mm = 20 }
"""


def test_a_photo_of_no_use_that_was_let_stand_is_not_asked_for_again(bench):
    job = bench(steps=LEVEL)
    blurred = (Path(__file__).parents[2] / "sample_images" / "dipstick-blurred.jpg").read_bytes()
    job.say("level as found")
    for shot in (blurred, blurred + b"again"):
        assert job.session.photo(shot, "dipstick").tone == "warn"
    assert len(job.state.open_findings) == 1  # two shots of one thing are one question
    job.ok("confirm because not possible")
    assert job.say("job complete").spoken == "Job complete."
    assert "photo of the dipstick" in job.state.steps[0].missing


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("stop the job", "A job is stopped at the desk, with a reason."),
        ("abort", "A job is stopped at the desk, with a reason."),
        ("cancel the job", "A job is stopped at the desk, with a reason."),
        ("undo", "To take back what was said last, say 'disregard'."),
        ("8", "A number alone may be of anything: say 'torque eight'."),
        ("8.5", "A number alone may be of anything: say 'torque eight point five'."),
    ],
)
def test_what_newcomers_type_is_answered_with_the_way(bench, typed, told):
    job = bench(toml=sheet_text(library()["brake-fluid"]))
    assert job.say(typed).shown == told


def test_a_number_alone_is_offered_for_a_reading_where_there_is_no_torque(bench):
    steps = LEVEL + 'reading = { name = "oil level", unit = "mm" }'
    told = "A number alone may be of anything: say 'oil level one two'."
    assert bench(steps=steps).say("12").shown == told
