"""Questions about torque, amount and fluid: answered in the sheet's values, nothing recorded."""

from __future__ import annotations

import numpy as np
import pytest

from joblog.audio.types import RATE, Utterance
from joblog.readback.clips import load_clips
from joblog.readback.sequence import free_text, pieces_of
from joblog.speech.types import Alternative, Hearing, Verdict

CLIPS = load_clips().by_name
SOUND = Utterance(np.zeros(RATE, np.float32))
QUESTIONS = ("what torque", "what's the torque", "how much fluid", "how many quarts", "which fluid")
NUTS = """
[[steps]]
key = "nuts-tight"
title = "Nuts tightened crosswise"
say = ["nuts tight"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 6, count = 5 }
"""
TWO = """
[[steps]]
key = "left-in"
title = "Left plug in"
say = ["left in"]
torque = { fastener = "left plug", value = 24, unit = "N.m", tolerance = 3 }

[[steps]]
key = "right-in"
title = "Right plug in"
say = ["right in"]
torque = { fastener = "right plug", value = 30, unit = "N.m", tolerance = 3, angle = 90 }
"""


class Heard:
    """An engine that always hears the same."""

    def __init__(self, hearing: Hearing) -> None:
        self.hearing = hearing

    second_opinion = False

    def hear(self, *_: object, **__: object) -> Hearing:
        return self.hearing


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("sheet", ["transaxle-drain-fill", "engine-oil-filter"])
def test_a_question_is_answered_from_the_sheet_and_records_nothing(bench, sheet, question):
    job = bench(sheet)
    reply = job.ok(question)
    assert reply.spoken.startswith("The sheet says ")
    assert "service information" in reply.shown
    assert not reply.entries
    assert not free_text(pieces_of(reply.spoken, CLIPS))


def test_the_torque_is_that_of_the_step_at_hand(bench):
    job = bench()
    drain = next(s.step.torque for s in job.state.steps if s.step.key == "drain-plug-in")
    first = job.ok("what torque")
    assert first.spoken.startswith("The sheet says torque drain plug, ")
    assert f"drain plug {drain.value} lbf·ft ± {drain.tolerance}" in first.shown
    job.say("drain plug in", "torque four one foot pounds", "fill plug in")
    assert job.say("what's the torque").spoken.startswith("The sheet says torque fill plug, ")


def test_of_several_at_hand_one_is_said_and_all_are_shown(bench):
    reply = bench(steps=TWO).ok("what torque")
    assert reply.spoken == "The sheet says torque left plug, two four newton-meters."
    assert reply.shown.startswith("The sheet says: left plug 24 N·m ± 3")
    job = bench(steps=TWO)
    job.say("left in", "torque two four newton meters")
    reply = job.ok("what torque")
    assert reply.spoken.endswith("right plug, three zero newton-meters, angle nine zero degrees.")
    assert "then 90°" in reply.shown


def test_of_several_the_first_of_the_sheet_is_said_though_it_comes_twice(bench):
    again = TWO.split("[[steps]]")[1].replace('"left-in"', '"again"').replace("left in", "again")
    before = '[[steps]]\nkey = "clean"\ntitle = "Clean"\nsay = ["all clean"]\n'
    reply = bench(steps=f"{before}{TWO}[[steps]]{again}").ok("what torque")
    assert reply.spoken.startswith("The sheet says torque left plug, two four newton-meters.")
    assert reply.shown.startswith("The sheet says: left plug 24 N·m ± 3; right plug 30 N·m ± 3")


def test_the_amount_comes_with_what_is_in_and_what_came_out(bench):
    job = bench()
    only = job.say("how much fluid")
    job.say("drained three point one quarts", "one quart in")
    reply = job.ok("how many quarts")
    assert reply.spoken == f"{only.spoken} Three point one quarts drained. One quart in."


def test_what_a_sheet_has_not_is_not_asked_of_it(bench):
    job = bench(steps=NUTS)
    assert job.say("what torque").tone == "ok"
    assert job.say("which fluid").spoken == "Say again."


def hearing(*texts: str) -> Hearing:
    others = tuple(Alternative(text, 0.3) for text in texts[1:])
    return Hearing(texts[0], Verdict.ASK, 0.5, others)


def test_heard_unclearly_a_question_is_answered_and_nothing_sounds_recorded(bench):
    job = bench()
    job.session.engine = Heard(hearing("how many quarts", "how much is in"))
    reply = job.session.hear(SOUND, by="Imani Okafor")
    assert reply.spoken.startswith("The sheet says ")
    assert reply.tone == "again"
    assert {e.kind for e in reply.entries} <= {"heard"}


def test_where_a_value_may_have_been_said_it_is_asked_about(bench):
    job = bench()
    job.session.engine = Heard(hearing("what torque", "torque four one foot pounds"))
    reply = job.session.hear(SOUND, by="Imani Okafor")
    assert reply.spoken.endswith("or second, torque four one foot pounds?")
    assert job.state.question is not None
    assert not job.state.values
