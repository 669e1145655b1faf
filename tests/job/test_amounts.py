"""Amounts in quarters of a quart, in two units, and without a unit: typed, and heard in noise."""

from pathlib import Path

import pytest

from joblog.audio.files import read_audio
from joblog.audio.types import Utterance
from joblog.speech.engines import get_engine

SOUNDS = Path(__file__).parent / "amounts"


def amounts(job):
    bodies = [v.entry.body for v in job.state.values if v.entry.kind == "quantity"]
    return [f"{b['value']} {b['unit']} {b['direction']}" for b in bodies]


@pytest.mark.parametrize(
    ("said", "recorded"),
    [
        ("a quarter of a quart in", "0.25 qt_us in"),
        ("three quarters of a quart out", "0.75 qt_us out"),
        ("another quarter of a quart", "0.25 qt_us in"),
        ("another 1/4 quart", "0.25 qt_us in"),
        ("one more quart in", "1 qt_us in"),
        ("one more half quart", "0.5 qt_us in"),
        ("one more bottle", "1 qt_us in"),
        ("another quart and a half", "1.5 qt_us in"),
        ("two more quarts in", "2 qt_us in"),
        ("one quart four ounces in", "36 floz_us in"),
        ("3 quarts and 10 ounces out", "106 floz_us out"),
    ],
)
def test_it_is_recorded_as_it_was_said(bench, said, recorded):
    job = bench()
    job.say(said)
    assert amounts(job) == [recorded]


@pytest.mark.parametrize(
    ("said", "question", "recorded"),
    [
        ("one and a half in", "In, one point five quarts?", "1.5 qt_us in"),
        ("drained 3.3", "Out, three point three quarts?", "3.3 qt_us out"),
    ],
)
def test_without_a_unit_the_one_of_the_sheet_is_asked_about(bench, said, question, recorded):
    job = bench()
    reply = job.say(said)
    assert reply.spoken.startswith(question)
    assert "No unit was said" in reply.shown
    assert amounts(job) == []
    job.say("affirm")
    assert amounts(job) == [recorded]


def test_a_correction_without_a_unit_keeps_the_unit(bench):
    job = bench()
    job.say("drained 3.1 liters", "correction drained 3.3 liters", "correction 3.2")
    assert amounts(job) == ["3.2 L out"]


@pytest.mark.parametrize(
    ("name", "recorded", "asked"),
    [
        ("a-quarter-of-a-quart-in", ["0.25 qt_us in"], ""),
        ("one-quart-four-ounces-in", ["36 floz_us in"], ""),
        ("one-and-a-half-in", [], "In, one point five quarts?"),
    ],
)
def test_heard_in_noise_it_is_no_other_amount(bench, name, recorded, asked):
    job = bench()
    job.session.engine = get_engine()
    sound = read_audio(SOUNDS / f"{name}.flac")
    reply = job.session.hear(Utterance(sound.samples), by="Imani Okafor")
    assert amounts(job) == recorded
    assert reply.spoken.startswith(asked)
