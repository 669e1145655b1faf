"""What is unclear to one recogniser counts where the note-taking one has the same numbers."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from reader import listener

from joblog.audio.files import read_audio
from joblog.audio.types import Utterance
from joblog.job.free_words import numbers_in
from joblog.sheet.load import library
from joblog.speech.engines import get_engine
from joblog.speech.types import Alternative, Hearing, Verdict

SOUNDS = Path(__file__).parent / "both_ears"
DRAIN = "torque drain plug {} foot pounds"


@pytest.fixture
def listening(transaxle):
    return listener(transaxle)


@pytest.fixture
def transaxle(bench):
    toml = library()["transaxle-drain-fill"].read_text(encoding="utf-8")
    return bench(toml=toml, override="a test")


def torques(job):
    return [v.entry.body["value"] for v in job.state.values if v.entry.kind == "torque"]


def unclear(job, heard, free, *others, share=0.4, sure=0.5):
    job.engine.dictation = free
    return job.hear(heard, "ask", *others, share=share, sure=sure)


@pytest.mark.parametrize(
    "free", ["Torque drain plug 41 foot-pounds.", "okay, the drain plug torqued to forty one fort"]
)
def test_the_same_number_in_both_counts(listening, free):
    unclear(listening, DRAIN.format("forty one"), free, DRAIN.format("forty five"))
    assert torques(listening) == ["41"]
    heard = next(e for e in listening.state.entries if e.kind == "heard")
    assert heard.body["verdict"] == "accept"
    assert heard.body["confidence"] == "0.5000"  # what it was, and why it counts
    assert free in heard.body["why"]


@pytest.mark.parametrize(
    "free",
    ["", "Torque drain plug.", "Torque drain plug 45.", "drain plug 1, 41"]
    + [f"{more} torque drain plug 41" for more in ("about", "is it", "not")],
)
def test_anything_else_is_asked_about(listening, free):
    unclear(listening, DRAIN.format("forty one"), free, DRAIN.format("forty five"))
    assert torques(listening) == []
    assert len(listening.state.waiting) == 1


def test_what_it_is_of_must_be_clear(listening):
    other = "torque fill plug forty one foot pounds"
    unclear(listening, DRAIN.format("forty one"), "torque drain plug 41", other)
    assert torques(listening) == []


@pytest.mark.parametrize(
    ("heard", "free"),
    [
        ("fill plug torque forty one foot pounds", "Wheel lug torque 41 foot pounds."),
        ("torque forty one foot pounds", "Wheel lug torque 41 foot pounds."),
        (DRAIN.format("forty one"), "Torque fill plug 41 foot pounds."),
        (DRAIN.format("forty one"), "41"),
        ("two quarts went in", "2 quarts came out"),
        ("two and a half quarts went in", "2 quarts went in"),
        ("three quarters of a quart went in", "3 quarts went in"),
        ("three quarts went in", "three quarters of a quart went in"),
        ("a quart and four ounces went in", "4 ounces went in"),
        ("four ounces went in", "A quart and 4 ounces went in"),
    ],
)
def test_the_same_number_of_something_else_is_asked_about(listening, heard, free):
    unclear(listening, heard, free, sure=0.85)
    assert listening.state.values == ()
    assert len(listening.state.waiting) == 1


def test_a_unit_that_may_have_been_said_is_asked_about(listening):
    inches = "torque drain plug forty one inch pounds"
    unclear(listening, "torque drain plug forty one", "torque drain plug 41", inches)
    assert torques(listening) == []
    assert len(listening.state.waiting) == 1


@pytest.mark.parametrize(
    ("heard", "free", "counts"),
    [
        (DRAIN.format("forty one"), "torque drain plug 41 pounds", True),
        ("torque drain plug forty one newton meters", "torque drain plug 41 foot-pounds", False),
        ("torque drain plug forty one", "torque drain plug 41 Nm", False),
        ("fluid temperature sixty two degrees", "fluid temperature 62 degrees", True),
        ("fluid temperature sixty two degrees", "fluid temperature 62 Fahrenheit", False),
        ("fluid temperature sixty two celsius", "fluid temperature 62 degrees Fahrenheit", False),
        ("fluid temperature sixty two celsius", "fluid temperature 62 Kelvin", False),
    ],
)
def test_another_unit_in_free_words_is_asked_about(listening, heard, free, counts):
    unclear(listening, heard, free, sure=0.7)
    assert len(listening.state.values) == counts
    assert len(listening.state.waiting) == (not counts)


def test_an_amount_that_both_hear_is_recorded(listening):
    unclear(listening, "two quarts went in", "2 quarts went in.", sure=0.85)
    assert [str(value.value) for value in listening.state.values] == ["2"]


def test_what_is_hardly_heard_is_asked_about(listening):
    unclear(listening, DRAIN.format("forty one"), "torque drain plug 41", sure=0.45)
    assert torques(listening) == []


@pytest.mark.parametrize("said", ["four one", "thirty"])
def test_what_both_err_about_must_be_nearly_clear(listening, said):
    written = f"torque drain plug {'41' if said == 'four one' else '30'}"
    unclear(listening, DRAIN.format(said), written, sure=0.75)
    assert torques(listening) == []
    unclear(listening, DRAIN.format("four one"), "torque drain plug 41", sure=0.85)
    assert torques(listening) == ["41"]


def test_free_words_are_written_once(listening):
    written = []
    listening.engine.dictate = lambda _: written.append(1) or "torque drain plug 41 foot pounds"
    listening.hear(DRAIN.format("forty one"), "ask", sure=0.5)
    assert torques(listening) == ["41"]
    assert len(written) == 1


def test_one_recogniser_has_no_second_opinion(listening):
    listening.engine.second_opinion = False
    unclear(listening, DRAIN.format("forty one"), "torque drain plug 41")
    assert torques(listening) == []


def test_words_that_two_microphones_hear_are_asked_about_once(listening):
    job, forty = listening, DRAIN.format("forty one")
    job.engine.hearings = [
        Hearing(DRAIN.format("fifty one"), Verdict.ASK, 0.5, (Alternative(forty, 0.4),)),
        Hearing(forty, Verdict.ASK, 0.6),
    ]
    job.engine.dictation = "torque drain plug 41"
    sound = read_audio(SOUNDS / "forty-one_compressor-12.flac").samples
    for source in ("bench", "bay"):
        job.session.hear(Utterance(sound, source=source, at=10.0), by="Imani Okafor")
    assert torques(job) == []
    assert len(job.state.waiting) == 1


@pytest.fixture
def asked(listening):
    """A job that asks 41 or 51."""
    unclear(listening, DRAIN.format("fifty one"), "", DRAIN.format("forty one"))
    assert len(listening.state.waiting) == 1
    return listening


@pytest.mark.parametrize(
    ("heard", "free", "recorded"),
    [
        ([0.5, "forty one"], "41", ["41"]),
        ([0.5, "four two one", "forty one"], "41s", ["41"]),
        ([0.5, "fifty one", "forty one"], "51.", ["51"]),
        ([0.5, "forty one", "fifty one"], "51", []),  # each has another of both
        ([0.85, "forty five"], "45", ["45"]),  # neither: a third value, well heard
        ([0.5, "forty five"], "45", []),
        ([0.5, "forty one"], "", []),
        ([0.5, "forty one"], "it was 41", []),  # more than a number
        ([0.5, "four two one"], "41", []),  # never heard so
        ([0.9, "four one"], "41", []),  # figures have an ear of their own
    ],
)
def test_a_number_alone_answers(asked, heard, free, recorded):
    sure, best, *others = heard
    unclear(asked, best, free, *others, share=0.02, sure=sure)
    assert torques(asked) == recorded


def test_of_two_that_sound_alike_neither_is_taken(listening):
    unclear(listening, DRAIN.format("thirty"), "", DRAIN.format("thirteen"))
    unclear(listening, "thirteen", "13", "thirty", sure=0.85)
    assert torques(listening) == []
    assert listening.state.waiting


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        ("two hundred and ten degrees", [210]),
        ("between twelve and fourteen", [12, 14]),
        ("nut three torqued to one one zero", [3, 110]),
        ("minus three five celsius", [-35]),
        ("nine point five to ten", [Fraction("9.5"), 10]),
        ("drain plug out", []),
    ],
)
def test_numbers_in_their_order(words, numbers):
    assert numbers_in(words) == numbers


def heard_for_real(job, name):
    job.session.engine = get_engine()
    sound = read_audio(SOUNDS / f"{name}.flac").samples
    job.clock.advance(4)
    job.session.hear(Utterance(sound), by="Imani Okafor")


@pytest.mark.parametrize(
    ("options", "name", "recorded"),
    [
        (("fifty one", "forty one"), "forty-one_compressor-12", ["41"]),  # heard as 'four zero one'
        (("fifty", "sixty"), "sixty_wrench-8", []),  # heard as 'six eight', written as 16
        (("thirty", "thirteen"), "thirty_compressor-6", []),  # 13 to both
    ],
)
def test_a_number_alone_in_noise(listening, options, name, recorded):
    first, second = (DRAIN.format(option) for option in options)
    unclear(listening, first, "", second)
    heard_for_real(listening, name)
    assert torques(listening) == recorded


def test_figures_of_which_both_make_fourteen_are_not_recorded_as_that(transaxle):
    heard_for_real(transaxle, "drain-plug-four-two_wrench-8")
    assert torques(transaxle) == []


def test_a_range_that_both_hear_is_recorded(bench):
    job = bench(toml=library()["marine-gear"].read_text(encoding="utf-8"), override="a test")
    heard_for_real(job, "twelve-to-fourteen_compressor-6")
    (value,) = job.state.values
    assert (value.value, value.upper) == (12, 14)


def test_a_sentence_that_leaves_out_what_follows_is_not_believed(bench):
    job = bench(toml=library()["air-compressor"].read_text(encoding="utf-8"), override="a test")
    heard_for_real(job, "cut-out-pressure-nine-point-five-atmospheres")
    heard = next(e for e in job.state.entries if e.kind == "heard")
    assert heard.body["text"] == "cut out pressure nine"  # for which it was 0.98 sure
    assert heard.body["verdict"] == "ask"
    assert job.state.values == ()
