"""The list of jobs without replaying each of them every time.

A job's line changes only with its record, so lines are kept by the hash of the last entry. The file
that holds them over a restart can be thrown away at any time: it is computed again from the record.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from joblog import __version__
from joblog.errors import JoblogError, StoreError
from joblog.job.session import JobSession
from joblog.record.store import Store
from joblog.web.view import job_line

Line = dict[str, Any]
FORM = f"{__version__}/5"  # raise the number when lines change
ANEW = ""  # no record ends with it: what may go another way next time is read again then
UNKNOWN = "This record holds what joblog can't read; tell those who made it"


class JobIndex:
    """Lines of all jobs, newest first; ``session`` opens a job whose line is not known."""

    def __init__(self, store: Store, path: Path, session: Callable[[str], JobSession]) -> None:
        self._store = store
        self._path = path
        self._session = session
        self._lock = threading.Lock()
        self._lines: dict[str, tuple[str, Line]] | None = None

    def lines(self) -> list[Line]:
        """Return a line for every job, newest first; a job that can't be read says so."""
        with self._lock:
            known = self._read() if self._lines is None else self._lines
            fresh = {job: self._line(job, head, known) for job, head in self._store.heads().items()}
            changed = fresh != known
            self._lines = fresh
            if changed:
                self._write(fresh)
            return [line for _, line in fresh.values()]

    def _line(self, job: str, head: str, known: dict[str, tuple[str, Line]]) -> tuple[str, Line]:
        if job in known and known[job][0] == head:
            return known[job]
        try:
            session = self._session(job)
            return head, job_line(session)
        except JoblogError as error:
            return ANEW if isinstance(error, StoreError) else head, unreadable(job, str(error))
        except Exception as error:  # noqa: BLE001 - no job may take the list of all others away
            return ANEW, unreadable(job, f"{UNKNOWN} ({type(error).__name__}: {error})")

    def _read(self) -> dict[str, tuple[str, Line]]:
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            as_written = kept["form"] == FORM and kept["sha256"] == _digest(kept["lines"])
            rows = kept["lines"] if as_written else {}
            return {job: (str(head), dict(line)) for job, (head, line) in rows.items()}
        except (OSError, ValueError, TypeError, KeyError, AttributeError):
            return {}

    def _write(self, lines: dict[str, tuple[str, Line]]) -> None:
        fresh = self._path.with_suffix(".new")
        with contextlib.suppress(OSError):  # without it the next start is slower, no more
            kept = {"form": FORM, "sha256": _digest(lines), "lines": lines}
            fresh.write_text(json.dumps(kept), encoding="utf-8")
            fresh.replace(self._path)


def _digest(lines: object) -> str:
    """Return what tells that a file's lines are those that were written: it may be damaged."""
    return hashlib.sha256(json.dumps(lines, sort_keys=True).encode()).hexdigest()


def unreadable(job: str, why: str) -> Line:
    """Return the line of a job whose record can't be replayed."""
    words = ("vehicle", "plate", "vin", "customer", "order", "technician", "opened_at", "closed")
    line: Line = dict.fromkeys(words, "")
    return (
        line
        | {
            "job": job,
            "title": why,
            "progress": "not readable",
            "open_findings": 0,
            "observations": 0,
        }
        | {
            "unit": {},
            "closed": "not readable",
            "state": "not readable",
        }
    )
