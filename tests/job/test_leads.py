"""What people say before they say something ('uh', 'okay') is no part of it."""

from pathlib import Path

import pytest

from joblog.audio.files import read_audio
from joblog.audio.types import Utterance
from joblog.job.grammar import LEADS
from joblog.job.meaning import meaning_of
from joblog.speech.engines import get_engine

SOUNDS = Path(__file__).parent / "leads"


@pytest.mark.parametrize("lead", LEADS)
@pytest.mark.parametrize(
    "phrase", ["vehicle checked", "one quart in", "correction four two foot pounds", "affirm"]
)
def test_a_lead_changes_no_meaning(bench, lead, phrase):
    sheet = bench().session.sheet
    assert meaning_of(f"{lead} {phrase}", sheet) == meaning_of(phrase, sheet)
    assert meaning_of(lead, sheet) is None


@pytest.mark.parametrize(
    ("name", "steps", "quarts"),
    [
        ("so-vehicle-checked", ["unit-checked"], []),
        ("um-drain-plug-out", ["drain-plug-out"], []),
        ("so-one-quart-in", [], [1]),
        ("alright-one-quart-in", [], [1]),
    ],
)
def test_heard_behind_a_lead(bench, name, steps, quarts):
    """In noise a lead that can't be said is heard as a number: 'eight one quarts in'."""
    job = bench()
    job.session.engine = get_engine()
    job.session.hear(Utterance(read_audio(SOUNDS / f"{name}.flac").samples), by="Imani Okafor")
    assert [mark.step for mark in job.state.marks] == steps
    assert [value.value for value in job.state.values] == quarts
