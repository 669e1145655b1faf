"""What resembles a phrase and says that the thing is not done records nothing."""

from pathlib import Path

import pytest

from joblog.audio.files import read_audio
from joblog.audio.types import Utterance
from joblog.job.foils import TAG, foils_of
from joblog.job.meaning import meaning_of
from joblog.job.phrases import phrases_of
from joblog.sheet.fragments import expansions
from joblog.sheet.load import library, load_sheet
from joblog.speech.engines import get_engine
from joblog.speech.types import Alternative, Hearing, Verdict

SOUNDS = Path(__file__).parent / "foils"


@pytest.mark.parametrize(
    "said",
    [
        "chocks aren't in",
        "chocks not in",
        "are the chocks in",
        "put the chocks in",
        "still dripping",
        "it's still dripping",
        "has not stopped dripping",
        "there are leaks",
        "there's a leak",
        "any leaks",
        "fill it up",
        "filling not done",
        "job not done",
        "is job done",
        "torque it to forty one foot pounds",
    ],
)
def test_what_is_not_done_is_understood_as_that(bench, said):
    job = bench()
    before = job.state.entries
    reply = job.say(said)
    assert "Nothing was recorded" in reply.shown
    assert reply.spoken == ""
    assert job.state.entries == before


@pytest.mark.parametrize("key", sorted(library()))
def test_no_foil_is_a_phrase_and_every_phrase_stays_one(key):
    sheet = load_sheet(library()[key])
    foils = set(foils_of(phrases_of(sheet)))
    assert foils
    for step in sheet.steps:
        for say in step.say:
            for form in expansions(say):
                assert form not in foils
                meaning = meaning_of(form, sheet)
                assert meaning is not None
                assert meaning.act != TAG


@pytest.mark.parametrize("path", sorted(SOUNDS.glob("*.flac")), ids=lambda path: path.stem)
def test_heard_in_noise_it_marks_nothing(bench, path):
    job = bench()
    job.session.engine = get_engine()
    reply = job.session.hear(Utterance(read_audio(path).samples), by="Imani Okafor")
    assert reply.tone in ("none", "again")
    assert job.state.marks == ()
    assert job.state.values == ()
    assert not job.state.closed


HEARD = "drain plug isn't in", "drain plug in"


@pytest.mark.parametrize(
    ("sure", "other", "asked"),
    [
        (0.9, 0.05, ""),  # it is not done: nothing to say
        (0.6, 0.1, ""),  # nor is a question about an unlikely phrase worth it
        (0.5, 0.4, "Drain plug in? Affirm or negative."),  # never asked whether it is not done
    ],
)
def test_beside_a_foil_only_a_likely_phrase_is_asked_about(bench, sure, other, asked):
    job = bench()
    verdict = Verdict.ACCEPT if sure > 0.8 else Verdict.ASK
    hearing = Hearing(HEARD[0], verdict, sure, (Alternative(HEARD[1], other),), engine="test")
    reply = job.session._understood(hearing, "Imani Okafor", "")
    assert reply.spoken == asked
    assert job.state.marks == ()


@pytest.mark.parametrize(
    "said",
    [
        "three quarts aren't in",
        "one quart isn't in yet",
        "is one quart in",
        "another quart to go",
        "let's add one quart",
        "another quart please",
        "let me add another quart",
        "torque drain plug isn't 41 foot pounds",
        "torque drain plug not 41",
        "drain plug not torqued to 41",
        "fluid temperature isn't 75 degrees",
        "fluid temperature not yet 70",
    ],
)
def test_a_value_that_is_denied_or_still_to_come_is_not_recorded(bench, said):
    job = bench()
    reply = job.say(said)
    assert "Nothing was recorded" in reply.shown
    assert reply.spoken == ""
    assert not job.state.values
    assert not job.state.waiting


@pytest.mark.parametrize(
    "said",
    [
        "almost three quarts out",
        "a little under three quarts out",
        "drained about 3 quarts",
        "four quarts less a cup",
        "a couple of quarts in",
        "one quart in and one quart out",
        "fluid temperature over one hundred",
        "torque drain plug about 41",
        "drain plug torqued to at least forty one",
        "torque drain plug forty to forty two foot pounds",
        "torque drain plug between forty and forty two",
        "torque drain plug forty one no forty two foot pounds",
        "three or four quarts in",
        "fluid temperature seventy or seventy five",
        "fluid temperature seventy no seventy five degrees",
    ],
)
def test_a_vague_value_is_asked_for_and_not_recorded(bench, said):
    job = bench()
    reply = job.say(said)
    assert (reply.spoken, reply.tone) == ("Say again.", "again")
    assert "say one value by itself" in reply.shown
    assert not job.state.values


@pytest.mark.parametrize("said", ["two two five", "four one", "two to one", "forty two one"])
def test_figures_with_a_two_in_them_are_no_range(bench, said):
    meaning = meaning_of(f"torque drain plug {said}", bench().session.sheet)
    assert meaning is None or meaning.act == "torque"
