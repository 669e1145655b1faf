"""A call for help, spoken, through the real recogniser into a real job.

The sound is synthetic (``data/spoken/README.md``). A lone "help" is a short word and is heard badly
in noise: then joblog may ask, and must record nothing by it.
"""

from __future__ import annotations

from pathlib import Path

import pytest

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
        reply = job.session.hear(read_audio(SPOKEN / f"{name}.flac"), by="Imani Okafor")
        job.check_vocabulary(reply)
        return reply, {e.kind for e in job.state.entries[before:]}, job

    return said


@pytest.mark.parametrize("name", ["help-imani", "help-marek-quiet", "what-can-i-say-imani"])
def test_spoken_help_is_answered_with_what_can_be_said_now(hear, name):
    reply, kinds, job = hear(name)
    assert reply.spoken == job.session.type_in("help", by="Imani Okafor").spoken
    assert "vehicle level" in reply.spoken  # the next step
    assert kinds == {"heard"}


def test_help_that_is_not_understood_records_nothing(hear):
    reply, kinds, job = hear("help-marek")
    assert reply.tone in ("again", "ok")
    assert kinds <= ASKING
    assert job.state.next_step.step.key == "level"
