"""Who talks is not cut short: joblog waits with what it has to say, and loses no words."""

import asyncio
import time
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import numpy as np
import pytest

from joblog.audio.types import RATE as HEARD_RATE
from joblog.audio.types import Beginning, Utterance
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE, spoken_sound
from joblog.web.halfduplex import HOLD, Talking
from joblog.web.listen import Ear
from joblog.web.live import _ticked

CLIPS = load_clips()


@pytest.fixture
def shop(client):
    return client.app.state.shop


def pcm(text, after=1.0):
    sound = [np.zeros(RATE // 2), spoken_sound(text, CLIPS), np.zeros(int(after * RATE))]
    joined = np.concatenate(sound)
    noise = np.random.default_rng(1).standard_normal(len(joined)) * 1e-3
    return ((joined + noise) * 32767).astype("<i2").tobytes()


@pytest.fixture
def ear(client, job):
    sent = []

    async def send_json(message):
        sent.append(message)

    socket = SimpleNamespace(app=client.app, send_json=send_json)
    ear = Ear(
        socket,
        client.app.state.shop.session(job),
        {"rate": RATE, "who": "pocket", "by": "Imani Okafor"},
    )
    ear.sent = sent
    return ear


def in_a_loop(coroutine):
    """Run it in a thread of its own: in this one a browser's loop may be running."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()


def test_an_announcement_waits_until_the_phrase_has_ended(ear, shop, job, monkeypatch):
    session = shop.session(job)
    session.type_in("engine off")
    assert session.state.clocks
    ticks = []
    monkeypatch.setattr(session, "tick", lambda: ticks.append(1))
    data = pcm("Vehicle checked.")
    middle = RATE * 2  # bytes: one second
    assert ear.feed(data[:middle]) == []
    _ticked(session, shop.talking.on(job))
    assert ticks == []
    assert len(ear.feed(data[middle:])) == 1
    _ticked(session, shop.talking.on(job))
    assert ticks == [1]


def test_an_answer_waits_until_who_talks_has_ended(ear, shop, job):
    sound = np.zeros(HEARD_RATE, np.float32)

    async def answered():
        shop.talking.note(job, "another microphone", talks=True)
        task = asyncio.create_task(ear.answer(Utterance(sound)))
        await asyncio.wait([task], timeout=1.0)
        during = list(ear.sent)
        shop.talking.note(job, "another microphone", talks=False)
        await task
        return during

    shop.engine()
    assert in_a_loop(answered()) == []
    assert len(ear.sent) == 1


def test_nothing_waits_longer_than_a_few_seconds():
    now = [5.0]
    talking = Talking(lambda: now[0])
    talking.note("job", "radio", talks=True)
    assert talking.on("job")
    assert not talking.on("other job")
    now[0] += HOLD
    talking.note("job", "radio", talks=True)
    assert not talking.on("job")


def test_a_phrase_that_joblog_speaks_into_is_asked_about_and_not_lost(ear, shop, job):
    data = pcm("Vehicle checked.", after=0.3)
    assert ear.feed(data) == []
    shop.speaking.begin(job, "screen", 9.0)
    (cut,) = ear.feed(b"\0\0" * RATE)
    assert cut.cut_off
    in_a_loop(ear.answer(cut))
    (answer,) = ear.sent
    assert answer["reply"]["tone"] == "again"
    assert "ehicle checked" in answer["reply"]["spoken"]
    assert shop.session(job).state.step("unit-checked").status.value == "open"


def test_a_question_that_joblog_speaks_into_is_answered(ear, shop, job):
    assert ear.feed(pcm("What is next.", after=0.3)) == []
    shop.speaking.begin(job, "screen", 9.0)
    (cut,) = ear.feed(b"\0\0" * RATE)
    in_a_loop(ear.answer(cut))
    assert "ehicle checked" in ear.sent[0]["reply"]["spoken"]


def test_half_a_word_that_joblog_speaks_into_is_asked_to_be_said_again(ear, shop, job):
    data = pcm("Vehicle checked.")
    loud = np.flatnonzero(np.abs(np.frombuffer(data, "<i2")) > 600)[0]
    assert ear.feed(data[: 2 * (loud + RATE // 3)]) == []
    shop.speaking.begin(job, "screen", 9.0)
    (cut,) = ear.feed(b"\0\0" * RATE)
    in_a_loop(ear.answer(cut))
    assert ear.sent[0]["reply"]["tone"] == "again"


def begun(ear, shop, job, text, early):
    """Return what a microphone gives of a phrase begun ``early`` seconds before an answer ends."""
    sound = pcm(text, after=2.0)
    loud = int(np.flatnonzero(np.abs(np.frombuffer(sound, "<i2")) > 600)[0])
    quiet = (np.random.default_rng(3).standard_normal(2 * RATE) * 30).astype("<i2").tobytes()
    ear.feed(quiet)
    shop.speaking.begin(job, "screen", 9.0)
    ear.feed(quiet)
    shop.speaking.end(job, "screen")
    return ear.feed(sound[2 * (loud + int(early * RATE)) :])


def test_the_rest_of_a_value_begun_while_joblog_spoke_is_no_value(ear, shop, job):
    utterances = begun(ear, shop, job, "Drain plug forty one foot-pounds.", early=0.2)
    assert [u.beginning for u in utterances if u is not None] == [Beginning.MISSING]
    for utterance in utterances:
        in_a_loop(ear.answer(utterance))
    assert torques(shop, job) == []
    assert [m["reply"]["spoken"] for m in ear.sent] == ["Say again."]
    assert "still speaking" in ear.sent[0]["reply"]["shown"]
    (heard,) = [e for e in shop.session(job).state.entries if e.kind == "heard"]
    assert heard.media  # its sound is kept all the same


def test_a_question_begun_while_joblog_spoke_is_answered(ear, shop, job):
    for utterance in begun(ear, shop, job, "What is next.", early=0.1):
        in_a_loop(ear.answer(utterance))
    assert "ehicle checked" in ear.sent[0]["reply"]["spoken"]


def test_a_value_begun_right_behind_an_answer_is_recorded(ear, shop, job):
    for utterance in begun(ear, shop, job, "Drain plug forty one foot-pounds.", early=-0.25):
        in_a_loop(ear.answer(utterance))
    assert torques(shop, job) == [41]


def test_the_recogniser_is_warm_before_the_first_phrase(client, shop, job):
    heard = []

    def hear(samples, _grammar):
        heard.append(len(samples))

    shop.load_engine = lambda: SimpleNamespace(hear=hear)
    with client.websocket_connect(f"/api/jobs/{job}/listen") as socket:
        socket.send_json({"rate": RATE, "mode": "open", "by": "Imani"})
        until = time.monotonic() + 5
        while len(heard) < 2 and time.monotonic() < until:
            time.sleep(0.02)
    assert len(heard) == 3, "with and without answers, and with a number as one"
    assert [e.kind for e in shop.session(job).state.entries] == ["job-opened"]


def torques(shop, job):
    return [v.value for v in shop.session(job).state.values if v.entry.kind == "torque"]


def open_line(client, job, mode="open"):
    line = client.websocket_connect(f"/api/jobs/{job}/listen")
    return line, {"rate": RATE, "mode": mode, "by": "Imani Okafor"}


def test_a_value_with_a_pause_in_it_is_answered_once_and_whole(client, shop, job):
    sound = pcm("Drain plug forty.", after=0.0) + pcm("One foot-pounds.")  # 0.5 s between them
    pause = (np.random.default_rng(2).standard_normal(RATE // 3) * 30).astype("<i2").tobytes()
    first = len(pcm("Drain plug forty.", after=0.0))
    data = sound[:first] + pause + sound[first:]
    connected, hello = open_line(client, job)
    with connected as line:
        line.send_json(hello)
        for start in range(0, len(data), RATE // 5):
            line.send_bytes(data[start : start + RATE // 5])
        line.receive_json()
    assert torques(shop, job) == [41]
    heard = [e.body["text"] for e in shop.session(job).state.entries if e.kind == "heard"]
    assert heard == ["drain plug forty one foot pounds"]


def test_what_waits_when_the_line_breaks_is_recorded(client, shop, job):
    connected, hello = open_line(client, job)
    with connected as line:
        line.send_json(hello)
        line.send_bytes(pcm("Drain plug four one.", after=0.8))
        time.sleep(1.0)  # it was heard, or is being heard, and no silence of 1.2 s has come
        assert torques(shop, job) == []
    until = time.monotonic() + 10
    while not torques(shop, job) and time.monotonic() < until:
        time.sleep(0.05)
    assert torques(shop, job) == [41]


def test_push_to_talk_waits_for_nothing(client, shop, job):
    connected, hello = open_line(client, job, mode="push")
    with connected as line:
        line.send_json(hello)
        line.send_text("press")
        line.send_bytes(pcm("Drain plug four one.", after=0.1))
        line.send_text("release")
        line.receive_json()  # no more sound comes
    assert torques(shop, job) == [41]
