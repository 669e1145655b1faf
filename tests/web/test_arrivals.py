"""Pictures from a watched folder and from a camera, with ``joblog serve`` as it really runs."""

import hashlib
import json
import re
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

import cv2
import pytest

from joblog.cli import main
from joblog.vision.watch import FolderWatch
from joblog.web.arrivals import take_file

SAMPLES = Path(__file__).parents[2] / "sample_images"
PLUG, STICK = (SAMPLES / f"{name}-before.jpg" for name in ("plug", "dipstick"))
PATIENCE = 60  # seconds for a machine in use


class Serving:
    """A running ``joblog serve`` and what a browser would ask it."""

    def __init__(self, port, process):
        self.base, self.process = f"http://127.0.0.1:{port}", process

    def _ask(self, path, data=None, kind="application/json"):
        request = urllib.request.Request(self.base + path, data, {"Content-Type": kind})
        with urllib.request.urlopen(request, timeout=PATIENCE) as answer:
            return answer.url, answer.read().decode()

    def begin(self, **unit):
        form = {"sheet": "transaxle-drain-fill", "type": "KT-6F", **unit}
        url, _ = self._ask("/jobs", urlencode(form).encode(), "application/x-www-form-urlencoded")
        return url.rsplit("/", 1)[1]

    def say(self, job, text, by=""):
        said = json.dumps({"text": text, "by": by}).encode()
        return json.loads(self._ask(f"/api/jobs/{job}/say", said)[1])

    def view(self, job):
        return json.loads(self._ask(f"/api/jobs/{job}")[1])

    def photos(self, job):
        lines = self._ask(f"/api/jobs/{job}/record.jsonl")[1].splitlines()
        return [entry for entry in map(json.loads, lines) if entry["kind"] == "photo"]

    def jobs_page(self):
        return self._ask("/")[1]

    def until(self, true):
        end = time.monotonic() + PATIENCE
        while not true():
            assert time.monotonic() < end
            time.sleep(0.1)


@contextmanager
def serving(folder, *options):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "joblog", "serve", "--port", str(port), "--data"]
    with (folder / "told.txt").open("w") as told:
        process = subprocess.Popen([*command, str(folder / "data"), *options], stderr=told)
        try:
            shop = Serving(port, process)
            end = time.monotonic() + PATIENCE
            while time.monotonic() < end and process.poll() is None:
                try:
                    socket.create_connection(("127.0.0.1", port)).close()
                    break
                except OSError:
                    time.sleep(0.1)
            yield shop
        finally:
            process.terminate()
            process.wait(PATIENCE)


@pytest.fixture
def card(tmp_path):
    """The folder that a camera copies to; a picture of yesterday and a folder lie there already."""
    folder = tmp_path / "card"
    (folder / "x.jpg").mkdir(parents=True)
    (folder / "old.jpg").write_bytes(STICK.read_bytes())
    return folder


def wanting(shop):
    """Begin a job and go on until its next step wants a photo."""
    job = shop.begin()
    script = Path(__file__).parents[1] / "sheet" / "scripts" / "transaxle-drain-fill.txt"
    for line in script.read_text(encoding="utf-8").splitlines():
        if shop.view(job)["photo"]:
            break
        if line and line[0] not in "#>+":
            shop.say(job, line)
    return job


