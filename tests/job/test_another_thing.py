"""What is heard as a thing of the sheet, where free words name another, is asked about."""

from __future__ import annotations

from pathlib import Path

import pytest
from reader import listener

from joblog.audio.files import read_audio
from joblog.job.another_thing import another_thing
from joblog.sheet.load import load_sheet
from joblog.speech.engines import get_engine

SPOKEN = Path(__file__).parent / "data" / "spoken"


@pytest.mark.parametrize(
    ("heard", "free", "sheet", "thing"),
    [
        ("drain plug torqued to forty one", "rear plug torqued to 41", "transaxle", "rear plug"),
        ("new filter fitted", "fuel filter fitted", "oil", "fuel filter"),
        (
            "front right nut torqued to one one five",
            "front left nut torque 115",
            "wheel",
            "left nut",
        ),
        ("two liters went in", "2 liters of oil in", "coolant", "oil"),
        ("two quarts in", "coolant 2 quarts in", "transaxle", "coolant"),
        # The same thing, as the note-taking recogniser writes it, or nothing that can be told.
        ("fill plug torque twenty seven", "fuel plug torque 27", "transaxle", ""),
        ("fill plug out", "Phil plug out", "transaxle", ""),
        ("four liters in", "4 liters of oil in", "oil", ""),
        ("two liters went in", "2 liters of coolant in", "coolant", ""),
        ("service reminder reset", "So this reminder reset", "transaxle", ""),
        ("new filter in", "Who filter in", "oil", ""),
        ("vehicle on stands", "people on stands", "transaxle", ""),
        ("new filter fitted", "new fuel filter fitted", "oil", "fuel"),
        ("pump running", "I'm running.", "hydraulic-pack", ""),
        ("fluid temperature five five", "fuel temperature 55", "cvt-drain-fill", ""),
        ("fluid temperature five five", "through temperature 55", "cvt-drain-fill", ""),
        ("new gasket fitted", "new gas kit fitted", "oil", ""),
        ("checked again", "left again", "wheel", ""),
        ("drain plug torqued to forty one", "drain plug to 41", "transaxle", ""),
        ("drain plug tightened", "drain club tightened", "transaxle", ""),
        ("drain plug out", "", "transaxle", ""),
    ],
)
def test_which_thing_free_words_name(heard, free, sheet, thing):
    keys = {"transaxle": "transaxle-drain-fill", "oil": "engine-oil-filter", "wheel": "wheel-refit"}
    assert another_thing(heard, spelt(free), load_sheet(keys.get(sheet, sheet))) == thing


@pytest.mark.parametrize(
    ("heard", "free", "sure", "done"),
    [
        ("chocks in", "Gear cover out.", 0.9, False),
        ("chocks in", "Gear cover out.", 0.99, True),  # free words may be of anybody else
        ("chocks in", "Jackson", 0.9, True),
        ("chocks in", "", 0.9, True),
    ],
)
def test_a_phrase_of_which_free_words_have_nothing_is_asked_about(bench, heard, free, sure, done):
    job = listener(bench())
    job.engine.dictation = free
    job.hear(heard, sure=sure)
    assert [mark.step for mark in job.state.marks] == (["chocked"] if done else [])


def spelt(free):
    from joblog.job.typed import ranges_apart, typed_words

    return typed_words(ranges_apart(free))


@pytest.mark.parametrize(
    ("heard", "free"),
    [
        ("torque drain plug four one foot pounds", "torque rear plug 41 foot pounds"),
        ("three quarts went in", "3 quarts of coolant went in"),
    ],
)
def test_a_value_of_another_thing_is_asked_about(bench, heard, free):
    job = listener(bench())
    job.engine.dictation = free
    job.hear(heard, sure=0.99)
    assert job.state.values == ()
    assert len(job.state.waiting) == 1


@pytest.fixture(scope="module")
def engine():
    return get_engine()


@pytest.mark.parametrize(("name", "done"), [("fuel", False), ("new", True)])
def test_another_filter_is_heard_for_real(bench, engine, name, done):
    """Real sound through the real recognisers; the phrase one alone hears both as the new filter.

    "Fuel filter fitted" is accepted at 0.9 and more without the other's word.
    """
    job = bench("engine-oil-filter")
    job.session.engine = engine
    reply = job.session.hear(read_audio(SPOKEN / f"{name}-filter-fitted.flac"))
    fitted = [mark.step for mark in job.state.marks]
    assert fitted == (["filter-on"] if done else [])
    assert (reply.spoken == "New filter fitted? Affirm or negative.") is not done
