"""Cautions are said when their step is announced: once, in the sheet's own words, and short."""

from __future__ import annotations

import pytest

from joblog.job.cautions import LEAD, cautions_said, cautions_shown, spoken_caution
from joblog.job.session import JobSession
from joblog.sheet.load import library, load_sheet
from joblog.sheet.model import Caution

RUN = "Run the engine only with the exhaust led outdoors and hands, hair and sleeves clear of"
TWO_STEPS = """
[[cautions]]
text = "Lock it out. Nobody but you takes the lock off."
steps = ["locked"]

[[steps]]
key = "locked"
title = "Locked out"
say = ["locked out"]

[[steps]]
key = "cleaned"
title = "Cleaned"
say = ["case cleaned"]
after = ["locked"]
"""


def test_a_caution_is_said_once_with_the_step_that_it_is_for(bench):
    job = bench()
    job.say("vehicle checked")
    reply = job.say("vehicle level")
    assert reply.spoken.startswith(
        "Vehicle level. Next: warm up done. Caution: Run the engine only"
    )
    assert f"{LEAD} {RUN}" in reply.shown
    assert LEAD in job.say("say again").spoken  # the answer once more, whole
    job.say("disregard")
    again = job.say("vehicle level")
    assert again.spoken == "Vehicle level. Next: warm up done."
    assert f"{LEAD} {RUN}" in again.shown  # it is shown each time
    assert f"{LEAD} {RUN}" in job.say("what is next").spoken  # who asks hears it again


def test_each_step_of_a_caution_is_warned_of_once(bench):
    two = TWO_STEPS.replace('["locked"]\n\n', '["locked", "cleaned"]\n\n', 1)
    job = bench(steps=two)
    said = [job.session.last_reply.spoken, job.say("locked out").spoken]
    assert said == [
        "Next: locked out. Caution: Lock it out.",
        "Locked out. Next: case cleaned. Caution: Lock it out.",
    ]
    job.say("disregard")
    assert job.say("locked out").spoken == "Locked out. Next: case cleaned."


def test_a_caution_of_the_first_step_answers_the_opening(bench):
    job = bench(steps=TWO_STEPS)
    opened = job.session.last_reply
    assert opened.spoken == "Next: locked out. Caution: Lock it out."
    assert opened.shown.endswith("Caution: Lock it out. Nobody but you takes the lock off.")
    assert LEAD not in job.say("case cleaned").spoken
    assert bench().session.last_reply.spoken == ""  # nothing to be careful of yet


def test_a_program_started_anew_warns_of_the_step_at_hand_once_more(bench, store, clock):
    job = bench()
    job.say("vehicle checked", "vehicle level", "disregard")
    job.session = JobSession.resume(store, job.session.job, clock=clock)
    assert f"{LEAD} {RUN}" in job.say("vehicle level").spoken


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Hot oil. Wear gloves.", "Hot oil."),
        ("Let 2.5 bar out first", "Let 2.5 bar out first."),
        ("Only No. 2 oil. It is marked.", "Only No. 2 oil."),
        ("Mind this: " + "very " * 20 + "hot.", "See the screen."),
    ],
)
def test_the_first_sentence_is_said(text, said):
    assert spoken_caution(Caution(text=text)) == said


@pytest.mark.parametrize("key", list(library()))
def test_what_is_said_begins_what_is_shown(key):
    sheet = load_sheet(key)
    for step in sheet.steps:
        said, shown = cautions_said(sheet, step), cautions_shown(sheet, step)
        assert "See the screen" not in said
        assert len(shown) < 2
        assert not shown or shown[0].startswith(said)
        assert cautions_said(sheet, step, {step.key}) == ""
