"""Photos of how a thing was found: before it is cleaned, in time, and never in place of another.

The order of work (photograph the magnet, then wipe it) is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.job.session import JobSession

IMAGES = Path(__file__).parents[2] / "sample_images"
BEFORE = (IMAGES / "plug-before.jpg").read_bytes()
AFTER = (IMAGES / "plug-after.jpg").read_bytes()
STICK = (IMAGES / "dipstick-before.jpg").read_bytes()
DIPSTICK = (IMAGES / "dipstick-after.jpg").read_bytes()
LOST = "missing:plug-as-found:photo-of-the-plug"


@pytest.fixture
def open_drain(bench):
    """A job with the drain plug out and every photo so far."""
    job = bench()
    job.say("vehicle checked", "standing level", "warm up done", "wheels chocked")
    job.say("fluid temperature six four celsius", "vehicle on stands", "dipstick as found")
    job.session.photo(STICK, "dipstick")
    job.ok("fill plug loosened", "drain plug removed")
    return job


def steps_of(job) -> list[str]:
    return [photo.step for photo in job.state.photos]


def test_cleaning_the_plug_without_its_photo_as_found_is_warned_of_at_once(open_drain):
    open_drain.say("plug as found")
    reply = open_drain.say("plug cleaned")  # the bench checks that it can be spoken
    assert reply.tone == "warn"
    assert "missing: photo plug, plug as found" in reply.spoken.lower()
    assert [f.key for f in reply.findings] == [LOST]
    assert "not done yet? disregard" in reply.shown.lower()


def test_the_warning_is_no_wall_and_is_given_once(open_drain):
    open_drain.say("plug as found", "plug cleaned")
    assert open_drain.say("confirm because not possible").tone == "ok"
    assert open_drain.open_keys() == []
    assert open_drain.status("plug-cleaned") == "incomplete"  # its own photo is still wanted
    open_drain.session.photo(AFTER, "plug")
    assert open_drain.open_keys() == []
    open_drain.say("job complete")
    told = [f for f in open_drain.state.findings if f.key == LOST]
    assert [f.resolved for f in told] == ["confirmed by Imani Okafor: it was not possible"]


def test_taken_back_in_time_the_photo_is_taken_as_found(open_drain):
    open_drain.say("plug as found", "plug cleaned")
    open_drain.ok("disregard")
    assert open_drain.open_keys() == []
    open_drain.session.photo(BEFORE, "plug")
    assert steps_of(open_drain)[-1] == "plug-as-found"
    assert open_drain.ok("plug cleaned").findings == ()


def test_a_photo_of_the_cleaned_plug_is_not_filed_as_found(open_drain):
    open_drain.say("plug as found", "plug cleaned")
    open_drain.session.photo(AFTER, "plug")
    photo = open_drain.state.photos[-1]
    assert (photo.step, photo.phase) == ("plug-cleaned", "after")
    assert open_drain.status("plug-as-found") == "incomplete"
    assert open_drain.status("plug-cleaned") == "done"
    open_drain.session.photo(AFTER, "plug")  # once more: a retake of the same, not what was found
    assert steps_of(open_drain)[-2:] == ["plug-cleaned"] * 2


def test_the_photo_of_the_cleaned_plug_is_not_as_found_where_nobody_said_that_step(open_drain):
    open_drain.say("plug cleaned", "confirm because already done")
    open_drain.session.photo(AFTER, "plug")
    assert steps_of(open_drain)[-1] == "plug-cleaned"


def test_who_says_which_one_it_is_is_believed(open_drain):
    open_drain.say("plug as found", "plug cleaned", "photo plug before")
    open_drain.session.photo(BEFORE, "plug")
    assert steps_of(open_drain)[-1] == "plug-as-found"
    assert open_drain.state.finding(LOST) is None


def test_photos_that_waited_on_a_phone_go_where_they_were_taken(open_drain):
    open_drain.say("plug as found")
    open_drain.clock.advance(60)  # the phone has no network: the first is taken here
    open_drain.say("plug cleaned")
    open_drain.clock.advance(60)
    open_drain.session.photo(BEFORE, "plug", taken_ago=100)
    open_drain.session.photo(AFTER, "plug", taken_ago=20)
    assert steps_of(open_drain)[-2:] == ["plug-as-found", "plug-cleaned"]
    assert open_drain.open_keys() == []


def test_an_age_that_cannot_be_is_not_believed(open_drain):
    open_drain.say("plug as found", "plug cleaned")
    open_drain.session.photo(AFTER, "plug", taken_ago=10_000_000)  # older than the job
    assert steps_of(open_drain)[-1] == "plug-cleaned"


def test_a_photo_of_the_wrong_kind_is_replaced_by_the_right_one(open_drain):
    open_drain.say("plug as found")
    open_drain.session.photo(BEFORE, "dipstick")
    wrong = open_drain.state.photos[-1]
    assert not wrong.usable
    open_drain.say("plug cleaned")
    reply = open_drain.session.photo(BEFORE, "plug", replaces=wrong.entry.id)
    photo = open_drain.state.photos[-1]
    assert (photo.step, photo.usable) == ("plug-as-found", True)  # it was there before the rag
    assert len(open_drain.state.photos) == 2
    assert open_drain.open_keys() == []
    assert "Photo plug, good." in reply.spoken
    resumed = JobSession.resume(open_drain.session.store, open_drain.session.job)
    assert resumed.state.photos == open_drain.state.photos
    assert open_drain.session.store.verify(open_drain.session.job).whole


def to_the_reading(job) -> None:
    job.say("plug as found")
    job.session.photo(BEFORE, "plug")
    job.say("vehicle level", "engine off")


def test_a_dipstick_photo_that_waited_on_a_phone_counts_from_when_it_was_taken(open_drain):
    to_the_reading(open_drain)
    open_drain.clock.advance(200)  # taken 80 s after 'engine off', inside 45 to 120 s
    open_drain.session.photo(DIPSTICK, "dipstick", "level-read", taken_ago=120)
    entry = open_drain.state.photos[-1].entry
    assert entry.body["waited"] == "120.0"
    assert not [key for key in open_drain.open_keys() if key.startswith("window:")]
    resumed = JobSession.resume(open_drain.session.store, open_drain.session.job)
    assert resumed.state.findings == open_drain.state.findings


def test_one_that_was_taken_too_early_is_not_made_right_by_waiting(open_drain):
    to_the_reading(open_drain)
    open_drain.clock.advance(80)  # inside the window now, but taken 10 s after 'engine off'
    open_drain.session.photo(DIPSTICK, "dipstick", "level-read", taken_ago=70)
    (found,) = [f for f in open_drain.state.open_findings if f.key.startswith("window:")]
    assert "10 s after engine off: too early" in found.text


def test_one_taken_before_the_engine_was_off_is_too_early(open_drain):
    to_the_reading(open_drain)
    open_drain.clock.advance(80)
    open_drain.session.photo(DIPSTICK, "dipstick", "level-read", taken_ago=100)
    (found,) = [f for f in open_drain.state.open_findings if f.key.startswith("window:")]
    assert found.text == (
        "Level read, but engine off must come first: it counts between 45 and 120 s after it."
    )
    assert open_drain.status("level-read") == "open"
    (clock,) = open_drain.state.clocks
    assert not clock.stopped  # the reading for which it runs is still to come


def test_the_advice_ends_with_the_finding(open_drain):
    open_drain.say("plug as found", "plug cleaned")
    assert "Disregard, and photograph first" in open_drain.state.finding(LOST).told
    open_drain.say("confirm because not possible")
    assert "photograph first" not in open_drain.state.finding(LOST).told


def test_one_that_waited_and_came_as_the_wrong_kind_goes_where_it_was_taken(open_drain):
    open_drain.say("plug as found")
    open_drain.clock.advance(60)  # the phone has no network: it is taken here
    open_drain.say("plug cleaned")
    open_drain.clock.advance(60)
    open_drain.session.photo(BEFORE, "dipstick", taken_ago=100)
    wrong = open_drain.state.photos[-1]
    open_drain.session.photo(BEFORE, "plug", replaces=wrong.entry.id)
    assert steps_of(open_drain)[-1] == "plug-as-found"
    assert open_drain.state.finding(LOST) is None


def test_a_plug_that_the_sheet_gives_no_size_of_is_told_how_it_is_kept(bench):
    job = bench(steps='[[steps]]\nkey = "seen"\ntitle = "Seen"\nsay = ["all seen"]\n')
    assert "sent as “other” it is kept" in job.session.photo(AFTER, "plug").shown
    job.session.photo(AFTER, "other", replaces=job.state.photos[-1].entry.id)
    assert job.open_keys() == []
