"""The store: append entries, read them back, keep media. Nothing can be edited or deleted."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import URL, Connection, Engine, Row, func, insert, select, union
from sqlalchemy.exc import IntegrityError

from joblog.errors import InputError, OvertakenError, RecordError, StoreError
from joblog.record import schema
from joblog.record.appending import New, chained, continued, insert_entry
from joblog.record.chain import Verdict, verify_lines
from joblog.record.clock import Clock, SystemClock
from joblog.record.engine import line_broke, open_engine, reading, writing
from joblog.record.entry import Entry, MediaRef, Source, check_json
from joblog.record.media import MediaFolder
from joblog.record.times import uuid7

DATABASE = "joblog.db"
MEDIA = "media"
CHANGED_SINCE = (
    "The database no longer holds this job as it was opened: entries were taken out or changed. "
    "Stop joblog, look with `joblog verify --all`, and start it again."
)
_TRIES = 20  # conflicts with other writers before giving up; each loses only to one that succeeded


def default_data_dir() -> Path:
    """Return where records are kept: JOBLOG_DATA, or the platform's folder for such data."""
    chosen = os.environ.get("JOBLOG_DATA", "")
    if chosen and "://" not in chosen:  # a database's address says nothing about a folder
        return Path(chosen)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData/Local") / "joblog"
    if sys.platform == "darwin":
        return Path.home() / "Library/Application Support/joblog"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local/share") / "joblog"


def data_folder(where: str | Path | None = None) -> Path:
    """Return the folder that photos, settings and orders lie in for ``where``, made or not."""
    chosen = where or os.environ.get("JOBLOG_DATA") or default_data_dir()
    return _locate(chosen)[1]


def open_store(
    where: str | Path | None = None,
    *,
    media: str | Path | None = None,
    clock: Clock | None = None,
    timeout: float = 5.0,
) -> Store:
    """Open the store at ``where``, making it if it is new.

    ``where`` is a folder (holding ``joblog.db`` and ``media/``), an SQLite file ending in .db,
    .sqlite or .sqlite3, or a URL (sqlite:///..., postgresql://...); None is JOBLOG_DATA or the
    platform's folder. ``media`` moves the folder of photos and sounds; for PostgreSQL it is the
    default folder's unless given. ``timeout`` is seconds to wait for another writer.

    Raises StoreError where the place can't be used.
    """
    if where is None:
        where = os.environ.get("JOBLOG_DATA") or default_data_dir()
    url, beside = _locate(where)
    folder = Path(media) if media else beside / MEDIA
    return Store(open_engine(url, timeout), MediaFolder(folder), clock or SystemClock())


def records_at(where: str | Path | None) -> Store:
    """Open the records that somebody named to read them; ``open_store`` would make a new folder.

    Raises InputError where there is no such folder, and what ``open_store`` raises.
    """
    chosen = where or os.environ.get("JOBLOG_DATA")
    if chosen and "://" not in str(chosen) and not Path(chosen).exists():
        raise InputError(
            f"there are no records in {chosen}: there is no such folder; check --data or "
            "JOBLOG_DATA"
        )
    return open_store(where)


def _locate(where: str | Path) -> tuple[str | URL, Path]:
    """Return the database URL and the folder that media lies in by default."""
    if isinstance(where, str) and "://" in where:
        if where.startswith("sqlite"):
            return where, Path(where.split(":///", 1)[-1]).parent
        return where, default_data_dir()
    path = Path(where)
    try:
        exists, is_folder = path.exists(), path.is_dir()
    except OSError as error:
        raise StoreError(f"{path} can't be opened ({error.strerror or error})") from error
    if path.suffix in {".db", ".sqlite", ".sqlite3"} and not is_folder:
        return _file_url(path), path.parent
    if exists and not is_folder:
        raise StoreError(f"{path} is a file; give the folder that records are to be kept in")
    return _file_url(path / DATABASE), path


def _file_url(path: Path) -> URL:
    return URL.create("sqlite", database=str(path))  # a path may hold ?, # and % of its own


