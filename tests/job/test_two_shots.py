"""Two photos of one dipstick, one behind the other, are one reading, or are said to disagree."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image, ImageOps

from joblog.job.levels import level_findings, near_mark
from joblog.job.types import Photo
from joblog.record.entry import Entry
from joblog.report.context import Context
from joblog.report.findings import in_full
from joblog.report.language import Language
from joblog.report.settings import ShopSettings

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
    assert reply.shown.startswith("The photos of the dipstick disagree (levels 0.45, 0.78): wipe,")
    (finding,) = [f for f in shot.state.findings if f.key.startswith("shots:")]
    assert "0.45, 0.78" in finding.text
    assert finding.key in shot.open_keys()
    shot.session.photo(from_the_other_side(OTHER), "dipstick")
    assert finding.key not in shot.open_keys()


def test_as_many_shots_as_disagree_are_told_to_the_customer(shot):
    shot.session.photo(from_the_other_side(FOUND), "dipstick")
    shot.session.photo(OTHER, "dipstick")
    (finding,) = [f for f in shot.state.findings if f.key.startswith("shots:")]
    assert finding.customer == "3 photos of the dipstick showed different levels."
    for code, told in (
        ("en", finding.customer),
        ("es", "3 fotos de la varilla mostraron niveles distintos."),
    ):
        context = Context(shot.state, Language.find(code), "us", ShopSettings())
        assert in_full(context, finding) == told


def test_a_third_shot_is_one_reading_with_both(shot):
    shot.session.photo(from_the_other_side(FOUND), "dipstick")
    doubt = shot.state.photos[-1].level[1]
    shot.session.photo(FOUND, "dipstick")
    first, second, third = shot.state.photos
    assert third.together["with"] == [first.entry.id, second.entry.id]
    assert third.level[1] < doubt
    shot.session.disregard_photo(first.entry.id, by="Imani Okafor")
    assert shot.state.photos[-1].together == {}  # its share of the reading is not known


def test_the_level_is_said_in_words_with_its_doubt(shot):
    reply = shot.session.photo(FOUND, "dipstick")
    shot.check_vocabulary(reply)
    assert "Level, four five percent." in reply.spoken
    assert "level 45 % of the way from the lower to the upper mark, give or take 2 %" in reply.shown


@pytest.mark.parametrize(
    ("level", "doubt", "mark", "kind"),
    [
        ("0.97", "0.06", "upper", "not sure"),
        ("1.02", "0.06", "upper", "not sure"),
        ("0.03", "0.04", "lower", "not sure"),
        ("1.2", "0.06", "", "out of specification"),
        ("0.5", "0.06", "", ""),
    ],
)
def test_a_level_whose_doubt_reaches_over_a_mark_is_not_called_within(level, doubt, mark, kind):
    measured = {"usable": True, "level_fraction": float(level), "level_uncertainty": float(doubt)}
    photo = Photo("dipstick", "after", measured, Entry.model_construct(id="x", at=""))
    assert near_mark(photo) == mark
    found = list(level_findings(photo, retaken=False))
    assert [str(f.kind) for f in found] == [kind] * bool(kind)
    assert all(("can't tell" in f.customer) == bool(mark) for f in found)


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
