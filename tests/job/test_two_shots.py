"""Two photos of one dipstick, one behind the other, are one reading, or are said to disagree."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image, ImageOps

IMAGES = Path(__file__).parents[2] / "sample_images"
FOUND = (IMAGES / "dipstick-before.jpg").read_bytes()
OTHER = (IMAGES / "dipstick-after.jpg").read_bytes()


def from_the_other_side(data: bytes) -> bytes:
    out = io.BytesIO()
    ImageOps.mirror(Image.open(io.BytesIO(data))).save(out, "JPEG", quality=90)
    return out.getvalue()


@pytest.fixture
def shot(bench):
    """A job whose dipstick was photographed once, as found."""
    job = bench()
    job.say("vehicle checked", "standing level", "warm up done", "wheels chocked")
    job.say("fluid temperature six four celsius", "vehicle on stands", "dipstick as found")
    job.session.photo(FOUND, "dipstick")
    return job


def test_a_second_shot_is_of_the_same_step_and_both_are_one_reading(shot):
    shot.session.photo(from_the_other_side(FOUND), "dipstick")
    first, second = shot.state.photos
    assert second.step == first.step
    assert first.together == {}
    assert second.together["first"] == first.entry.id
    level, doubt = second.level
    assert level == pytest.approx(first.measurement["level_fraction"], abs=0.02)
    assert doubt < min(p.measurement["level_uncertainty"] for p in (first, second))


def test_two_shots_that_disagree_are_said_to_and_give_no_common_level(shot):
    reply = shot.session.photo(OTHER, "dipstick")
    shot.check_vocabulary(reply)
    assert reply.tone == "warn"
    assert "disagree" in reply.shown
    (finding,) = [f for f in shot.state.findings if f.key.startswith("shots:")]
    assert "0.45, 0.77" in finding.text
    assert finding.key in shot.open_keys()
    shot.session.photo(from_the_other_side(OTHER), "dipstick")
    assert finding.key not in shot.open_keys()


def test_a_shot_after_work_is_no_second_one(shot):
    shot.ok("fill plug loosened", "drain plug removed")
    shot.session.photo(OTHER, "dipstick")
    assert shot.state.photos[-1].together == {}


def test_a_shot_minutes_later_is_a_reading_of_its_own(shot):
    shot.clock.advance(150)
    shot.session.photo(OTHER, "dipstick")
    assert shot.state.photos[-1].together == {}


def test_a_first_shot_that_is_taken_back_says_nothing_with_the_second(shot):
    shot.session.photo(OTHER, "dipstick")
    first, second = shot.state.photos
    shot.session.disregard_photo(first.entry.id, by="Imani Okafor")
    (left,) = shot.state.photos
    assert left.together == {}
    assert left.level[0] == second.measurement["level_fraction"]
    assert not [key for key in shot.open_keys() if key.startswith("shots:")]