class Store:
    """Entries and media of all jobs. Safe to share between threads; see ``open_store``."""

    def __init__(self, engine: Engine, media: MediaFolder, clock: Clock) -> None:
        self._engine = engine
        self._media = media
        self.clock = clock

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    # jobs and entries

    def start_job(self, *, clock: Clock | None = None) -> str:
        """Begin a new, empty job and return its id (UUIDv7)."""
        job = uuid7((clock or self.clock).read().at)
        with writing(self._engine) as connection:
            connection.execute(insert(schema.jobs).values(id=job))
        return job

    def begin_job(self, news: Sequence[New], *, clock: Clock | None = None) -> str:
        """Begin a new job with its first entries and return its id; all are kept, or nothing."""
        job = uuid7((clock or self.clock).read().at)
        self.append_all(job, news, clock=clock, begin=True)
        return job

    def jobs(self) -> list[str]:
        """Return the ids of all jobs, newest first; of one with entries, whatever the list says."""
        every = union(select(schema.jobs.c.id), select(schema.entries.c.job))
        with reading(self._engine) as connection:
            return sorted(connection.scalars(every), reverse=True)

    def heads(self) -> dict[str, str]:
        """Return the hash of the last entry of every job that has one, newest job first."""
        table = schema.entries.c
        last = select(table.job, func.max(table.seq).label("seq")).group_by(table.job).subquery()
        query = (
            select(table.job, table.hash)
            .join(last, (table.job == last.c.job) & (table.seq == last.c.seq))
            .order_by(table.job.desc())
        )
        with reading(self._engine) as connection:
            return {row.job: row.hash for row in connection.execute(query)}

    def find_job(self, start: str) -> str:
        """Return the one job whose id begins or ends with ``start``; 'last' is the newest.

        Raises InputError where there is none or more than one.
        """
        jobs = self.jobs()
        if start == "last" and jobs:
            return jobs[0]
        found = [job for job in jobs if start and (job.startswith(start) or job.endswith(start))]
        if len(found) != 1:
            many = f"{len(found)} jobs match" if found else "no job matches"
            raise InputError(f"{many} {start!r}; `joblog jobs` lists them")
        return found[0]

    def append(
        self,
        job: str,
        kind: str,
        body: Mapping[str, Any],
        *,
        source: Source,
        by: str = "",
        media: Sequence[MediaRef] = (),
        supersedes: str | None = None,
        clock: Clock | None = None,
    ) -> Entry:
        """Add one entry to the end of ``job`` and return it; it is on the disk when this returns.

        ``kind`` is lower-case words with hyphens; ``body`` is JSON without floats (decimals as
        text); ``supersedes`` is the id of the earlier entry that this one corrects; ``clock``
        stands in for the store's own.

        Raises RecordError where the entry can't be recorded, InputError for an unknown job, and
        StoreError where the database refuses. Nothing is written then.
        """
        new = New(kind, body, source, by, tuple(media), supersedes)
        return self.append_all(job, (new,), clock=clock)[0]

    def append_all(
        self,
        job: str,
        news: Sequence[New],
        *,
        clock: Clock | None = None,
        behind: Entry | None = None,
        alone: bool = False,
        begin: bool = False,
    ) -> list[Entry]:
        """Add entries to the end of ``job``, all of them or none, as :meth:`append` does one.

        ``behind`` is the last entry that the caller knows. Where the store holds it no more, so
        that what was planned on it may be wrong, nothing is written and RecordError says so. With
        ``alone`` OvertakenError says where others have added to the job behind it. ``begin`` makes
        the job with them.
        """
        checked = [replace(new, body=check_json(new.body)) for new in news]
        clock = clock or self.clock
        for _ in range(_TRIES):
            made: list[Entry] = []
            try:
                with writing(self._engine) as connection:
                    if begin:
                        connection.execute(insert(schema.jobs).values(id=job))
                    last = self._last(connection, job)
                    if behind is not None:
                        self._must_stand(connection, behind)
                    if alone and behind is not None and last is not None and last.seq > behind.seq:
                        raise OvertakenError(
                            "somebody else added to this job just now; nothing was written: try "
                            "again"
                        )
                    for new in checked:
                        if new.supersedes is not None:
                            self._must_hold(connection, job, new.supersedes)
                        last = chained(job, new, continued(clock.read(), last), last)
                        insert_entry(connection, last)
                        made.append(last)  # kept here even where the word of its end is lost
            except StoreError as error:
                if isinstance(error.__cause__, IntegrityError):
                    continue
                if not made or not line_broke(error):
                    raise
                if not self._kept_all_the_same(made[-1]):
                    raise StoreError(
                        "the line to the database broke; nothing was written: try again"
                    ) from error
            return made
        raise StoreError("other programs keep adding to this job; nothing was written: try again")

    def _kept_all_the_same(self, entry: Entry) -> bool:
        """Say whether a server kept ``entry`` though the line broke before it could say so.

        Told that nothing was written, somebody would say it again, and it would count twice.
        Raises StoreError, which says that it isn't known, where the server can't be asked.
        """
        table = schema.entries.c
        try:
            with writing(self._engine) as connection:
                self._last(connection, entry.job)  # waits until the broken line's work is done
                found = select(table.seq).where(table.job == entry.job, table.id == entry.id)
                return connection.scalar(found) is not None
        except InputError:  # it would have begun its job, and that isn't there either
            return False
        except StoreError as error:
            raise StoreError(
                "the database went away while it wrote, so it is not known whether the last entry "
                "is there: once it answers, look before saying it again"
            ) from error

    def _last(self, connection: Connection, job: str) -> Entry | None:
        # FOR UPDATE makes PostgreSQL's writers queue per job; SQLite's hold the whole file already.
        if (
            connection.scalar(
                select(schema.jobs.c.id).where(schema.jobs.c.id == job).with_for_update()
            )
            is None
        ):
            raise InputError(f"there is no job {job!r} here; `joblog jobs` lists them")
        table = schema.entries.c
        line = connection.scalar(
            select(table.line).where(table.job == job).order_by(table.seq.desc()).limit(1)
        )
        return None if line is None else _read(line)

    @staticmethod
    def _must_hold(connection: Connection, job: str, entry_id: str) -> None:
        table = schema.entries.c
        if (
            connection.scalar(select(table.seq).where(table.job == job, table.id == entry_id))
            is None
        ):
            raise RecordError(f"there is no entry {entry_id!r} in this job that could be corrected")

    @staticmethod
    def _must_stand(connection: Connection, entry: Entry) -> None:
        table = schema.entries.c
        query = select(table.hash).where(table.job == entry.job, table.seq == entry.seq)
        if connection.scalar(query) != entry.hash:
            raise RecordError(f"{CHANGED_SINCE} Nothing was written")

    def entries(self, job: str, after: int = -1) -> list[Entry]:
        """Return the entries of ``job`` in order, those with ``seq`` above ``after``.

        Raises InputError for an unknown job, RecordError where the database was tampered with so
        that a line is no entry at all; whether the chain is whole, ``verify`` says.
        """
        return [_read(row.line) for row in self._rows(job, after)]

    def _rows(self, job: str, after: int = -1) -> list[Row[Any]]:
        table = schema.entries.c
        query = select(schema.entries).where(table.job == job, table.seq > after)
        with reading(self._engine) as connection:
            rows = list(connection.execute(query.order_by(table.seq)))
            if not rows:
                self._known(connection, job)
        return rows

    @staticmethod
    def _known(connection: Connection, job: str) -> None:
        if connection.scalar(select(schema.jobs.c.id).where(schema.jobs.c.id == job)) is None:
            raise InputError(f"there is no job {job!r} here; `joblog jobs` lists them")

    def verify(self, job: str) -> Verdict:
        """Check the whole chain of ``job`` as it lies in the database, byte by byte."""
        return self.checked(job)[0]

    def checked(self, job: str) -> tuple[Verdict, list[Entry]]:
        """Return the verdict on the chain of ``job`` and its good entries.

        It is not whole either where it lies under another job, number, id or hash than its own:
        two jobs may have been swapped.
        """
        rows = self._rows(job)
        data = "".join(f"{row.line}\n" for row in rows).encode()
        verdict, entries = verify_lines(data, job)
        for row, entry in zip(rows, entries, strict=False):
            if (row.seq, row.id, row.prev, row.hash) != (
                entry.seq,
                entry.id,
                entry.prev,
                entry.hash,
            ):
                why = "lies in the database under another number, id or hash than its own"
                return replace(verdict, whole=False, first_bad=entry.seq, why=why), entries
        return verdict, entries

    def whole(self, job: str) -> list[Entry]:
        """Return the entries of ``job`` for whoever goes on with it, shows it or reports on it.

        Raises InputError for an unknown job, RecordError where the chain isn't whole: an altered
        value must not be told as a fact. A job without any entry yet has none.
        """
        verdict, entries = self.checked(job)
        if not verdict.whole and verdict.first_bad is not None:
            raise RecordError(
                f"{verdict.sentence} Nothing of this job is shown or reported: restore the records "
                "from a backup, or import the job's export into a new folder"
            )
        return entries

    def adopt(self, job: str, entries: Iterable[Entry]) -> int:
        """Add verified entries of another store as they are; return how many were new.

        Raises RecordError where this store holds another history of the same job. All or nothing.
        """
        with writing(self._engine) as connection:
            if connection.scalar(select(schema.jobs.c.id).where(schema.jobs.c.id == job)) is None:
                connection.execute(insert(schema.jobs).values(id=job))
            table = schema.entries.c
            query = select(table.hash).where(table.job == job).order_by(table.seq)
            held = list(connection.scalars(query))
            added = 0
            for entry in entries:
                if entry.seq >= len(held):
                    insert_entry(connection, entry)
                    added += 1
                elif held[entry.seq] != entry.hash:
                    raise RecordError(
                        f"this store holds another history of job {job} from entry {entry.seq} on; "
                        "nothing was imported: keep both, and import this one into a new folder"
                    )
        return added

    # media

    def put_media(self, data: bytes, mime: str, role: str = "", name: str = "") -> MediaRef:
        """Keep a photo or sound under the SHA-256 of its content; the same content is kept once."""
        return self._media.put(data, mime, role, name)

    def media_path(self, sha256: str) -> Path:
        """Return the file that holds the content with that hash (it may be missing)."""
        return self._media.path(sha256)

    def named(self, sha256: str) -> bool:
        """Say whether an entry of any job names the content with that hash."""
        table = schema.entries.c
        query = select(table.seq).where(table.line.contains(f'"sha256":"{sha256}"')).limit(1)
        with reading(self._engine) as connection:
            return connection.scalar(query) is not None

    @property
    def folder(self) -> Path:
        """The folder of the records: photos, the shop's settings and sheets lie in it."""
        return self._media.folder.parent

    def read_media(self, sha256: str) -> bytes:
        """Return the content with that hash; raises RecordError where it is missing or altered."""
        return self._media.read(sha256)


def _read(line: str) -> Entry:
    try:
        return Entry.model_validate_json(line)
    except ValueError as error:
        raise RecordError(
            "the database was changed by hand: an entry in it can't be read any more; restore it "
            "from a backup, or import the job's export into a new folder"
        ) from error
