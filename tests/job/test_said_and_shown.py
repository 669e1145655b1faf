"""What is said aloud and what stands on the screen begin with the same words for the same event."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import segno

from joblog.job.foremost import missing_line
from joblog.job.wording import step_name
from joblog.web.view import recent_line

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("vehicle checked", "Vehicle checked"),
        ("photo plug", "Photo plug"),
        ("start clock", "Clock started"),
        ("fan cycle", "Fan cycle"),
        ("what is next", "Next: vehicle checked"),
        ("how long", "No clock is running"),
        ("disregard", "Nothing to disregard"),
        ("confirm because checked twice", "Nothing to confirm"),
        ("affirm", "There was no question"),
        ("correction four one", "Nothing to correct"),
        ("what is missing", "Nothing is missing"),
        ("job complete", "Not complete. "),
    ],
)
def test_both_begin_alike(bench, said, words):
    reply = bench().say(said)
    assert reply.spoken.startswith(words)
    assert reply.shown.startswith(words)


def test_the_next_step_is_named_as_it_is_said_then_by_its_title(bench):
    reply = bench().say("vehicle checked")
    assert reply.spoken == "Vehicle checked. Next: vehicle level."
    assert reply.shown.startswith(
        "Vehicle checked: done. Next: vehicle level (Vehicle on level ground)."
    )


def test_a_stopped_clock_says_the_tenth_that_it_shows(bench):
    job = bench()
    job.say("start clock")
    reply = job.say("stop clock")
    assert (reply.spoken, reply.shown) == ("Clock stopped, three seconds.", "Clock stopped, 3 s.")
    job.say("start clock")
    job.clock.advance(0.42)
    reply = job.say("stop clock")
    assert reply.spoken == "Clock stopped, three point four seconds."
    assert reply.shown == "Clock stopped, 3.4 s."


def test_a_photo_is_told_alike(bench):
    job = bench()
    job.say("vehicle checked", "standing level", "warm up done")
    photo = (ROOT / "sample_images" / "dipstick-after.jpg").read_bytes()
    reply = job.session.photo(photo, "dipstick", step="level-before")
    assert reply.spoken.startswith("Photo dipstick, good.")
    assert reply.shown.startswith("Photo dipstick, good: level ")


def test_a_photo_in_which_nothing_is_measured_is_not_called_measured(bench):
    job = bench()
    reply = job.session.photo((ROOT / "sample_images" / "fluid-old.jpg").read_bytes(), "other")
    job.check_vocabulary(reply)
    assert reply.spoken.startswith("Photo noted.")
    assert reply.shown.startswith("Photo noted: it is kept, nothing is measured in it.")
    assert recent_line(reply.entries[0])["note"] == "kept"
    label = io.BytesIO()
    segno.make("EX-18-AL").save(label, kind="png", scale=12, border=6)
    reply = job.session.photo(label.getvalue(), "label")
    assert reply.shown.startswith("Photo label, good: its bar code is read.")
    assert recent_line(reply.entries[0])["note"] == "read"


def test_what_is_missing_at_the_end_is_the_next_to_do_and_a_count(bench):
    job = bench()
    job.say("vehicle checked")
    reply = job.say("job complete")
    count = len(job.state.open_findings)
    assert count > 10
    assert reply.spoken.startswith("Not complete. Missing: vehicle level. And more.")
    assert f"Vehicle on level ground: not done. And {count - 1} more:" in reply.shown
    assert reply.shown.count("not done.") == 1
    assert reply.shown.endswith("at once: a reason and “Close as finished” at the desk.")
    line = f"{count} things are missing. Next: Vehicle on level ground: not done."
    assert missing_line(job.state.findings) == line
    job.say("confirm because not needed")  # the one that was named
    assert job.state.finding("missing:level:step").resolved
    assert job.say("standing level").tone == "ok"
    assert missing_line(job.state.findings).startswith(f"{count - 1} things are missing.")
    assert "at the desk" in job.say("job complete").shown


def test_of_little_that_is_missing_each_thing_is_answered_for(bench, short_drain):
    job = bench(toml=short_drain)
    job.say("vehicle checked", "fill plug loose", "drain plug out")
    job.say("drain plug torque 41 foot pounds")
    reply = job.say("job complete")  # two photos are missing
    assert reply.shown.startswith("Not complete.")
    assert "at the desk" not in reply.shown


def test_what_is_missing_is_named_and_the_rest_counted(bench):
    job = bench()
    job.say("drain plug in", "plug as found", "magnet cleaned")
    reply = job.say("what is missing")
    named = [part for part in reply.shown.split("; ") if part]
    assert " more. Next: " in reply.spoken
    assert len(named) > 3
    done = {"drain plug in", "plug as found", "plug cleaned"}
    left = [s.step for s in job.state.steps if not s.step.optional and s.step.say[0] not in done]
    to_do = reply.shown.partition("Still to do: ")[2]
    assert all(step_name(step) in to_do for step in left)  # what 'job complete' would name, too
    assert not any(name in to_do for name in done)


def test_an_open_question_is_named_with_one_mark_at_its_end(bench):
    job = bench()
    job.say("vehicle level", "engine running", "confirm because see note", "engine off")
    job.say("drain plug torqued to 400 foot pounds")
    assert "Not sure: 400 lbf·ft? Still to do: " in job.say("what is missing").shown


def test_what_is_missing_twice_is_told_once_and_with_its_step(bench):
    job = bench()
    for _ in range(2):
        job.session.photo((ROOT / "sample_images" / "plug-before.jpg").read_bytes(), "fluid")
    told = job.say("what is missing").shown
    assert told.count("not usable") == 1
    assert "(draining done). Still to do: " in told
