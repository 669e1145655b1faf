"""A photo or a note is taken back by its name or at a touch, whatever came after it."""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.errors import InputError
from joblog.job.explanations import note_key, notes_told, notes_withdrawn

IMAGES = Path(__file__).parents[2] / "sample_images"
PLUG = (IMAGES / "plug-before.jpg").read_bytes()
CLEAN = (IMAGES / "plug-after.jpg").read_bytes()


@pytest.fixture
def job(bench):
    """A plug's photo filed as a dipstick's, and work that went on after it."""
    made = bench()
    made.say("vehicle checked", "dipstick as found")
    made.session.photo(PLUG, "dipstick", by="Imani Okafor")
    made.ok("wheels chocked")
    return made


def kinds(job) -> list[str]:
    return [photo.kind for photo in job.state.photos]


def test_a_photo_is_taken_back_by_its_name_though_work_went_on(job):
    wrong = job.state.photos[0].entry
    assert "not usable" in " ".join(f.text for f in job.state.open_findings)
    reply = job.say("disregard the dipstick photo")
    assert reply.shown.startswith("Disregarded: photo dipstick")
    assert kinds(job) == []
    assert job.status("chocked") == "done"  # that was said after it, and stays
    assert not [f for f in job.state.open_findings if "not usable" in f.text]
    last = job.state.entries[-1]
    assert (last.kind, last.supersedes) == ("disregarded", wrong.id)
    assert wrong in job.state.entries  # the record keeps it
    assert job.session.store.verify(job.session.job).whole


@pytest.mark.parametrize("line", ["disregard the last photo", "take back that photo"])
def test_the_last_photo_needs_no_kind(job, line):
    job.session.photo(CLEAN, "plug", by="Imani Okafor")
    job.ok("on stands")
    job.say(line)
    assert kinds(job) == ["dipstick"]


def test_before_and_after_are_told_apart(job):
    job.say("fill plug loose", "drain plug out", "draining done", "plug as found")
    for picture, phase in ((PLUG, "before"), (CLEAN, "after")):
        job.session.photo(picture, "plug", phase=phase, by="Imani Okafor")
    job.say("disregard the plug photo before")
    assert [p.phase for p in job.state.photos if p.kind == "plug"] == ["after"]


def test_nobody_takes_a_colleagues_photo_back_by_word_alone(job):
    reply = job.say("disregard the dipstick photo", by="Ben Adler")
    assert reply.spoken == "Nothing to disregard."
    assert "Imani Okafor's" in reply.shown
    assert kinds(job) == ["dipstick"]


def test_what_is_not_there_is_said_and_nothing_recorded(job):
    before = job.state.entries
    reply = job.say("disregard the plug photo")
    assert "there is no such plug photo" in reply.shown
    assert job.state.entries == before


def test_at_a_touch_it_is_that_very_photo(job):
    first = job.state.photos[0].entry.id
    job.session.photo(CLEAN, "dipstick", by="Imani Okafor")
    reply = job.session.disregard_photo(first, by="Ben Adler")  # who touches it sees which it is
    assert reply.spoken.startswith("Disregarded: photo dipstick")
    assert len(job.state.photos) == 1
    assert job.state.entries[-1].by == "Ben Adler"
    with pytest.raises(InputError, match="taken back already"):
        job.session.disregard_photo(first)


def test_a_photo_that_was_set_right_does_not_come_back_as_the_wrong_kind(job):
    wrong = job.state.photos[0].entry
    job.session.photo(PLUG, "plug", by="Imani Okafor", replaces=wrong.id)
    job.say("disregard the plug photo")
    assert kinds(job) == []


def test_disregard_and_a_wish_for_a_photo_in_one_breath_take_no_photo_back(job):
    assert job.say("disregard photo dipstick").tone == "again"
    assert kinds(job) == ["dipstick"]


def test_a_closed_job_keeps_its_photos(job):
    job.session.close("aborted", "the customer took the vehicle", by="Imani Okafor")
    assert job.say("disregard the last photo").spoken == "The job is closed."
    with pytest.raises(InputError, match="is closed"):
        job.session.disregard_photo(job.state.photos[0].entry.id)
    assert kinds(job) == ["dipstick"]


def test_a_note_that_the_customer_was_told_of_is_taken_back_though_work_went_on(job):
    note = job.say("note the left rear tire is worn").entries[0]
    job.session.explain(note_key(note), "Your left rear tire is worn out.", by="Priya Nair")
    job.say("note the wipers smear", "on stands")
    reply = job.session.disregard_note(note.id, by="Imani Okafor")
    assert reply.spoken == "Disregarded: note."
    assert reply.shown == "Disregarded: note “the left rear tire is worn”."
    assert [n.body["text"] for n in job.state.notes] == ["the wipers smear"]
    assert notes_told(job.state) == []
    (gone,) = notes_withdrawn(job.state)
    assert (gone.note.id, gone.told) == (note.id, "Your left rear tire is worn out.")
    assert gone.back.by == "Imani Okafor"
    assert note.id in [e.id for e in job.state.entries]  # the record keeps it
    assert job.status("raised") == "done"
    with pytest.raises(InputError, match="no such note"):
        job.session.disregard_note(note.id)
    with pytest.raises(InputError, match="no finding"):
        job.session.explain(note_key(note), "Still worn.")


def test_by_word_it_is_ones_own_last_note(job):
    job.say("note the wipers smear")
    job.say("note a bulb is out", by="Ben Adler")
    job.ok("on stands")
    job.say("disregard the note")
    assert [n.body["text"] for n in job.state.notes] == ["a bulb is out"]
    assert notes_withdrawn(job.state) == []  # the customer was told of none
    reply = job.say("take back that note")
    assert reply.spoken == "Nothing to disregard."
    assert "Ben Adler's" in reply.shown


def test_a_note_that_is_waited_for_is_dropped_and_not_written_down(job):
    job.say("note the wipers smear", "note", "disregard the note")
    assert [n.body["text"] for n in job.state.notes] == ["the wipers smear"]
    job.say("disregard the note")
    assert job.state.notes == ()


def test_a_closed_job_keeps_its_notes(job):
    note = job.say("note the wipers smear").entries[0]
    job.session.close("aborted", "the customer took the vehicle", by="Imani Okafor")
    with pytest.raises(InputError, match="is closed"):
        job.session.disregard_note(note.id)
