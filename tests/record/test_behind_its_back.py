"""What somebody does to the database in good form: swap jobs, renumber, cut, replace it."""

from __future__ import annotations

import os
import shutil
import sqlite3
from pathlib import Path

import pytest

from joblog.cli import main
from joblog.errors import RecordError, StoreError
from joblog.record import export_job, open_store
from joblog.record.appending import New
from tests.record.conftest import note


def tamper(folder: Path, *statements: str) -> None:
    raw = sqlite3.connect(folder / "joblog.db")
    triggers = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in triggers:
        raw.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        raw.execute(statement)
    raw.commit()
    raw.close()


def test_two_jobs_that_were_swapped_are_seen(tmp_path: Path, capsys) -> None:
    with open_store(tmp_path) as store:
        one, two = store.start_job(), store.start_job()
        for job in (one, two):
            note(store, job, "first")
            note(store, job, "second")
        swap = "UPDATE joblog_entries SET job = '{}' WHERE job = '{}'"
        tamper(
            tmp_path, swap.format("away", one), swap.format(one, two), swap.format(two, "away")
        )  # fmt: skip
        for job, other in ((one, two), (two, one)):
            verdict = store.verify(job)
            assert (verdict.whole, verdict.first_bad) == (False, 0)
            assert f"belongs to job {other}, and lies here as one of job {job}" in verdict.sentence
            with pytest.raises(RecordError, match="lies here as one of job"):
                store.whole(job)
    assert main(["verify", "--all", "--data", str(tmp_path)]) == 1
    assert "2 examined, 0 whole" in capsys.readouterr().out
    assert main(["jobs", "--data", str(tmp_path)]) == 0
    assert capsys.readouterr().out.count("altered") == 2


@pytest.mark.parametrize(
    "change", ["seq = seq + 100", "hash = prev", "id = seq || id", "prev = hash"]
)
def test_columns_that_say_otherwise_than_their_entry_are_seen(tmp_path: Path, change: str) -> None:
    with open_store(tmp_path) as store:
        job = store.start_job()
        note(store, job, "one")
        note(store, job, "two")
        tamper(tmp_path, f"UPDATE joblog_entries SET {change}")
        assert "under another number, id or hash than its own" in store.verify(job).sentence


