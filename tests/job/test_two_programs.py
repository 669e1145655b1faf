"""Two programs on one job, as on two PCs: who is second at the same moment plans it anew."""

from pathlib import Path

import pytest

from joblog.errors import InputError
from joblog.job.session import JobSession
from joblog.record import open_store
from joblog.sheet.load import library, sheet_text

PHOTO = sorted((Path(__file__).parents[2] / "sample_images").glob("*.jpg"))[0]
OPENING = {"unit": {"type": "KT-6F"}, "technician": "Imani Okafor"}


def kinds(session):
    return [entry.kind for entry in session.state.entries[1:]]


def both(tmp_path):
    """Two sessions of one job, each with a store of its own on the same folder."""
    here, there = open_store(tmp_path), open_store(tmp_path)
    one = JobSession.start(here, sheet_text(library()["transaxle-drain-fill"]), OPENING)
    return one, JobSession.resume(there, one.job)


def between(monkeypatch, session, meanwhile):
    """Let something happen once, after ``session`` has planned and before it appends."""
    append = session.store.append_all
    todo = [meanwhile]

    def late(*args, **named):
        if todo:
            todo.pop()()
        return append(*args, **named)

    monkeypatch.setattr(session.store, "append_all", late)


def test_the_same_amount_said_at_the_same_moment_is_asked_about(tmp_path, monkeypatch):
    one, two = both(tmp_path)
    with one.store, two.store:
        between(monkeypatch, two, lambda: one.type_in("three quarts out", "Imani"))
        reply = two.type_in("three quarts out", "Jonas")
        assert kinds(two) == ["quantity", "asked"]
        assert reply.tone == "again"
        assert one.store.verify(one.job).whole


def test_a_job_closed_at_the_same_moment_takes_no_more(tmp_path, monkeypatch):
    one, two = both(tmp_path)
    with one.store, two.store:
        between(monkeypatch, two, lambda: one.close("aborted", "the customer came early"))
        reply = two.type_in("vehicle checked", "Jonas")
        assert kinds(two) == ["job-closed"]
        assert "closed" in reply.shown


def test_a_job_closed_at_the_same_moment_is_closed_once(tmp_path, monkeypatch):
    one, two = both(tmp_path)
    with one.store, two.store:
        between(monkeypatch, two, lambda: one.close("finished", "the customer came early"))
        reply = two.close("finished", "no time left")
        assert kinds(two).count("job-closed") == 1
        assert "closed" in reply.shown


def test_no_photo_comes_behind_a_closing(tmp_path, monkeypatch):
    one, two = both(tmp_path)
    with one.store, two.store:
        between(monkeypatch, two, lambda: one.close("aborted", "the customer came early"))
        with pytest.raises(InputError, match="closed"):
            two.photo(PHOTO.read_bytes(), "other")
        assert kinds(two) == ["job-closed"]


def test_who_is_overtaken_again_and_again_is_recorded_all_the_same(tmp_path, monkeypatch):
    one, two = both(tmp_path)
    with one.store, two.store:
        append = two.store.append_all

        def late(*args, **named):
            one.type_in("note somebody talks without end", "Imani")
            return append(*args, **named)

        monkeypatch.setattr(two.store, "append_all", late)
        assert two.type_in("vehicle checked", "Jonas").tone == "ok"
        assert kinds(two).count("step-done") == 1
        assert one.store.verify(one.job).whole
