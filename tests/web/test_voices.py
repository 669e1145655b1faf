"""Teaching joblog a voice on its page, with real sound, and hearing with it on a job."""

import time
from functools import partial

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from joblog.cli import main
from joblog.errors import InputError
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE, spoken_sound
from joblog.sheet.load import sheet_text
from joblog.speech.second_ear import DIGITS
from joblog.speech.voice import STRINGS, learn_voice
from joblog.web.app import create_app
from joblog.web.shop import Shop
from joblog.web.voices import Courses, _taken

NAME = "Imani Okafor"


@pytest.fixture
def shop(tmp_path):
    return Shop.at(tmp_path)


@pytest.fixture
def client(shop):
    with TestClient(create_app(shop)) as client:
        yield client


def read(client, string, name=NAME):
    """Send a row of digits as a deep, slow voice reads it; the page's sound is 16-bit."""
    words = " ".join(DIGITS[int(sign)] for sign in string)
    sound = np.asarray(spoken_sound(words, load_clips()), np.float32).reshape(-1)
    pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes()
    query = {"name": name, "rate": int(RATE / 1.3)}  # played slower, it is another's voice
    return client.put("/api/voice/read", params=query, content=pcm)


def begin_learning(client):
    course = client.post("/api/voice/begin", json={"name": NAME}).json()
    while course["wanted"]:
        course = read(client, course["wanted"].replace(" ", "")).json()
        assert not course["told"]
    return client.post("/api/voice/learn", json={"name": NAME}).json()


def learn(client, monkeypatch):
    briefly = partial(learn_voice, made=120, epochs=3)
    monkeypatch.setattr("joblog.speech.lesson.learn_voice", briefly)
    begin_learning(client)
    for _ in range(600):
        course = client.get("/api/voice/lesson", params={"name": NAME}).json()
        if course["done"]:
            return course
        time.sleep(0.5)
    raise AssertionError("it never ended")


def test_a_voice_is_learnt_used_on_a_job_and_forgotten(client, shop, monkeypatch):
    course = learn(client, monkeypatch)
    assert course["told"].startswith(f"The voice of {NAME} is learnt: in noise that joblog made"), (
        course
    )
    assert NAME in client.get("/voice").text
    assert shop.session(shop.begin(sheet_text("wheel-refit"), {})).voice_of(NAME) is not None
    told = client.post("/api/voice/forget", json={"name": NAME.lower()}).json()["told"]
    assert told == f"The voice of {NAME.lower()} is deleted."
    assert "None yet" in client.get("/voice").text


def test_a_damaged_voice_is_told_on_its_page_and_loses_no_phrase(client, shop):
    shop.voices.folder.mkdir(parents=True)
    path = shop.voices._path(NAME)
    path.write_bytes(b"no archive")
    assert "is damaged" in client.get("/voice").text
    assert shop._voice_of(NAME) is None


def test_bad_input_gets_one_sentence(client):
    assert client.post("/api/voice/begin", json={"name": "  "}).status_code == 400
    lost = read(client, "4071", "Nobody")
    assert lost.json()["error"] == "This lesson is not there any more; begin it anew."
    client.post("/api/voice/begin", json={"name": NAME})
    few = client.post("/api/voice/learn", json={"name": NAME})
    assert few.json()["error"] == "Too few strings were read to learn from; begin anew."
    query = {"name": NAME, "rate": 16_000}
    long = client.put("/api/voice/read", params=query, content=bytes(2 * 16_000 * 16))
    assert long.json()["error"] == "Read one string at a time, in at most 15 seconds."
    odd = client.put("/api/voice/read", params=query | {"rate": 7}, content=b"12")
    assert "from 8000 to 192000" in odd.json()["error"]
    silence = client.put("/api/voice/read", params=query, content=bytes(32_000)).json()
    assert silence["told"].endswith(f"Read {' '.join(STRINGS[0])} once more.")
    assert silence["read"] == 0
    left = client.post("/api/voice/leave-out", json={"name": NAME}).json()
    assert left["wanted"] == " ".join(STRINGS[1])
    assert client.post("/api/voice/forget", json={"name": "Nobody"}).json()["told"] == (
        "No voice of Nobody is known."
    )


