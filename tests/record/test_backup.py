"""Copies of the records as a shop's computer person makes them (docs/record.md, Back up)."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from joblog.cli import main
from joblog.record import open_store

# A program that is killed after its last entry: it never closes the database.
KILLED = """
import os, signal, sys
from joblog.record import open_store
store = open_store(sys.argv[1])
job = store.start_job()
photo = store.put_media(b"plug", "image/jpeg", "photo", "plug.jpg")
store.append(job, "photo", {"kind": "plug"}, source="photo", media=[photo])
store.append(job, "note", {"text": "left boot weeps"}, source="hand")
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def killed(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    subprocess.run([sys.executable, "-c", KILLED, str(folder)], timeout=60, check=False)
    return folder


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_copy_of_the_whole_folder_has_all_entries_even_after_a_kill(
    killed: Path, tmp_path: Path
) -> None:
    copy = shutil.copytree(killed, tmp_path / "other pc")
    with open_store(copy) as store:
        (job,) = store.jobs()
        assert (store.verify(job).whole, store.verify(job).count) == (True, 2)
        assert store.read_media(store.entries(job)[0].media[0].sha256) == b"plug"


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_copy_without_the_write_ahead_log_is_not_taken_for_a_new_shop(
    killed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = shutil.copytree(killed, tmp_path / "copy", ignore=shutil.ignore_patterns("*-wal"))
    assert main(["jobs", "--data", str(copy)]) == 0
    assert "joblog.db was copied without joblog.db-wal" in capsys.readouterr().out
    (tmp_path / "empty").mkdir()
    assert main(["jobs", "--data", str(tmp_path / "empty")]) == 0
    assert "There are no jobs here yet." in capsys.readouterr().out


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_after_a_restore_every_job_is_examined_by_one_command(
    killed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_store(killed) as store:
        other = store.start_job()
        store.append(other, "note", {"text": "nothing to do"}, source="hand")
        (job,) = set(store.jobs()) - {other}
    examine = ["verify", "--all", "--data"]
    assert main([*examine, str(killed)]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[:2] == [
        "Jobs: 2 examined, 2 whole and unaltered.",
        "Photos and sounds: 1 unaltered.",
    ]
    assert len(told) == 3  # what can't be seen
    bare = shutil.copytree(killed, tmp_path / "bare", ignore=shutil.ignore_patterns("media"))
    assert main([*examine, str(bare)]) == 1
    told = capsys.readouterr().out.splitlines()
    assert told[0] == f"{job}: Photos and sounds: 1 not in {bare / 'media'}."
    assert told[1] == "Jobs: 2 examined, 1 whole and unaltered."
    (photo,) = (path for path in (killed / "media").rglob("*") if path.is_file())
    photo.chmod(0o600)
    photo.write_bytes(b"another plug")
    assert main([*examine, str(killed)]) == 1
    assert f"{job}: The record is NOT whole: entry 0 rests on {photo}" in capsys.readouterr().out
    assert main([*examine[:2], "--job", job]) == 2
    assert "give a FILE to verify, --job JOB" in capsys.readouterr().err
