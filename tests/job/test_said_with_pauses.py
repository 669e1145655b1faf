"""A phrase said with a pause in it, by real sound through the real segmenter and recogniser.

The words are the clips of the read-back's voice, joined with pauses of quiet noise between them.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
import soundfile

from joblog.audio.resample import Resampler
from joblog.audio.segment import Cut, Segmenter
from joblog.audio.types import RATE
from joblog.cli import main
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE as CLIP_RATE
from joblog.readback.sound import spoken_sound
from joblog.speech.breath import GO_ON, Breath
from joblog.speech.engines import get_engine

CLIPS = load_clips()
TO_THE_TORQUE = (
    "vehicle checked", "vehicle level", "warm up done", "fluid temperature six five celsius",
    "wheels chocked", "on stands", "fill plug loose", "drain plug out",
    "drained three point seven quarts", "drain plug in",
)  # fmt: skip


@pytest.fixture(scope="module")
def engine():
    return get_engine()


@pytest.fixture
def bay(bench, engine):
    job = bench()
    job.session.engine = engine
    job.say(*TO_THE_TORQUE)
    return job


def noise(seconds):
    generator = np.random.default_rng(5)
    return (1e-3 * generator.standard_normal(int(seconds * RATE))).astype(np.float32)


def words(*parts):
    """Return clips of the read-back's voice one after the other; a number is a pause in seconds."""
    sound = [noise(1.0)]
    for part in parts:
        if isinstance(part, float):
            sound.append(noise(part))
            continue
        samples = spoken_sound(part, CLIPS)
        sound.append(Resampler(CLIP_RATE).feed(samples))
    sound.append(noise(2.0))
    return np.concatenate(sound)


def listen(job, sound):
    """Play sound to an open microphone; return (seconds of sound so far, reply) of each."""
    segmenter, breath, replies = Segmenter(), Breath(), []
    for start in range(0, len(sound), 1600):
        ended = segmenter.feed(sound[start : start + 1600])
        made = [r for u in ended for r in job.session.listen(breath, u, "Imani Okafor")]
        if breath.silent(ended, segmenter.pause):
            made += job.session.listen(breath, None, "Imani Okafor")
        replies += [(start / RATE, reply) for reply in made if reply.spoken]
    return replies


def recorded(job):
    return [(v.entry.kind, v.value, v.unit) for v in job.state.values if v.entry.source == "voice"]


@pytest.mark.parametrize("pause", [0.6, 0.8, 1.0])
@pytest.mark.parametrize(
    ("before", "behind", "value"),
    [
        (("drain plug", "forty"), ("one foot-pounds",), ("torque", 41, "lbf.ft")),
        (("torque", "drain plug", "forty"), ("one", "foot-pounds"), ("torque", 41, "lbf.ft")),
        (("one",), ("point two", "quarts", "in"), ("quantity", Fraction(6, 5), "qt_us")),
    ],
)
def test_a_value_said_with_a_pause_in_it_is_recorded_whole_or_asked(
    bay, before, behind, value, pause
):
    listen(bay, words(*before, pause, *behind))
    asked = bay.state.question
    if asked is not None:
        bay.say("affirm")
        assert [(v.entry.kind, v.value, v.unit) for v in bay.state.values][-1] == value
    else:
        assert recorded(bay) == [value]


def test_a_number_without_a_unit_waits_for_silence_and_then_counts(bay):
    sound = words("drain plug", "forty one")
    loud = np.flatnonzero(np.abs(sound) > 0.02)[-1] / RATE
    replies = listen(bay, sound)
    assert len(replies) == 1
    assert loud + GO_ON - 0.2 <= replies[0][0] <= loud + GO_ON + 0.4


def test_what_is_complete_waits_for_nothing(bay):
    for said in (
        ("drain plug", "four one", "foot-pounds"),
        ("one", "quart", "in"),
        ("drain plug in",),
    ):
        sound = words(*said)
        loud = np.flatnonzero(np.abs(sound) > 0.02)[-1] / RATE
        replies = listen(bay, sound)
        assert replies[0][0] <= loud + Cut().hangover + 0.3, said


def test_a_rest_that_comes_after_its_first_part_was_recorded_is_asked_about(bay):
    replies = listen(bay, words("drain plug", "forty", 1.35, "one foot-pounds"))
    assert bay.state.question is not None
    assert "four one foot-pounds" in replies[-1][1].spoken
    bay.say("affirm")
    (torque,) = [v for v in bay.state.values if v.entry.kind == "torque"]
    assert torque.value == 41


def test_a_pause_behind_to_is_no_figure(bay):
    listen(bay, words("torque", "drain plug", "to", 0.8, "forty one"))
    assert recorded(bay) == []
    assert bay.state.question is not None
    bay.say("affirm")
    assert bay.state.values[-1].value == 41


def test_another_phrase_behind_a_number_is_not_taken_for_its_rest(bay):
    listen(bay, words("drain plug", "four one", 0.9, "fill plug loose"))
    assert {e.body["text"] for e in bay.state.entries if e.kind == "heard"} == {
        "drain plug four one", "fill plug loose",
    }  # fmt: skip


def test_the_same_holds_for_what_joblog_listen_prints(tmp_path, capsys):
    path = tmp_path / "said.wav"
    soundfile.write(path, words("drain plug", "forty", 0.8, "one foot-pounds"), RATE)
    assert main(["listen", "--sheet", "transaxle-drain-fill", "--source", str(path)]) == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert "'drain plug forty one foot pounds'" in line