def sha_of(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_picture_goes_once_to_the_job_that_asked_last(tmp_path, card):
    with serving(tmp_path, "--watch", str(card)) as shop:
        other, job, third = shop.begin(), shop.begin(), shop.begin()
        assert shop.say(other, "photo dipstick")["shown"].startswith("Photo dipstick")
        shop.say(job, "photo plug", "Imani Okafor")
        (card / "later.jpg").mkdir()
        data = PLUG.read_bytes()
        with (card / "IMG_1.JPG").open("wb") as half:  # a copy that stops for a moment
            half.write(data[: len(data) // 2])
            half.flush()
            time.sleep(1.2)
            assert not shop.photos(job)
            half.write(data[len(data) // 2 :])
        shop.until(lambda: shop.photos(job))
        (photo,) = shop.photos(job)
        assert (photo["body"]["kind"], photo["by"]) == ("plug", "Imani Okafor")
        assert photo["body"]["measurement"]["usable"]
        assert [m["role"] for m in photo["media"]] == ["photo", "overlay"]
        assert (
            photo["media"][0] | {"sha256": sha_of(PLUG), "name": "IMG_1.JPG"} == photo["media"][0]
        )
        assert "Photo plug, good" in shop.view(job)["reply"]["shown"]
        assert "IMG_1" not in shop.jobs_page()
        (card / "IMG_2.JPG").write_bytes(data)  # the same picture: not for the one that still asks
        shop.until(lambda: "IMG_2.JPG" in shop.jobs_page())
        assert "not taken twice" in shop.jobs_page()
        (card / "IMG_3.JPG").write_bytes(STICK.read_bytes())
        shop.until(lambda: shop.photos(other))
        assert [p["body"]["kind"] for p in shop.photos(other)] == ["dipstick"]
        assert len(shop.photos(job)) == 1
        assert not shop.photos(third)
        assert (card / "IMG_1.JPG").read_bytes() == data


def test_picture_that_nobody_asked_for_is_the_next_steps(tmp_path, card):
    with serving(tmp_path, "--watch", str(card)) as shop:
        (card / "a.jpg").write_bytes(STICK.read_bytes())
        shop.until(lambda: "no open job wants a photo" in shop.jobs_page())
        assert "a.jpg" in (tmp_path / "told.txt").read_text()
        job = wanting(shop)
        kind = shop.view(job)["photo"]
        assert kind == "dipstick"
        assert not shop.photos(job)  # what came before any job is not taken later
        (card / "b.jpg").write_text("no picture at all")
        shop.until(lambda: "b.jpg" in shop.jobs_page())
        assert not shop.photos(job)
        (card / "a.jpg").write_bytes(STICK.read_bytes())  # copied in again
        shop.until(lambda: shop.photos(job))
        assert [p["body"]["kind"] for p in shop.photos(job)] == [kind]
        assert 'role="status"' not in shop.jobs_page()


def test_between_several_jobs_it_is_not_guessed(tmp_path, card):
    with serving(tmp_path, "--watch", str(card)) as shop:
        jobs = [wanting(shop), wanting(shop)]
        assert all(shop.view(job)["photo"] for job in jobs)
        (card / "a.jpg").write_bytes(PLUG.read_bytes())
        shop.until(lambda: "several open jobs want a photo" in shop.jobs_page())
        assert not any(shop.photos(job) for job in jobs)


def test_folder_that_is_not_there_is_one_sentence(tmp_path, capsys):
    assert main(["serve", "--data", str(tmp_path), "--port", "0"]) == 2
    capsys.readouterr()
    arguments = ["serve", "--data", str(tmp_path), "--watch", str(tmp_path / "gone")]
    assert main([*arguments, "--port", str(free_port())]) != 0
    told = capsys.readouterr().err
    assert "watched folder" in told
    assert len(told.splitlines()) == 1


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def test_camera_takes_what_is_asked_for(tmp_path):
    film = tmp_path / "plug.avi"
    frame = cv2.imread(str(PLUG))
    writer = cv2.VideoWriter(str(film), cv2.VideoWriter.fourcc(*"MJPG"), 5, frame.shape[1::-1])
    for _ in range(3):
        writer.write(frame)
    writer.release()
    with serving(tmp_path, "--camera", str(film)) as shop:
        job = shop.begin()
        assert shop.say(job, "photo plug", "Imani Okafor")["tone"] == "ok"
        shop.until(lambda: shop.photos(job))
        (photo,) = shop.photos(job)
        assert (photo["body"]["kind"], photo["by"]) == ("plug", "Imani Okafor")
        assert photo["body"]["measurement"]["usable"]
        assert photo["media"][0]["name"] == "camera"
        assert re.search("Photo plug, good", shop.view(job)["reply"]["shown"])
        time.sleep(1)
        assert len(shop.photos(job)) == 1


@pytest.mark.parametrize("camera", ["97", "nothing.avi"])
def test_no_camera_is_one_sentence_and_a_phone_still_can(tmp_path, camera):
    with serving(tmp_path, "--camera", camera) as shop:
        job = shop.begin()
        shop.say(job, "photo plug after")
        shop.until(lambda: "can't be opened" in shop.view(job)["reply"]["shown"])
        assert "A phone can still take the photo." in shop.view(job)["reply"]["shown"]
        assert not shop.photos(job)
        data = PLUG.read_bytes()
        path = f"/api/jobs/{job}/photos/{sha_of(PLUG)}?kind=plug"
        request = urllib.request.Request(shop.base + path, data, method="PUT")
        urllib.request.urlopen(request, timeout=PATIENCE).close()
        assert shop.photos(job)[0]["body"]["phase"] == "after"  # as it was asked for


def test_a_file_must_be_still_for_several_looks_and_a_folder_is_none(tmp_path):
    watch = FolderWatch(tmp_path, still=3)
    (tmp_path / "folder.jpg").mkdir()
    path = tmp_path / "a.jpg"
    path.write_bytes(b"half")
    assert [watch.look() for _ in range(3)] == [[], [], []]
    path.write_bytes(b"half and half")
    assert [watch.look() for _ in range(3)] == [[], [], []]
    assert watch.look() == [path]
    assert [watch.look() for _ in range(4)] == [[], [], [], []]


def test_who_asked_for_a_photo_is_told_why_a_file_was_not_taken(client, job, tmp_path):
    shop, bad = client.app.state.shop, tmp_path / "bad.jpg"
    bad.write_text("no picture at all")
    session = shop.session(job)
    take_file(shop, bad)  # nobody waits for one
    assert "bad.jpg" not in session.last_reply.shown
    session.type_in("photo dipstick")
    take_file(shop, bad)
    assert session.last_reply.shown.startswith("bad.jpg: the photo is no picture")
    assert session.asks  # it still waits
