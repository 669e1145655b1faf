"""A note ends where a phrase of the job begins; the sound is the real one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from joblog.audio.files import read_audio
from joblog.audio.types import Beginning, Utterance
from joblog.demo.script import load_script
from joblog.job.noting import phrase_behind
from joblog.sheet.load import library, load_sheet
from joblog.speech.engines import get_engine

SHEET = load_sheet(library()["transaxle-drain-fill"])
SOUNDS = {line.path.stem[:2]: line.path for line in load_script()}


@pytest.mark.parametrize(
    ("text", "note", "phrase"),
    [
        ("Gasket is weeping, tell the customer. Reminder reset. Reminder reset.",
         "Gasket is weeping, tell the customer.", "reminder reset"),
        ("Boot is torn. Drain plug 41 foot pounds.", "Boot is torn.",
         "drain plug four one foot pounds"),
        ("Boot is torn. Reminder reset. No leaks.", "Boot is torn. Reminder reset.", "no leaks"),
        ("Boot is torn. Say again.", "Boot is torn. Say again.", ""),
        ("Tell him no leaks.", "Tell him no leaks.", ""),
        ("Reminder reset.", "Reminder reset.", ""),
    ],
)  # fmt: skip
def test_a_sentence_at_the_end_that_is_a_phrase_is_no_part_of_the_note(text, note, phrase):
    assert phrase_behind(text, SHEET) == (note, phrase)


def test_a_phrase_behind_a_dictated_note_is_asked_about(bench):
    job = bench()
    job.session.engine = get_engine()
    job.say("note")
    parts = [read_audio(SOUNDS["40"]).samples, read_audio(SOUNDS["38"]).samples]
    reply = job.session.hear(Utterance(np.concatenate(parts)), by="Imani Okafor")
    assert reply.spoken.startswith("Noted. ")
    assert reply.spoken.endswith("eminder reset? Affirm or negative.")
    job.check_vocabulary(reply)
    (note,) = [e for e in job.state.entries if e.kind == "note"]
    assert "eminder" not in note.body["text"]
    job.say("affirm")
    assert job.status("reminder-reset") == "done"


def test_a_typed_note_is_taken_as_it_is(bench):
    job = bench()
    job.say("note boot is torn. reminder reset.")
    (note,) = [e for e in job.state.entries if e.kind == "note"]
    assert note.body["text"] == "boot is torn. reminder reset"
    assert job.state.question is None


def test_a_note_whose_beginning_joblog_spoke_over_is_asked_for_again(bench):
    job = bench()
    job.session.engine = get_engine()
    job.say("note")
    sound = Utterance(read_audio(SOUNDS["40"]).samples)
    reply = job.session.hear(replace(sound, beginning=Beginning.MISSING), by="Imani Okafor")
    assert reply.spoken == "Say again."
    assert not [e for e in job.state.entries if e.kind == "note"]
    job.session.hear(sound, by="Imani Okafor")
    assert len([e for e in job.state.entries if e.kind == "note"]) == 1
