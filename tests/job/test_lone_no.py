"""A step that free words deny is asked about; a lone no answers a question and opens no note."""

from __future__ import annotations

import numpy as np
import pytest
from reader import Reader, listener

from joblog.audio.types import RATE, Utterance
from joblog.job.denials import denies
from joblog.job.lone_no import NOTE, heard_no, says_no
from joblog.job.noting import NoteTaker
from joblog.speech.breath import Said
from joblog.speech.types import Hearing, Verdict

LIKE_NOTE, LIKE_NO, EITHER = (
    {"note": -2.0, "no": -6.0},
    {"note": -6.0, "no": -3.0, "nope": -3.0},
    {"note": -2.0, "nope": -3.0},
)


@pytest.fixture
def listening(bench):
    return listener(bench())


@pytest.mark.parametrize(
    ("said", "free", "recorded"),
    [
        ("fill plug in complete", "The fill plug won't come loose.", False),
        ("drain plug out", "I haven't taken the drain plug out.", False),
        ("wheels chocked", "The wheels are not chocked.", False),
        ("drain plug in", "I'm going to put the drain plug in.", False),
        ("no leaks", "I cannot say no leaks.", False),
        ("vehicle level", "The vehicle is in level.", False),  # how "isn't" is written
        ("no leaks", "No leaks.", True),
        ("drain plug in", "The drain plug is in.", True),
        ("filling done is now done", "Filling done is not done.", True),  # 'now' is written so
        ("chocks in", "Chocks on time.", True),
        ("draining done", "", True),
    ],
)
def test_a_step_that_free_words_deny_is_asked_about(listening, said, free, recorded):
    listening.engine.dictation = free
    reply = listening.hear(said)
    done = [e for e in listening.state.entries if e.kind == "step-done"]
    assert bool(done) is recorded
    assert reply.spoken.endswith("Affirm or negative.") is not recorded


@pytest.mark.parametrize(("free", "recorded"), [("Fill plug in done.", 1), ("It won't go in.", 0)])
def test_a_step_of_unclear_wording_is_asked_about_too(listening, free, recorded):
    listening.engine.dictation = free
    listening.hear("fill plug in complete", "ask", "fill plug in done", share=0.49)
    done = [e for e in listening.state.entries if e.kind == "step-done"]
    assert len(done) == recorded


def test_what_records_nothing_costs_no_second_hearing(listening):
    def dictate(_):
        raise AssertionError

    listening.engine.dictate = dictate
    for said in ("help", "say again", "drain plug isn't in"):
        listening.hear(said)


@pytest.mark.parametrize("said", ["what's next", "what is missing"])
def test_a_question_in_which_the_note_taker_hears_no_word_is_not_answered(listening, said):
    listening.engine.dictation = said.capitalize() + "?"
    answer = listening.hear(said).spoken
    assert answer != "Say again."
    listening.engine.dictation = " "
    assert listening.hear(said).spoken == "Say again."


@pytest.mark.parametrize("free", ["can't", "NOT", "we'll see", "about", "or", "can you", "so?"])
def test_each_kind_of_denial_is_known(free):
    assert denies(f"Drain plug out {free}", "drain plug out")


@pytest.mark.parametrize("free", ["knot", "nor", "iffy", "well", "wrote", "aboutness", "on tin"])
def test_words_that_look_like_a_denial_are_none(free):
    assert not denies(f"Drain plug out {free}", "drain plug out")


@pytest.mark.parametrize(
    "said",
    ["No.", "Nope", "no, no.", "Know that's wrong.", "That isn't right.", "That is not correct."],
)
def test_free_words_that_are_nothing_but_a_no(said):
    assert says_no(said)


@pytest.mark.parametrize(
    "said", ["", "Note", "That is right.", "No leaks", "now", "No, 42.", "nose"]
)
def test_free_words_that_are_no_mere_no(said):
    assert not says_no(said)


def _ask(job):
    job.hear("two one quarts in")
    assert job.state.waiting


@pytest.mark.parametrize("heard", ["note", "no"])
def test_a_lone_no_answers_the_question(listening, heard):
    _ask(listening)
    listening.engine.scores = LIKE_NO
    assert listening.hear(heard).spoken.startswith("Nothing noted.")
    assert not listening.state.waiting
    assert not listening.state.values
    assert listening.state.entries[-2].body["text"] == "negative"


@pytest.mark.parametrize("free", ["That isn't right.", "No, no."])
def test_an_unclear_no_is_told_by_its_free_words(listening, free):
    _ask(listening)
    listening.engine.dictation = free
    assert listening.hear("that is correct", "ask").spoken.startswith("Nothing noted.")
    assert not listening.state.waiting


def test_what_is_clear_or_long_or_no_answer_is_no_lone_no(listening):
    _ask(listening)
    listening.engine.dictation = "That is right."
    listening.hear("that is correct", "ask")
    listening.engine.dictation = "No."
    listening.hear("read back")
    listening.hear("that is correct", "ask", seconds=3.0)
    assert not listening.state.waiting
    _ask(listening)
    long = Utterance(np.zeros(5 * RATE, np.float32))
    unclear = Hearing("that is correct", Verdict.ASK, 0.5)
    assert heard_no(listening.engine, long, unclear, asked=True) is unclear


@pytest.mark.parametrize("heard", ["note", "no"])
def test_what_may_be_a_note_or_a_no_is_to_be_said_again(listening, heard):
    _ask(listening)
    listening.engine.scores = EITHER if heard == "note" else LIKE_NOTE
    assert listening.hear(heard).spoken == "Say again."
    assert len(listening.state.waiting) == 1


def test_a_note_is_a_note_beside_a_question(listening):
    _ask(listening)
    listening.engine.scores = LIKE_NOTE
    listening.hear("note")
    assert [q.about for q in listening.state.questions][-1] == "note"


@pytest.mark.parametrize(("scores", "opened"), [(LIKE_NO, 0), (EITHER, 1), (LIKE_NOTE, 1), ({}, 1)])
def test_without_a_question_only_a_note_opens_one(listening, scores, opened):
    listening.engine.scores = scores
    reply = listening.hear("note")
    assert len(listening.state.questions) == opened
    assert (reply.tone == "none") is not opened


def test_an_engine_without_a_second_recogniser_is_asked_for_free_words(listening):
    listening.engine.dictation = "Nope."
    listening.hear("note")
    assert not listening.state.questions


def test_talk_of_others_is_not_asked_for_a_no(listening):
    listening.engine.dictation = "No."
    rejected = Hearing("no niner", Verdict.REJECT, 0.1)
    near = Utterance(np.zeros(RATE, np.float32))
    radio = Utterance(np.zeros(RATE, np.float32), among_talk=True)
    assert heard_no(listening.engine, near, rejected, asked=True).text == "negative"
    assert heard_no(listening.engine, near, rejected, asked=False) is rejected
    assert heard_no(listening.engine, radio, rejected, asked=True) is rejected


def test_nope_opens_no_note_at_a_microphone_without_a_job(listening):
    engine = Reader()
    said = Said(
        Utterance(np.zeros(RATE, np.float32)), Hearing(NOTE, Verdict.ACCEPT, 0.9, engine="reader")
    )
    for scores, waits in ((LIKE_NO, False), (LIKE_NOTE, True)):
        engine.scores = scores
        taker = NoteTaker(engine, listening.session.sheet)
        taker.look(said)
        assert taker.expects(said.utterance) is waits
