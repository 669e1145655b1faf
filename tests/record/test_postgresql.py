"""The same store on a real PostgreSQL server.

The server is the one that JOBLOG_TEST_POSTGRES names (an empty database's URL), or one that the
test starts for itself from installed binaries, as an ordinary user and in a folder of its own.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy
from sqlalchemy.exc import DBAPIError

from joblog.errors import StoreError
from joblog.record import JOB_CLOSED, Imported, export_job, import_job, open_store
from joblog.record.appending import New

pytest.importorskip("pg8000", reason="pg8000 is in the dev extra")


def binary(name: str) -> str | None:
    found = shutil.which(name)
    if found:
        return found
    debian = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(debian[-1]) if debian else None


def as_user(command: list[str], user: int | None) -> subprocess.CompletedProcess[bytes]:
    # the server refuses to run as root
    return subprocess.run(command, capture_output=True, user=user, timeout=60, check=False, cwd="/")


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    given = os.environ.get("JOBLOG_TEST_POSTGRES")
    if given:
        yield given
        return
    initdb, pg_ctl = binary("initdb"), binary("pg_ctl")
    if not (initdb and pg_ctl):
        pytest.skip("no PostgreSQL: set JOBLOG_TEST_POSTGRES, or install the server's binaries")
    user = 65534 if os.name != "nt" and os.getuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="joblog-pg-"))
    try:
        if user is not None:
            os.chown(folder, user, -1)
        data, port = folder / "data", free_port()
        made = as_user([initdb, "-D", str(data), "-U", "joblog", "-A", "trust", "-N"], user)
        if made.returncode:
            pytest.skip(f"initdb can't run here: {made.stderr.decode()[-200:]}")
        options = f"-p {port} -h 127.0.0.1 -k {folder} -F"
        start = [pg_ctl, "-D", str(data), "-o", options, "-l", str(folder / "log"), "-w", "start"]
        # its output goes to the log: a pipe would stay open as long as the server lives
        begun = subprocess.run(
            start, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, user=user, timeout=60,
            check=False, cwd="/",
        )  # fmt: skip
        assert begun.returncode == 0, (folder / "log").read_text()
        try:
            yield f"postgresql://joblog@127.0.0.1:{port}/postgres"
        finally:
            as_user([pg_ctl, "-D", str(data), "-m", "immediate", "-w", "stop"], user)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def test_append_read_correct_export_and_import(server: str, tmp_path: Path) -> None:
    with open_store(server, media=tmp_path / "media") as store:
        job = store.start_job()
        ref = store.put_media(b"photo", "image/jpeg")
        first = store.append(job, "note", {"text": "héard 😀"}, source="voice", media=[ref])
        store.append(job, "note", {"value": "3.3"}, source="voice", supersedes=first.id)
        store.append(job, JOB_CLOSED, {}, source="program")
        assert store.jobs()[0] == job
        verdict = store.verify(job)
        assert (verdict.whole, verdict.closed, verdict.count) == (True, True, 3)
        export_job(store, job, tmp_path / "out")
        with open_store(tmp_path / "sqlite") as sqlite:
            assert import_job(sqlite, tmp_path / "out") == Imported(job, 3, 0)
            assert sqlite.entries(job) == store.entries(job)
            back = sqlite.start_job()
            sqlite.append(back, "note", {}, source="hand")
            export_job(sqlite, back, tmp_path / "back")
        assert import_job(store, tmp_path / "back") == Imported(back, 1, 0)
        assert import_job(store, tmp_path / "back") == Imported(back, 0, 1)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE joblog_entries SET line = 'x'",
        "DELETE FROM joblog_entries",
        "TRUNCATE joblog_entries",
        "TRUNCATE joblog_jobs CASCADE",
        "DELETE FROM joblog_jobs",
        "INSERT INTO joblog_entries SELECT job, seq + 7, 'x', hash, 'x', 'x' FROM joblog_entries",
        "INSERT INTO joblog_entries SELECT job, seq, 'x', prev, 'x', 'x' FROM joblog_entries",
    ],
)
def test_the_database_itself_refuses_to_change_the_past(
    server: str, tmp_path: Path, statement: str
) -> None:
    with open_store(server, media=tmp_path / "media") as store:
        job = store.start_job()
        kept = store.append(job, "note", {}, source="hand")
        with store._engine.connect() as connection, pytest.raises(DBAPIError):
            connection.execute(sqlalchemy.text(statement))
        assert store.entries(job) == [kept]


def test_two_processes_do_not_fork_the_chain(server: str, tmp_path: Path) -> None:
    import sys

    code = """
