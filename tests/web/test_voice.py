"""The read-back over the web: what is played, and that no microphone of the job hears it."""

import json
import shutil
from types import SimpleNamespace

import numpy as np
from starlette.testclient import TestClient

from joblog.readback.clips import FOLDER, SOUND, load_clips, stock
from joblog.readback.sequence import pieces_of
from joblog.readback.sound import RATE, spoken_sound
from joblog.web.app import create_app
from joblog.web.halfduplex import LONGEST, Speaking
from joblog.web.listen import Ear
from joblog.web.shop import Shop

FORM = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "technician": "Imani Okafor"}
CLIPS = load_clips()


def heard(client, job):
    """Return what the record says was heard."""
    entries = client.app.state.shop.session(job).state.entries
    return [entry.body["text"] for entry in entries if entry.kind == "heard"]


def pcm(text):
    """Return a spoken sentence with a quiet room before and after it, 16-bit samples."""
    sound = np.concatenate([np.zeros(RATE // 2), spoken_sound(text, CLIPS), np.zeros(RATE)])
    noise = np.random.default_rng(1).standard_normal(len(sound)) * 1e-3
    return ((sound + noise) * 32767).astype("<i2").tobytes()


def send_sound(socket, text):
    """Send a spoken sentence, 100 ms at a time."""
    data = pcm(text)
    for start in range(0, len(data), RATE // 5):
        socket.send_bytes(data[start : start + RATE // 5])


def listening(client, job, who="pocket"):
    socket = client.websocket_connect(f"/api/jobs/{job}/listen")
    hello = {"rate": RATE, "mode": "open", "by": "Imani", "who": who}
    return socket, json.dumps(hello)


def test_reply_carries_the_clips_that_say_it(client, job):
    answer = client.post(f"/api/jobs/{job}/say", json={"text": "vehicle checked"}).json()
    said = " ".join(piece.get("clip", "") for piece in answer["pieces"]).split()
    assert said == ["vehicle", "checked", "next", "vehicle", "level"]
    index = client.get("/static/clips/index.json").json()
    sound = client.get("/static/clips/voice.ogg")
    assert sound.content == CLIPS.sound
    for piece in answer["pieces"]:
        if "clip" in piece:
            start, length, *_ = index["clips"][piece["clip"]]
            assert sound.content[start : start + length].startswith(b"OggS")


def test_what_is_played_is_never_heard_as_a_command(client, job):
    connected, hello = listening(client, job)
    with connected as socket:
        socket.send_text(hello)
        socket.send_text("speaking")
        send_sound(socket, "Vehicle checked.")  # the loudspeaker, as the microphone gets it
        socket.send_text("spoken")
        send_sound(socket, "Vehicle level.")  # a person says it afterwards
        told = [socket.receive_json(), socket.receive_json()]
        answer = socket.receive_json()
    assert told == [{"hears": False}, {"hears": True}]
    assert "Vehicle level" in answer["reply"]["spoken"]
    assert heard(client, job) == ["vehicle level"]


def test_while_another_device_of_the_bay_speaks_the_microphone_is_deaf(client, job):
    def speaks(seconds):
        begun = {"who": "screen", "seconds": seconds}
        return client.post(f"/api/jobs/{job}/speaking", json=begun).json()["speaking"]

    shop = client.app.state.shop
    ear = Ear(SimpleNamespace(app=client.app), shop.session(job), {"rate": RATE, "who": "pocket"})
    assert speaks(20)
    assert ear.feed(pcm("Vehicle checked.")) == []
    assert not speaks(0)
    assert len(ear.feed(pcm("Vehicle level."))) == 1
    other = client.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
    next_bay = Ear(SimpleNamespace(app=client.app), shop.session(other), {"rate": RATE})
    assert speaks(20)
    assert len(next_bay.feed(pcm("Vehicle level."))) == 1  # other jobs go on hearing


def test_without_deafness_the_read_back_would_be_heard(client, job):
    connected, hello = listening(client, job)
    with connected as socket:
        socket.send_text(hello)
        send_sound(socket, "Vehicle checked.")
        assert "Vehicle checked" in socket.receive_json()["reply"]["spoken"]


def test_the_device_that_speaks_may_be_pressed_to_talk_at_once(client, job):
    socket = client.websocket_connect(f"/api/jobs/{job}/listen")
    with socket as line:
        line.send_text(json.dumps({"rate": RATE, "mode": "push", "by": "Imani", "who": "me"}))
        client.post(f"/api/jobs/{job}/speaking", json={"who": "me", "seconds": 9})
        line.send_text("speaking")
        line.send_bytes(b"\0\0" * RATE)
        line.send_text("spoken")
        line.send_text("press")
        send_sound(line, "Vehicle checked.")
        line.send_text("release")
        assert [line.receive_json(), line.receive_json()] == [{"hears": False}, {"hears": True}]
        assert "Vehicle checked" in line.receive_json()["reply"]["spoken"]


def test_a_device_that_goes_away_does_not_leave_a_bay_deaf():
    now = [100.0]
    speaking = Speaking(now=lambda: now[0])
    speaking.begin("job", "screen", 1e9)
    assert speaking.on("job")
    assert not speaking.on("job", but="screen")
    assert not speaking.on("other job")
    now[0] += LONGEST + 1
    assert not speaking.on("job")


def test_altered_clips_are_told_and_the_words_go_as_text(tmp_path):
    folder = tmp_path / "clips"
    shutil.copytree(FOLDER, folder)
    (folder / SOUND).write_bytes(CLIPS.sound[:-1] + b"\0")
    shop = Shop.at(tmp_path / "shop")
    shop.voice = stock(folder)
    with TestClient(create_app(shop)) as client:
        job = client.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
        view = client.get(f"/api/jobs/{job}").json()
        assert "voice.ogg was altered" in view["voice"]["why"]
        answer = client.post(f"/api/jobs/{job}/say", json={"text": "vehicle checked"}).json()
    assert "clip" not in str(answer["pieces"])
    assert [piece.as_json() for piece in pieces_of(answer["spoken"], {})] == answer["pieces"]
