"""A shop that is open for days: what waits for whom, and what is let go."""

import asyncio
import hashlib
import threading
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from joblog.errors import ModelError
from joblog.job import photographing
from joblog.web import shop as shops
from joblog.web.app import create_app
from joblog.web.arrivals import take_file
from joblog.web.shop import LOOKS, Shop

PLUG = (Path(__file__).parents[2] / "sample_images" / "plug-before.jpg").read_bytes()
FORM = {"sheet": "coolant", "technician": "Imani Okafor"}
PATIENCE = 60  # seconds; nothing waits that long where all is well


def test_pages_open_while_the_recogniser_is_loaded(client, job):
    shop, loading, goes_on = client.app.state.shop, threading.Event(), threading.Event()

    def load():
        loading.set()
        goes_on.wait(PATIENCE)
        raise ModelError("there is no model in this test")

    shop.load_engine = load
    with ThreadPoolExecutor(2) as other:
        asked = other.submit(shop.has_model)
        assert loading.wait(PATIENCE)
        try:
            page = other.submit(client.get, f"/job/{job}").result(PATIENCE)
        finally:
            goes_on.set()
        assert page.status_code == 200
        assert "no model" in asked.result(PATIENCE)


@pytest.mark.parametrize("what", ["photo", "microphone"])
def test_who_waits_for_a_job_to_be_opened_stops_nobody_else(client, job, what):
    shop = client.app.state.shop

    def asks():
        if what == "photo":
            place = f"/api/jobs/{job}/photos/{hashlib.sha256(PLUG).hexdigest()}?kind=other"
            return client.put(place, content=PLUG).status_code
        with client.websocket_connect(f"/api/jobs/{job}/listen") as socket:
            socket.send_json({"rate": 16000})
            socket.send_text("nonsense")
            return 200 if "not understood" in socket.receive_json()["error"] else 500

    with ThreadPoolExecutor(2) as other:
        with shop._lock:  # as while another job's long record is read
            waits = other.submit(asks)
            with pytest.raises(TimeoutError):
                waits.result(0.5)
            assert other.submit(client.get, "/static/mark.svg").result(PATIENCE).status_code == 200
        assert waits.result(PATIENCE) == 200


def test_closed_jobs_are_let_go_and_read_again(client, monkeypatch):
    monkeypatch.setattr(shops, "KEPT", 3)
    shop, jobs = client.app.state.shop, []
    for _ in range(6):
        jobs.append(client.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:])
    for job in jobs[:4]:
        client.post(f"/api/jobs/{job}/close", json={"how": "aborted", "reason": "in this test"})
    client.app.state.shop._sessions.clear()
    for job in (*jobs, *jobs):
        assert client.get(f"/desk/{job}").status_code == 200
    kept = {session.job for session in shop.opened()}
    assert set(jobs[4:]) <= kept  # what is open stays, with what was answered last
    assert len(kept) == 3


@pytest.mark.parametrize("way", ["phone", "folder"])
def test_no_phrase_waits_for_a_picture_to_be_measured(client, monkeypatch, tmp_path, way):
    """The real measurement, which here begins only when the phrase has been answered."""
    form = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "technician": "Imani Okafor"}
    job = client.post("/jobs", data=form, follow_redirects=False).headers["location"][5:]
    measure, looks, goes_on = photographing._measure, [], threading.Event()
    looked = threading.Event()

    def in_time(*photo):
        looks.append(photo[1])
        looked.set()
        assert goes_on.wait(PATIENCE)
        return measure(*photo)

    monkeypatch.setattr(photographing, "_measure", in_time)
    monkeypatch.setattr(photographing, "_looks", OrderedDict())  # another test had this picture
    place = f"/api/jobs/{job}/photos/{hashlib.sha256(PLUG).hexdigest()}?kind=plug"
    picture = tmp_path / "plug.jpg"
    picture.write_bytes(PLUG)
    client.post(f"/api/jobs/{job}/say", json={"text": "photo plug"})
    with ThreadPoolExecutor(2) as other:
        if way == "phone":
            photo = other.submit(client.put, place, content=PLUG)
        else:
            photo = other.submit(take_file, client.app.state.shop, picture)
        try:
            assert looked.wait(PATIENCE)
            say = other.submit(client.post, f"/api/jobs/{job}/say", json={"text": "chocks in"})
            assert say.result(PATIENCE).json()["tone"] == "ok"
        finally:
            goes_on.set()
        photo.result(PATIENCE)
    assert looks == ["plug"]  # looked up when it was recorded, not measured twice
    state = client.app.state.shop.session(job).state
    kinds = [entry.kind for entry in state.entries]
    assert kinds.index("step-done") < kinds.index("photo")
    assert state.photos[0].usable


def test_so_many_pictures_are_looked_at_at_a_time_and_no_more(tmp_path):
    both, now, most = threading.Barrier(LOOKS), [], []

    def look(number):
        now.append(number)
        most.append(len(now))
        both.wait(PATIENCE)
        now.remove(number)
        return number

    async def all_of(shop):
        return await asyncio.gather(*(shop.look(look, number) for number in range(3 * LOOKS)))

    shop = Shop.at(tmp_path)
    with ThreadPoolExecutor(1) as other:  # where no browser's test has left an event loop running
        assert other.submit(asyncio.run, all_of(shop)).result(PATIENCE) == list(range(3 * LOOKS))
    shop.close()
    assert max(most) == LOOKS


@pytest.mark.parametrize(
    "mime", ["text/html", "text/javascript", "image/svg+xml", "application/pdf", "image/x\r\ny: z"]
)
def test_what_an_imported_record_calls_a_page_is_no_page_here(tmp_path, mime):
    """A record of another PC is whole and may name anything; a page of ours could ask the desk."""
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        job = client.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
        store = client.app.state.shop.store
        media = store.put_media(b"<script>alert(1)</script>", mime, role="photo", name="x")
        store.append(job, "photo-kept", {}, source="import", media=[media])
        answer = client.get(f"/api/jobs/{job}/media/{media.sha256}")
        assert answer.content == b"<script>alert(1)</script>"
        assert answer.headers["content-type"] == "application/octet-stream"
        assert "sandbox" in answer.headers["content-security-policy"]