import sys
from joblog.record import open_store
url, job, name, media = sys.argv[1:]
with open_store(url, media=media, timeout=30) as store:
    for n in range(30):
        store.append(job, "note", {"by": name, "n": n}, source="hand")
"""
    with open_store(server, media=tmp_path / "media") as store:
        job = store.start_job()
        writers = [
            subprocess.Popen([sys.executable, "-c", code, server, job, name, str(tmp_path / "m")])
            for name in ("left", "right")
        ]
        assert [writer.wait(60) for writer in writers] == [0, 0]
        verdict = store.verify(job)
        assert (verdict.whole, verdict.count) == (True, 60)


def test_a_locked_job_is_one_sentence_and_nothing_is_written(server: str, tmp_path: Path) -> None:
    with open_store(server, media=tmp_path / "media", timeout=0.3) as store:
        job = store.start_job()
        kept = store.append(job, "note", {}, source="hand")
        with store._engine.connect() as other:
            other.execute(sqlalchemy.text("LOCK TABLE joblog_jobs IN ACCESS EXCLUSIVE MODE"))
            with pytest.raises(StoreError, match="locked by another program; nothing was written"):
                store.append(job, "note", {}, source="hand")
            other.rollback()
        assert store.entries(job) == [kept]


class CutBehindCommit:
    """Passes everything on to the server, but cuts the line where that says a commit was done."""

    def __init__(self, server: str) -> None:
        self.armed = False
        self._there = sqlalchemy.make_url(server)
        self._listener = socket.create_server(("127.0.0.1", 0))
        port = self._listener.getsockname()[1]
        self.url = str(self._there.set(host="127.0.0.1", port=port))
        self._threads: list[threading.Thread] = []
        self._start(self._serve)

    def _start(self, work: Callable[..., None], *ends: socket.socket) -> None:
        self._threads.append(threading.Thread(target=work, args=ends, daemon=True))
        self._threads[-1].start()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            far = socket.create_connection((self._there.host or "", self._there.port or 5432))
            for ends in ((near, far), (far, near)):
                self._start(self._pass, *ends)

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        try:
            while data := one.recv(65536):
                if self.armed and b"COMMIT\0" in data:
                    self.armed = False
                    break
                other.sendall(data)
        except OSError:
            pass
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        one.close()  # the other end is closed by the thread that reads it

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(10)
        self._listener.close()


def test_what_was_committed_is_not_said_to_be_lost(server: str, tmp_path: Path) -> None:
    """Told 'nothing was written', a technician says it again, and it counts twice."""
    line = CutBehindCommit(server)
    try:
        with open_store(line.url, media=tmp_path / "media") as store:
            job = store.start_job()
            for number in range(3):
                line.armed = True
                kept = store.append(job, "quantity", {"value": "1"}, source="voice")
                assert not line.armed
                assert kept.seq == number
            assert [entry.seq for entry in store.entries(job)] == [0, 1, 2]
            assert store.verify(job).whole
            line.armed = True
            begun = store.begin_job([New("job-opened", {}, "hand")])
            assert [entry.kind for entry in store.entries(begun)] == ["job-opened"]
    finally:
        line.close()


def test_a_server_that_says_kept_before_it_is_waits_for_us(server: str, tmp_path: Path) -> None:
    admin = sqlalchemy.create_engine(
        sqlalchemy.make_url(server).set(drivername="postgresql+pg8000")
    )
    try:
        with admin.begin() as connection:
            connection.exec_driver_sql("ALTER ROLE CURRENT_USER SET synchronous_commit = off")
        with open_store(server, media=tmp_path) as store, store._engine.connect() as connection:
            assert connection.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"
    finally:
        with admin.begin() as connection:
            connection.exec_driver_sql("ALTER ROLE CURRENT_USER RESET synchronous_commit")
        admin.dispose()
