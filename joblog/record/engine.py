"""Opening the database: SQLite in a file by default, PostgreSQL by URL."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError

from joblog.errors import StoreError
from joblog.record.schema import prepare

_WRITES = "joblog_writes"


def open_engine(where: str | URL, timeout: float) -> Engine:
    """Return an engine for the database URL ``where``, with tables and triggers in place.

    ``timeout`` is how many seconds to wait for another program's lock.
    Raises StoreError where the database can't be used.
    """
    try:
        url = make_url(where)
    except ArgumentError as error:
        raise StoreError(
            "this is no database address; give a folder, or postgresql://user@host/database"
        ) from error
    engine = _sqlite(url, timeout) if url.get_backend_name() == "sqlite" else _server(url, timeout)
    try:
        with writing(engine) as connection:
            prepare(connection)
    except BaseException:
        engine.dispose()
        raise
    return engine


def _sqlite(url: URL, timeout: float) -> Engine:
    path = Path(url.database or "")
    if not url.database or url.database == ":memory:":
        raise StoreError("a record kept in memory would be lost; give a file or a folder")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"the folder {path.parent} can't be made ({error.strerror or error}); "
            "choose another with --data or JOBLOG_DATA"
        ) from error
    engine = create_engine(url, connect_args={"timeout": timeout, "check_same_thread": False})
    meant: list[
        tuple[int, int]
    ] = []  # the file that was opened first: never another one of its name

    @event.listens_for(engine, "connect")
    def _connected(connection: sqlite3.Connection, _record: object) -> None:
        _must_be(path, meant)
        # Python's driver would begin transactions late and never for reads; we begin them ourselves
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute("PRAGMA foreign_keys = ON")
        if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            cursor.execute("PRAGMA journal_mode = WAL")  # a network disk may keep its own mode
        cursor.execute("PRAGMA synchronous = FULL")  # NORMAL may lose the last entries on power cut
        cursor.close()
        if not meant:
            meant.append(_file_of(path))

    @event.listens_for(engine, "begin")
    def _began(connection: Connection) -> None:
        _must_be(path, meant)
        # A writer takes its lock before it reads the chain's end, or two could read the same end.
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _file_of(path: Path) -> tuple[int, int]:
    """Return what tells the file from another one of its name; (0, 0) where there is none."""
    try:
        status = path.stat()
    except OSError:
        return 0, 0
    return status.st_dev, status.st_ino


def _must_be(path: Path, meant: list[tuple[int, int]]) -> None:
    """Raise StoreError where ``path`` was moved, deleted or replaced since it was opened.

    What was written then would go into a file without a name and be gone with the program.
    """
    if meant and _file_of(path) != meant[0]:
        raise StoreError(
            f"{path} was moved, deleted or replaced while joblog was running, so nothing more goes "
            "into it: stop joblog, put the right folder in its place, and start it again"
        )


def line_broke(error: StoreError) -> bool:
    """Say whether the line to a server broke, so that it may have written all the same."""
    cause = error.__cause__
    return isinstance(cause, OSError) or (
        isinstance(cause, DBAPIError) and bool(cause.connection_invalidated)
    )


def _server(url: URL, timeout: float) -> Engine:
    if url.get_backend_name() != "postgresql":
        raise StoreError(
            f"the database {url.get_backend_name()!r} is not known here; "
            "joblog keeps its record in SQLite (a folder) or PostgreSQL (postgresql://...)"
        )
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+pg8000")
    # That a broken line can't be closed either is no news, and would stand there as a traceback.
    logging.getLogger("sqlalchemy.pool").setLevel(logging.CRITICAL)
    # The driver's own limit on a silent server must lie well beyond the limit on a lock, which the
    # server tells us of in words.
    silence = {"timeout": 2 * timeout + 10}
    arguments: dict[str, Any] = silence if url.get_driver_name() == "pg8000" else {}
    try:
        engine = create_engine(url, connect_args=arguments, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise StoreError(
            "PostgreSQL needs one more package: pip install 'joblog[postgres]'"
        ) from error

    @event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: object) -> None:
        # A server may be set to say 'kept' before it is: what was answered would go with the power.
        cursor = connection.cursor()
        cursor.execute(
            "SELECT set_config('synchronous_commit', 'on', false) "
            "WHERE current_setting('synchronous_commit') = 'off'"
        )
        connection.commit()
        cursor.close()

    @event.listens_for(engine, "begin")
    def _began(connection: Connection) -> None:
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(timeout * 1000)}")

    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection inside one write transaction: all of it is kept, or nothing."""
    with told_as_store_error(engine):
        connection = engine.connect()
        with connection:
            connection = connection.execution_options(**{_WRITES: True})
            with connection.begin():
                yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection inside one read transaction."""
    told = told_as_store_error(engine, reads=True)
    with told, engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def told_as_store_error(engine: Engine, *, reads: bool = False) -> Iterator[None]:
    """Turn what the database says into one sentence with a remedy.

    One that is only read can't know whether something was written just before.
    """
    try:
        yield
    except SQLAlchemyError as error:
        place = engine.url.render_as_string(hide_password=True)
        if engine.dialect.name == "sqlite":
            place = str(engine.url.database)
        sentence = _sentence(error, place)
        if reads:
            sentence = sentence.replace(_NOTHING, "").replace(_LOOK, "")
        raise StoreError(sentence) from error
    except OSError as error:  # a connection that broke, which drivers don't always wrap
        place = engine.url.render_as_string(hide_password=True)
        look = "" if reads else _LOOK
        raise StoreError(
            f"the store {place} does not answer ({error.strerror or error}); check the network and "
            f"the server{look}"
        ) from error


_NOTHING = "; nothing was written"
_LOOK = ", and look whether the last entry is there before saying it again"
_AWAY = (
    "does not answer; nothing was written: check the network, and that the database server runs, "
    "then try again"
)
_DAMAGED = "is damaged; restore it from a backup, or import the jobs' exports into a new one"
_SENTENCES = (
    (
        "locked",
        "is locked by another program; nothing was written: close the other program, or try again",
    ),
    ("lock timeout", "is locked by another program; nothing was written: try again"),
    ("full", "can't grow: the disk is full; nothing was written: free some space, then try again"),
    ("readonly", "can't be written: the file or its folder is read-only; nothing was written"),
    ("unable to open", "can't be opened; check that the folder exists and may be written to"),
    ("not a database", "is not a database; move it away or choose another folder"),
    ("malformed", _DAMAGED),
    ("could not decode", _DAMAGED),
    ("disk i/o error", "can't be written: the disk or a limit refuses; nothing was written"),
    ("can't create a connection", _AWAY),
    ("the database system is", _AWAY),  # starting up, shutting down, in recovery
    ("terminating connection", _AWAY),
    ("only grows", "refuses: the record only grows, nothing in it is changed or deleted"),
)


def _sentence(error: SQLAlchemyError, place: str) -> str:
    raw = str(error.orig) if isinstance(error, DBAPIError) else str(error)
    for sign, sentence in _SENTENCES:
        if sign in raw.lower():
            return f"the store {place} {sentence}"
    if isinstance(error, DBAPIError) and error.connection_invalidated:  # before or behind a commit
        return (
            f"the store {place} does not answer any more; check the network and the server{_LOOK}"
        )
    return f"the store {place} can't be used; nothing was written: {raw.splitlines()[0][:300]}"
