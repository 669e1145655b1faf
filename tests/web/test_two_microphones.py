"""The wall screen and the phone in the pocket hear the same phrase: it counts once."""

import pickle
import time
from types import SimpleNamespace

import numpy as np
import pytest

from joblog.readback.sound import RATE
from joblog.web.listen import Ear
from tests.web.test_talking import in_a_loop, pcm


@pytest.fixture
def ears(client, job):
    """Two open microphones of one job; ``sent`` is what each page was sent."""
    made = []
    for who in ("wall", "pocket"):
        sent = []

        async def send_json(message, sent=sent):
            sent.append(message)

        socket = SimpleNamespace(app=client.app, send_json=send_json)
        session = client.app.state.shop.session(job)
        ear = Ear(socket, session, {"rate": RATE, "who": who, "by": "Imani Okafor"})
        ear.sent = sent
        made.append(ear)
    made[0].shop.engine()
    return made


def say(ears, *sounds):
    """Let each microphone hear its sound at the same time."""
    found = [ear.feed(sound) for ear, sound in zip(ears, sounds, strict=True)]
    for ear, utterances in zip(ears, found, strict=True):
        for utterance in utterances:
            in_a_loop(ear.answer(utterance))


def of_kind(ears, kind):
    return [e for e in ears[0].session.state.entries if e.kind == kind]


def far_off(sound):
    """The same through a pocket: a fifth of it, and later by the way of the sound."""
    samples = np.frombuffer(sound, "<i2") // 5
    return np.concatenate([np.zeros(RATE // 50, "<i2"), samples]).astype("<i2").tobytes()


def test_an_amount_that_two_microphones_hear_is_put_in_once(ears):
    ears[0].session.type_in("drained three quarts")
    near = pcm("Two quarts in.", after=2.0)
    say(ears, near, far_off(near))
    assert [e.body["value"] for e in of_kind(ears, "quantity")] == ["3", "2"]
    heard = of_kind(ears, "heard")
    assert [e.body["verdict"] for e in heard] == ["accept", "reject"]
    assert "Another microphone" in heard[1].body["why"]
    assert heard[1].media  # its sound is kept all the same
    assert [len(ear.sent) for ear in ears] == [1, 1]
    assert ears[1].sent[0]["reply"]["spoken"] == ""


def test_the_same_said_again_counts_again(ears):
    ears[0].session.type_in("drained three quarts")
    near = pcm("One quart in.", after=2.0)
    say(ears, near, far_off(near))
    later = pcm("One quart in.", after=2.0)
    time.sleep(3.5)  # as long as that took to say: the time is the computer's
    say(ears, later, far_off(later))
    assert [e.body["value"] for e in of_kind(ears, "quantity")] == ["3", "1", "1"]


def test_two_people_who_speak_at_once_are_not_taken_for_one(ears):
    say(ears, pcm("Vehicle checked.", after=2.0), pcm("No leaks.", after=2.0))
    assert ears[0].session.state.step("unit-checked").status.value == "done"
    (asked,) = of_kind(ears, "asked")
    assert asked.body["options"] == ["no leaks"]


def test_note_heard_twice_is_no_note_that_says_note(ears):
    near = pcm("Note.", after=2.0)
    say(ears, near, far_off(near))
    assert of_kind(ears, "note") == []
    assert len(of_kind(ears, "asked")) == 1


def test_what_was_heard_is_remembered_without_its_sound(ears):
    """It lies in the record; a shop has many jobs in memory."""
    say(ears, pcm("Vehicle checked.", after=2.0), pcm("No leaks.", after=2.0))
    taken = ears[0].session._microphones._taken
    assert taken
    assert all(len(pickle.dumps(one)) < 1000 for one in taken)
