"""A call for help, spoken, through the real recogniser into a real job.

The sound is synthetic (``data/spoken/README.md``). A lone "help" is a short word and isn't always
heard in noise: then joblog may ask or say nothing, and must record nothing by it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from joblog.audio.files import read_audio
from joblog.speech.engines import get_engine

SPOKEN = Path(__file__).parent / "data" / "spoken"
ASKING = {"heard", "asked"}


@pytest.fixture(scope="module")
def engine():
    return get_engine()


@pytest.fixture
def hear(bench, engine):
    job = bench()
    job.session.engine = engine
    job.ok("vehicle checked")

    def said(name):
        before = len(job.state.entries)
        job.clock.advance(5)
        reply = job.session.hear(read_audio(name), by="Imani Okafor")
        job.check_vocabulary(reply)
        return reply, {e.kind for e in job.state.entries[before:]}, job

    return said


@pytest.mark.parametrize(
    "name", ["help-imani", "help-marek", "help-marek-quiet", "what-can-i-say-imani"]
)
def test_spoken_help_is_answered_with_what_can_be_said_now(hear, name):
    reply, kinds, job = hear(SPOKEN / f"{name}.flac")
    assert reply.spoken == job.session.type_in("help", by="Imani Okafor").spoken
    assert "vehicle level" in reply.spoken  # the next step
    assert kinds == {"heard"}


def test_help_drowned_in_noise_records_nothing(hear, tmp_path):
    """White noise at -3 dB over the word: no step and no value comes of it."""
    clean = read_audio(SPOKEN / "help-marek.flac").samples
    noise = np.random.default_rng(5).normal(0, 1, len(clean))
    drowned = clean + noise * np.sqrt(2 * np.mean(clean**2))
    path = tmp_path / "drowned.wav"
    soundfile.write(path, 0.5 * drowned / np.abs(drowned).max(), 16_000)
    reply, kinds, job = hear(path)
    assert reply.tone in ("again", "none", "")
    assert kinds <= ASKING
    assert job.state.next_step.step.key == "level"
