"""Real sound through the real recogniser into a real job: nothing here stands in for anything.

The sound is that of ``sample_audio/`` (synthetic voices in shop noise, see its README). What the
recogniser answers is not fixed in advance: what must hold is that a clear phrase becomes an entry
with its sound, that nothing unclear becomes one, and that chatter gets no answer.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from joblog.audio.files import read_audio
from joblog.demo.script import load_script
from joblog.speech.engines import get_engine

SOUNDS = {line.path.stem[:2]: line for line in load_script()}
TO_THE_DRAIN = (
    "vehicle checked", "vehicle level", "warm up done", "fluid temperature six five celsius",
    "wheels chocked", "on stands",
)  # fmt: skip


@pytest.fixture(scope="module")
def engine():
    return get_engine()


@pytest.fixture
def ears(bench, engine):
    job = bench()
    job.session.engine = engine

    def hear(number, by="Imani Okafor"):
        job.clock.advance(5)
        return job.session.hear(read_audio(SOUNDS[number].path), by=by)

    job.hear = hear
    return job


def kinds(job, since):
    return [e.kind for e in job.state.entries[since:]]


def test_a_phrase_in_shop_noise_becomes_an_entry_with_its_sound(ears):
    before = len(ears.state.entries)
    reply = ears.hear("01")  # "vehicle checked"
    assert reply.tone == "ok"
    assert kinds(ears, before) == ["heard", "step-done"]
    heard, done = ears.state.entries[before:]
    assert done.body["heard"] == heard.id
    assert ears.status("unit-checked") == "done"
    kept, rate = soundfile.read(
        io.BytesIO(ears.session.store.read_media(heard.media[0].sha256)), dtype="float32"
    )
    given = read_audio(SOUNDS["01"].path)
    assert rate == 16000
    assert len(kept) == len(given.samples)
    assert np.max(np.abs(kept - given.samples)) < 1e-3


def test_chatter_is_kept_as_sound_and_answered_by_nothing(ears):
    before = len(ears.state.entries)
    assert ears.hear("06").tone == "none"
    assert set(kinds(ears, before)) <= {"heard"}
    assert ears.state.question is None


def test_a_step_heard_too_early_and_taken_back_by_voice_stays_in_the_record(ears):
    ears.say(*TO_THE_DRAIN)
    assert ears.hear("09").tone == "warn"  # "drain plug out", before the fill plug
    ears.hear("10")  # "disregard"
    assert ears.status("drain-plug-out") == "open"
    kept = {f.key.split(":", 2)[2]: f for f in ears.state.findings if f.key.startswith("undone:")}
    assert kept["order:drain-plug-out:fill-plug-loose"].resolved == "taken back by Imani Okafor"


def test_a_torque_and_quarts_are_heard_with_their_figures(ears):
    ears.say(*TO_THE_DRAIN, "fill plug loose", "drain plug out", "drained three point seven quarts")
    ears.say("drain plug in")
    ears.hear("19")  # "torque, four one foot-pounds"
    ears.hear("20")  # "one quart in"
    ears.hear("21")  # "another"
    figures = [(v.entry.kind, v.value, v.unit) for v in ears.state.values[-3:]]
    assert figures == [
        ("torque", 41, "lbf.ft"),
        ("quantity", 1, "qt_us"),
        ("quantity", 1, "qt_us"),
    ]


def test_an_unclear_torque_is_asked_and_settled_by_saying_it_again(ears):
    ears.say(*TO_THE_DRAIN, "fill plug loose", "drain plug out", "drained three point seven quarts")
    ears.say("drain plug in", "torque four one", "three point seven quarts in", "filling done")
    ears.say("fill plug in")
    values = len(ears.state.values)
    assert ears.hear("28").tone == "again"  # a torque under an impact wrench
    assert len(ears.state.values) == values
    ears.hear("29")  # "two seven", said again
    assert ears.state.values[-1].value == 27