def test_a_job_taken_off_the_list_is_listed_by_its_entries(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        job = store.start_job()
        note(store, job, "one")
        tamper(tmp_path, "DELETE FROM joblog_jobs")
        assert store.jobs() == [job]


def test_several_entries_are_kept_all_or_none(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        job = store.start_job()
        kept = note(store, job, "before")
        raw = sqlite3.connect(tmp_path / "joblog.db")  # a real refusal of the second one alone
        raw.execute(
            "CREATE TRIGGER no_room BEFORE INSERT ON joblog_entries WHEN NEW.seq = 2 "
            "BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
        both = [New("answered", {"answer": "first"}, "hand"), New("note", {"text": "x"}, "hand")]
        with pytest.raises(StoreError):
            store.append_all(job, both)
        assert store.entries(job) == [kept]
        raw.execute("DROP TRIGGER no_room")
        raw.commit()
        raw.close()
        made = store.append_all(job, both)
        assert [entry.seq for entry in made] == [1, 2]
        assert store.entries(job) == [kept, *made]
        assert store.verify(job).whole


def test_nothing_is_added_behind_an_entry_that_is_there_no_more(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        job = store.start_job()
        kept = note(store, job, "one")
        gone = note(store, job, "two")
        store.append_all(job, [New("note", {}, "hand")], behind=kept)  # others may have added
        tamper(tmp_path, "DELETE FROM joblog_entries WHERE seq > 0")
        with pytest.raises(RecordError, match="no longer holds this job as it was opened"):
            store.append_all(job, [New("note", {}, "hand")], behind=gone)
        assert store.entries(job) == [kept]


@pytest.mark.skipif(os.name == "nt", reason="Windows deletes and replaces no open file")
@pytest.mark.parametrize("back", [True, False])
def test_a_database_replaced_under_a_running_program_takes_nothing(
    tmp_path: Path, back: bool
) -> None:
    data, backup = tmp_path / "data", tmp_path / "backup"
    with open_store(data) as store:
        job = store.start_job()
        note(store, job, "in the backup")
    shutil.copytree(data, backup)
    with open_store(data) as store:
        note(store, job, "since then")
        for file in data.glob("joblog.db*"):
            file.unlink()
        if back:
            shutil.copy(backup / "joblog.db", data)
        for call in (lambda: note(store, job, "lost"), lambda: store.entries(job)):
            with pytest.raises(StoreError, match="moved, deleted or replaced while joblog was run"):
                call()
        assert (data / "joblog.db").exists() is back  # nor is an empty one put in its place


def test_a_new_job_is_kept_with_its_opening_or_not_at_all(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        raw = sqlite3.connect(tmp_path / "joblog.db")
        raw.execute(
            "CREATE TRIGGER no_room BEFORE INSERT ON joblog_entries "
            "BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
        with pytest.raises(StoreError, match="nothing was written"):
            store.begin_job([New("job-opened", {}, "hand")])
        assert store.jobs() == []
        raw.execute("DROP TRIGGER no_room")
        raw.commit()
        raw.close()
        job = store.begin_job([New("job-opened", {}, "hand")])
        assert [entry.kind for entry in store.entries(job)] == ["job-opened"]


def all_of(folder: Path, capsys) -> tuple[int, str]:
    status = main(["verify", "--all", "--data", str(folder)])
    return status, capsys.readouterr().out


def test_a_whole_store_says_what_it_can_not_show(tmp_path: Path, capsys) -> None:
    with open_store(tmp_path) as store:
        one, two = store.start_job(), store.start_job()
        note(store, one, "with a sound", media=[store.put_media(b"sound", "audio/flac")])
        note(store, two)
    status, told = all_of(tmp_path, capsys)
    assert status == 0
    assert "Remark" not in told
    assert "A job that was taken out as a whole" in told
    tamper(
        tmp_path,
        f"DELETE FROM joblog_entries WHERE job = '{one}'",
        f"DELETE FROM joblog_jobs WHERE id = '{one}'",
    )
    status, told = all_of(tmp_path, capsys)
    assert (status, told.count("Remark: no entry names 1 of the photos and sounds")) == (0, 1)


def test_a_photo_used_for_two_jobs_is_remarked_on(tmp_path: Path, capsys) -> None:
    with open_store(tmp_path) as store:
        photo = store.put_media(b"a clean plug", "image/jpeg", "photo")
        jobs = [store.start_job(), store.start_job()]
        for job in jobs:
            note(store, job, media=[photo])
    told = all_of(tmp_path, capsys)[1]
    assert f"Remark: the photo or sound {photo.sha256[:12]}… is in 2 jobs: " in told
    assert all(job in told for job in jobs)


def test_a_record_that_went_on_behind_the_printed_hash_is_not_called_another(
    tmp_path: Path, capsys
) -> None:
    with open_store(tmp_path) as store:
        job = store.start_job()
        printed = [note(store, job, text) for text in ("one", "two")][-1].hash
        command = ["verify", "--job", job, "--data", str(tmp_path), "--expect"]
        assert main([*command, printed]) == 0
        note(store, job, "signed")
    capsys.readouterr()
    assert main([*command, printed]) == 1
    assert (
        "does NOT end with the expected hash, that of its entry 1: 1 entry follows it. Up to there"
    ) in capsys.readouterr().out
    assert main([*command, "0" * 64]) == 1
    assert "The record is NOT the expected one" in capsys.readouterr().out


@pytest.mark.skipif(os.name == "nt", reason="there are no device files")
def test_what_is_no_file_beside_a_record_is_not_read(tmp_path: Path, capsys) -> None:
    with open_store(tmp_path / "data") as store:
        job = store.start_job()
        note(store, job, media=[store.put_media(b"sound", "audio/flac")])
        export_job(store, job, tmp_path / "out")
    (tmp_path / "out" / "endless.jsonl").symlink_to("/dev/zero")
    (tmp_path / "out" / "folder.jsonl").mkdir()
    assert main(["verify", str(tmp_path / "out")]) == 0
    assert "The record is whole" in capsys.readouterr().out


def test_a_job_that_can_not_be_read_hides_no_other(tmp_path: Path, capsys) -> None:
    with open_store(tmp_path) as store:
        one, two = store.start_job(), store.start_job()
        note(store, one)
        note(store, two, "to be damaged")
        tamper(
            tmp_path,
            "UPDATE joblog_entries SET line = CAST(x'7bff7d' AS TEXT) "
            f"WHERE job = '{two}'",  # a disk's fault: bytes that are no text
            f"DELETE FROM joblog_jobs WHERE id = '{one}'",
        )
    status, told = all_of(tmp_path, capsys)
    assert status == 1
    assert f"{two}: the store {tmp_path / 'joblog.db'} is damaged; restore it" in told
    assert "2 examined, 1 whole and unaltered" in told
