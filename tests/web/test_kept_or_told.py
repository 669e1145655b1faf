"""What the shop PC could not keep is told to whoever said it, and can be said or sent once more."""

import asyncio
import shutil
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from joblog.audio.types import RATE, Utterance
from joblog.errors import StoreError, UnansweredError
from joblog.web.arrivals import take_file
from joblog.web.listen import Ear

PICTURE = Path(__file__).resolve().parents[2] / "sample_images" / "dipstick-before.jpg"


@contextmanager
def locked(folder):
    """Hold the database as another program does."""
    other = sqlite3.connect(folder / "joblog.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


@contextmanager
def refused(folder, kind):
    """Let the database itself refuse entries of a kind, as on a disk that fills up there."""
    raw = sqlite3.connect(folder / "joblog.db")
    raw.execute(
        "CREATE TRIGGER no_room BEFORE INSERT ON joblog_entries "
        f'WHEN instr(NEW.line, \'"kind":"{kind}"\') '
        "BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
    )
    try:
        yield
    finally:
        raw.execute("DROP TRIGGER no_room")
        raw.commit()
        raw.close()


def kinds(client, job):
    return [entry.kind for entry in client.app.state.shop.session(job).state.entries]


def test_what_a_microphone_heard_and_could_not_be_kept_is_told_aloud(client, job, tmp_path):
    sent = []

    async def send_json(message):
        sent.append(message)

    socket = SimpleNamespace(app=client.app, send_json=send_json)
    ear = Ear(socket, client.app.state.shop.session(job), {"rate": RATE, "who": "pocket"})
    with locked(tmp_path), ThreadPoolExecutor(1) as pool:
        said = Utterance(np.zeros(RATE, np.float32))
        pool.submit(asyncio.run, ear.answer(said)).result()
    reply = sent[0]["reply"]
    assert reply["spoken"] == "See the screen."
    assert reply["pieces"]
    assert "locked by another program; nothing was written" in reply["shown"]
    assert kinds(client, job) == ["job-opened"]


def test_a_copied_picture_comes_again_once_the_database_is_free(client, job, tmp_path):
    shop = client.app.state.shop
    card = tmp_path / "card"
    card.mkdir()
    picture = Path(shutil.copy(PICTURE, card / "IMG_1.jpg"))
    client.post(f"/api/jobs/{job}/say", json={"text": "photo dipstick", "by": "Imani"})
    with locked(tmp_path):
        assert not take_file(shop, picture)
        assert "IMG_1.jpg: the store" in shop.told
        assert "tried again by itself" in shop.told
    assert len(shop.session(job).asks) == 1  # it is still asked for
    assert take_file(shop, picture)
    assert kinds(client, job)[-1] == "photo"
    assert shop.told == ""
    client.post(f"/api/jobs/{job}/say", json={"text": "photo dipstick", "by": "Imani"})
    assert take_file(shop, picture)
    assert "in the record already" in shop.told


def test_an_answer_is_kept_with_the_value_that_it_chose_or_not_at_all(client, job, tmp_path):
    session = client.app.state.shop.session(job)
    session.type_in("torque drain plug one twenty")
    assert len(session.state.questions) == 1
    with refused(tmp_path, "torque"), pytest.raises(StoreError):
        session.type_in("first")
    assert len(session.state.questions) == 1
    assert "plug 1.2 lbf" in session.type_in("first").shown
    assert kinds(client, job)[-2:] == ["answered", "torque"]


def test_of_what_is_recorded_only_the_answer_is_said_to_be_missing(client, job, monkeypatch):
    session = client.app.state.shop.session(job)
    append = session.store.append_all

    def goes_away_behind(*args, **named):
        made = append(*args, **named)

        def away(*_, **__):
            raise StoreError("the store does not answer")

        monkeypatch.setattr(session.store, "entries", away)
        return made

    with monkeypatch.context() as gone:
        gone.setattr(session.store, "append_all", goes_away_behind)
        with pytest.raises(UnansweredError, match="recorded all the same"):
            session.type_in("vehicle checked")
    monkeypatch.undo()
    assert kinds(client, job) == ["job-opened", "step-done"]


def test_a_link_that_can_not_be_kept_is_one_sentence(client, job, tmp_path):
    (tmp_path / "access.new").mkdir()
    for path, body in ((f"/api/jobs/{job}/link", {}), ("/phones/pair", None)):
        answer = client.post(path, json=body)
        assert answer.status_code == 503
        assert "Who may come in can't be kept in" in answer.json()["error"]


def test_entries_taken_out_while_the_job_is_open_end_it(client, job, tmp_path):
    for text in ("note one", "note two", "note three"):
        client.post(f"/api/jobs/{job}/say", json={"text": text, "by": "Imani"})
    raw = sqlite3.connect(tmp_path / "joblog.db")
    raw.execute("DROP TRIGGER joblog_keep_entries_delete")
    raw.execute("DELETE FROM joblog_entries WHERE seq > 1")
    raw.commit()
    raw.close()
    said = client.post(f"/api/jobs/{job}/say", json={"text": "note four", "by": "Imani"})
    answers = [said, client.get(f"/desk/{job}"), client.get(f"/job/{job}/report.pdf")]
    for answer in answers:
        assert answer.status_code == 400
        assert "no longer holds this job as it was opened" in answer.text
    assert len(client.app.state.shop.store.entries(job)) == 2