def test_lessons_are_bounded_and_one_that_is_learnt_from_stays():
    courses = Courses()
    first = courses.begin("technician 0")
    first.share = 0.5
    for number in range(1, 20):
        courses.begin(f"technician {number}")
    assert len(courses._by_name) == 8
    assert courses.find("Technician 0") is first
    with pytest.raises(InputError, match="joblog learns from what technician 0 read; wait"):
        courses.begin("technician 0")


def test_a_row_read_while_joblog_learns_is_refused_not_lost(shop):
    courses = Courses()
    courses.begin(NAME).share = 0.5
    with pytest.raises(InputError, match="begin anew to read more"):
        _taken(shop, courses, NAME, b"", RATE)


def test_a_lesson_that_nobody_goes_on_with_is_dropped(monkeypatch):
    courses = Courses()
    courses.begin("Dana Ito")
    monkeypatch.setattr("joblog.web.voices.IDLE_SECONDS", 0.0)
    with pytest.raises(InputError, match="begin it anew"):
        courses.find("Dana Ito")


def test_forgetting_stops_what_is_being_learnt(client, shop, monkeypatch):
    begun = begin_learning(client)
    assert not begun["done"]
    client.post("/api/voice/forget", json={"name": NAME})
    for _ in range(200):
        course = client.get("/api/voice/lesson", params={"name": NAME}).json()
        if course["done"]:
            break
        time.sleep(0.1)
    assert course["told"] == "Nothing was learnt: it was stopped."
    assert shop.voices.find(NAME) is None


def test_the_command_line_learns_lists_and_forgets(tmp_path, monkeypatch, capsys):
    briefly = partial(learn_voice, made=120, epochs=3)
    monkeypatch.setattr("joblog.speech.lesson.learn_voice", briefly)
    words = [" ".join(DIGITS[int(sign)] for sign in string) for string in STRINGS]
    pause = np.zeros(int(1.2 * RATE), np.float32)
    clips = load_clips()
    parts = [np.asarray(spoken_sound(each, clips), np.float32).reshape(-1) for each in words]
    whole = np.concatenate([part for each in parts for part in (pause, each)] + [pause])
    slow = tmp_path / "read.wav"
    soundfile.write(slow, whole, int(RATE / 1.3))
    data = ["--data", str(tmp_path / "shop")]
    assert main(["voice", "learn", NAME, "--source", str(slow), *data]) == 0
    said = capsys.readouterr().out
    assert said.startswith(
        "Read aloud, digit by digit, in one go: 4 0 7 1\nGood. Now: 2 9 5 3\n"
    ), said
    assert f"The voice of {NAME} is learnt" in said
    assert main(["voice", "list", *data]) == 0
    assert capsys.readouterr().out.startswith(f"{NAME}  since 20")
    assert main(["voice", "forget", NAME, *data]) == 0
    assert main(["voice", "forget", NAME, *data]) == 1
    assert f"no voice of {NAME} is known" in capsys.readouterr().err


def test_a_row_that_can_t_be_read_is_left_out_on_the_command_line(tmp_path, capsys):
    clips, pause = load_clips(), np.zeros(int(1.2 * RATE), np.float32)
    second = " ".join(DIGITS[int(sign)] for sign in STRINGS[1])
    row = np.asarray(spoken_sound(second, clips), np.float32).reshape(-1)
    source = tmp_path / "read.wav"
    soundfile.write(source, np.concatenate([pause, *[row, pause] * 5]), RATE)
    assert main(["voice", "learn", NAME, "--source", str(source)]) == 1
    told = capsys.readouterr().out.splitlines()
    assert told[4:] == ["This one is left out. Now: 2 9 5 3", f"Good. Now: {' '.join(STRINGS[2])}"]


def test_the_command_line_says_when_too_little_was_read(tmp_path, capsys):
    silence = tmp_path / "silence.wav"
    soundfile.write(silence, np.zeros(48_000, np.float32), 16_000)
    assert main(["voice", "learn", NAME, "--source", str(silence)]) == 1
    assert "only 0 rows were heard; read them again, in quiet." in capsys.readouterr().err
