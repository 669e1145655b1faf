"""Amounts that begin like 'okay' or 'uh', and values that free words deny, are asked about."""

from __future__ import annotations

from dataclasses import replace

import pytest
from reader import listener

from joblog.job.listening import behind_a_lead
from joblog.speech.types import Hearing, Verdict


@pytest.fixture
def listening(bench):
    return listener(bench())


@pytest.mark.parametrize(
    ("said", "question"),
    [
        ("two one quarts in", "First, two one quarts in, or second, one quart in?"),
        ("eight two quarts in", "First, eight two quarts in, or second, two quarts in?"),
        ("zero point one quarts in", "First, zero point one quarts in, or second, one quart in?"),
    ],
)
def test_a_lead_before_an_amount_may_be_its_first_figure(listening, said, question):
    reply = listening.hear(said)
    assert reply.spoken == question
    assert listening.state.values == ()
    listening.hear("second")
    assert [v.unit for v in listening.state.values] == ["qt_us"]
    assert listening.state.values[0].value in (1, 2)


@pytest.mark.parametrize("said", ["two quarts in", "twenty one quarts in", "okay one quart in"])
def test_other_amounts_are_not_taken_for_a_lead(listening, said):
    assert "or second, one quart in" not in listening.hear(said).spoken


def test_a_clear_decimal_is_one(bench):
    hearing = Hearing("zero point five quarts in", Verdict.ACCEPT, 0.995, engine="reader")
    sheet = bench().session.sheet
    assert behind_a_lead(sheet, hearing) is hearing
    assert behind_a_lead(sheet, replace(hearing, confidence=0.95)).verdict is Verdict.ASK


@pytest.mark.parametrize(
    ("said", "free", "recorded"),
    [
        ("torque drain plug is four one foot pounds", "Torque drain plug isn't 41.", []),
        ("three quarts went in", "3 quarts aren't in.", []),
        ("three quarts added", "3 quarts on tin.", []),
        ("three quarts went in", "3 quarts went in.", [3]),
        ("torque drain plug is four one foot pounds", "Torque drain plug is 41.", [41]),
        ("torque drain plug four one foot pounds", "Torque, drain plug, about 41.", []),
        ("add two quarts", "I'll add 2 quarts.", []),
        ("three quarts in", "3 or 4 quarts in.", []),
        ("torque drain plug four niner foot pounds", "Torque drain plug 4-9 or foot pounds.", [49]),
    ],
)
def test_a_value_that_free_words_deny_is_asked_about(listening, said, free, recorded):
    listening.engine.dictate = lambda _: free
    reply = listening.hear(said)
    assert [v.value for v in listening.state.values] == recorded
    if not recorded:
        assert reply.spoken.endswith("Affirm or negative.")


@pytest.mark.parametrize(
    ("heard", "free", "asked"),
    [
        (
            "fluid temperature sixty five",
            "Fluid temperature 65.25 celsius.",
            "six five point two five",
        ),
        ("fluid temperature sixty five", "Fluid temperature 12600 millis.", "six five degrees"),
        (
            "torque drain plug one hundred fifty five foot pounds",
            "torque drain plug 115 and a half foot pounds",
            "one five five foot-pounds",
        ),
        (
            "torque drain plug forty one foot pounds",
            "torque drain plug 41 newton meters",
            "newton-meters",
        ),
        ("torque drain plug forty one", "Turqued rain plug 41.125 foot pounds", "four one"),
        ("torque drain plug forty one", "torque drain plug 41 newton meters", "four one"),
        ("one quart in", "One quart each in.", "one quart in"),
        ("fluid temperature sixty five celsius", "fluid temperature 65 Kelvin", "six five"),
        ("three and two tenths quarts in", "3 and 2 fifths quarts in", "three point two"),
        ("drained three point seven quarts", "drained 3.4 quarts", "three point four quarts"),
        ("point two quarts out", "all two quarts out", "point two quarts"),
        ("zero point two quarts in", "Gear all 2 meters in.", "zero point two quarts"),
    ],
)
def test_another_value_in_free_words_is_asked_about(listening, heard, free, asked):
    listening.engine.dictation = free
    listening.hear(heard, sure=0.99)
    assert listening.state.values == ()
    assert len(listening.state.waiting) == 1
    assert asked in listening.state.question.entry.body["question"]


@pytest.mark.parametrize(
    ("heard", "free"),
    [
        ("fluid temperature sixty five", ""),
        ("fluid temperature sixty five", "fluid temperature 65 degrees Celsius"),
        ("torque drain plug forty one", "torque drain plug 41 foot-pounds"),
        ("fluid temperature sixty five", "3, 10, 1, 150"),  # noise
        ("fluid temperature sixty five", "Loved temperature 62."),  # of what?
        ("fluid temperature seventy two celsius", "fluid temperature 70-2 Celsius"),
        ("torque drain plug two nine foot pounds", "torque drain plug to 9 foot pounds"),
        ("drain plug torqued to forty one", "drain plug torqued 241"),
        ("drained two and a quarter quarts", "drained 2.25 quarts"),
        ("torque fill plug twenty three foot pounds", "torque fill plug 20 free foot pounds"),
        ("fluid temperature fifty two degrees", "fluid temperature 50 to degrees"),
        ("torque fill plug twenty foot pounds", "torque fill plug 24 to pound"),
        ("drained two and a quarter quarts", "drained two and a quarter quarts"),
        ("drain plug torqued to forty one foot pounds", "drain plug torqued 41 foot-ounce"),
        ("one quart four ounces in", "One quart four ounces in."),
        ("drained two quarts and six ounces", "drained 2 quarts and 6 ounces"),
        ("point five quarts in", "0. 5 quartz in"),
        ("point five quarts in", "0.5 quarts in."),
        ("zero point five quarts in", ".5 quarts in"),
        ("torque drain plug forty one foot pounds", "torque drain plug 40 1 foot pounds"),
    ],
)
def test_the_same_value_or_none_in_free_words_asks_nothing(listening, heard, free):
    listening.engine.dictation = free
    listening.hear(heard, sure=0.99)
    assert len(listening.state.values) == 1, listening.state.question


@pytest.mark.parametrize("start", ["no", "sorry", "make that"])
def test_a_value_mended_without_the_word_correction_is_asked_about(listening, start):
    listening.hear("torque drain plug four one foot pounds")
    reply = listening.hear(f"{start} four two foot pounds")
    assert reply.spoken.startswith("Correction, torque drain plug, four two foot-pounds?")
    assert [v.value for v in listening.state.values] == [41]
    listening.hear("affirm")
    assert [v.value for v in listening.state.values] == [42]


@pytest.mark.parametrize("first", [(), ("drained 33 quarts",)])  # nothing, or a question, is there
def test_a_mend_of_nothing_that_was_recorded_is_to_be_said_again(listening, first):
    listening.say(*first)
    reply = listening.hear("no three quarts")
    assert (reply.spoken, reply.tone) == ("Say again.", "again")
    assert "say “correction” and the value" in reply.shown
    assert listening.state.values == ()


def test_a_mend_of_what_nothing_like_was_recorded_is_not_asked_about(listening):
    listening.hear("torque drain plug four one foot pounds")
    assert "say “correction” and the value" in listening.hear("no three quarts").shown
    assert not listening.state.waiting
    told = listening.say("correction three quarts").shown
    assert told == "Nothing to correct: there is no such value yet."


def test_a_no_opens_no_note(listening):
    assert listening.hear("no").tone == "none"
    assert not [e for e in listening.state.entries if e.kind == "asked"]
