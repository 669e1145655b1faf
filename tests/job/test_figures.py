"""Figures alone answer a question about a number: real sound through the real recogniser.

The voice is joblog's own read-back. What is asked comes of typed phrases, so that it is the same
each time.
"""

import numpy as np
import pytest

from joblog.audio.mixing import made_noise, mix
from joblog.audio.resample import Resampler
from joblog.audio.types import Utterance
from joblog.job.figures import figures_alone, number_alone
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE, spoken_sound
from joblog.speech.engines import get_engine
from joblog.speech.second_ear import HEAD, Head
from joblog.speech.voices import Voice

SHEET = """
[sheet]
key = "compressor"
title = "Air compressor"
revision = "1"
summary = "The compressor is checked."

[[steps]]
key = "nut"
title = "Nut tight"
say = ["nut tight"]
torque = { fastener = "nut", value = 30, unit = "N.m", tolerance = 6 }
"""
BY, OTHER = "Imani Okafor", "Ray Dietz"


def sound(words, ratio=20.0):
    spoken = np.asarray(spoken_sound(words, load_clips()), np.float32).reshape(-1)
    spoken = Resampler(RATE).feed(np.pad(spoken, RATE // 3))
    rng = np.random.default_rng(1)
    return Utterance(mix(spoken, made_noise(len(spoken), rng), ratio, rng))


@pytest.fixture
def job(bench):
    job = bench(toml=SHEET)
    job.session.engine = get_engine()
    return job


def asked(job, phrase="torque nut thirteen newton meters"):
    reply = job.session.type_in(phrase, by=BY)
    assert reply.tone == "again", reply
    assert job.state.question is not None
    return job


def torques(job):
    return [(value.value, value.unit) for value in job.state.values]


def test_figures_choose_an_option(job):
    reply = asked(job).session.hear(sound("three oh"), by=BY)
    assert reply.tone == "ok", reply
    assert torques(job) == [(30, "N.m")]
    assert job.state.question is None
    heard = [e for e in job.state.entries if e.kind == "heard"][-1]
    assert heard.body["text"] in ("three oh", "three zero")


def test_figures_that_are_no_option_take_its_place(job):
    asked(job).session.hear(sound("three one"), by=BY)
    assert torques(job) == [(31, "N.m")]
    assert job.state.question is None


def test_figures_keep_the_unit_that_was_asked_about(job):
    asked(job, "torque nut thirteen foot pounds")
    job.session.hear(sound("three oh"), by=BY)
    assert torques(job) == [(30, "lbf.ft")]


def test_figures_without_a_question_mean_nothing(job):
    before = len(job.state.values)
    assert job.session.hear(sound("three oh"), by=BY).tone in ("none", "again")
    assert job.session.type_in("three oh", by=BY).tone == "again"
    assert len(job.state.values) == before


def test_figures_of_somebody_else_are_no_answer(job):
    asked(job).session.hear(sound("three oh"), by=OTHER)
    assert not torques(job)
    assert job.state.question is not None


def test_an_old_question_hears_no_figures(job):
    asked(job)
    job.clock.advance(180)
    job.session.hear(sound("three oh"), by=BY)
    assert not torques(job)


def test_a_phrase_that_is_clear_still_counts_as_it_was_said(job):
    asked(job).session.hear(sound("torque nut two nine newton meters"), by=BY)
    assert torques(job) in ([(29, "N.m")], [])  # recorded, or asked about: never anything else


def test_a_learnt_voice_is_asked_and_named_in_the_record(job):
    voice = Voice(BY, "2026-11-26", 1, 2, 3, Head.load(HEAD))
    job.session.voice_of = {BY: voice}.get
    asked(job).session.hear(sound("three oh"), by=BY)
    heard = [e for e in job.state.entries if e.kind == "heard"][-1]
    assert heard.body["engine"] == "joblog, voice learnt 2026-11-26"
    assert torques(job) == [(30, "N.m")]


@pytest.mark.parametrize("text", ["", "four", "four one four one", "forty one", "four foot"])
def test_other_sentences_are_no_figures(text):
    assert not figures_alone(text)


def test_a_number_alone_is_understood_in_words_and_figures(job):
    sheet = job.session.sheet
    for text, value in (
        ("four one", 41),
        ("forty one", 41),
        ("uh four one", 41),
        ("one oh five", 105),
    ):
        meant = number_alone(text, sheet)
        assert meant is not None, text
        assert (meant.value, meant.correction) == (value, False)
    assert number_alone("correction four one", sheet) is None
    assert number_alone("nut tight", sheet) is None


@pytest.mark.parametrize("lead", ["uh", "okay"])
def test_a_hesitating_number_is_never_the_first_one(job, lead):
    asked(job)
    for seed in (0, 1, 2):
        job.session.hear(sound(f"{lead} four one", 8.0 + seed), by=BY)
    assert torques(job) in ([], [(41, "N.m")]), "13 was the first option"


def test_a_number_in_words_answers_too(job):
    asked(job).session.hear(sound("thirty one"), by=BY)
    assert torques(job) in ([(31, "N.m")], []), "recorded or asked again, never another number"
    if not torques(job):
        assert job.session.last_reply.tone == "again"


def test_a_typed_number_answers_too(job):
    asked(job).session.type_in("31", by=BY)
    assert torques(job) == [(31, "N.m")]


def test_a_number_is_no_answer_once_work_has_gone_on(job):
    asked(job)
    job.session.type_in("nut tight", by=BY)
    before = torques(job)
    job.session.hear(sound("three oh"), by=BY)
    assert torques(job) == before
