"""The running shop: store, open jobs, recogniser pool; what all pages and sockets share."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from joblog.errors import InputError, ModelError
from joblog.job.session import JobSession
from joblog.job.types import Reply
from joblog.record.store import Store, open_store
from joblog.speech.types import Engine
from joblog.web.pool import FairPool


@dataclass
class Shop:
    """Store, sessions and recogniser. ``load_engine`` is called once, when first needed."""

    store: Store
    load_engine: Callable[[], Engine]
    pool: FairPool = field(default_factory=FairPool)
    _sessions: dict[str, JobSession] = field(default_factory=dict)
    _engine: Engine | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def at(cls, data: Path | None) -> Shop:
        """Open the shop whose records lie in ``data``."""
        from joblog.speech.engines import get_engine

        return cls(open_store(data), get_engine)

    def engine(self) -> Engine:
        """Return the recogniser; loads it at the first call."""
        with self._lock:
            if self._engine is None:
                self._engine = self.load_engine()
            return self._engine

    def session(self, job: str) -> JobSession:
        """Return the session of ``job``; raises InputError for an unknown one."""
        with self._lock:
            if job not in self._sessions:
                if job not in self.store.jobs():
                    raise InputError("There is no such job here; choose one from the list.")
                self._sessions[job] = JobSession.resume(self.store, job)
            return self._sessions[job]

    def begin(self, sheet_text: str, opening: dict[str, Any]) -> str:
        """Open a new job and return its id."""
        session = JobSession.start(self.store, sheet_text, opening)
        with self._lock:
            self._sessions[session.job] = session
        return session.job

    def hear(self, bay: str, session: JobSession, utterance: Any, by: str) -> Any:
        """Queue one utterance of a bay; returns the Future of its Reply."""

        def call() -> Reply:
            if session.engine is None:
                session.engine = self.engine()
            return session.hear(utterance, by=by)

        return self.pool.submit(bay, call)

    def has_model(self) -> str:
        """Return '' where the recogniser is there, else the sentence that says what is missing."""
        try:
            self.engine()
        except ModelError as error:
            return str(error)
        return ""

    def close(self) -> None:
        """Stop the workers and close the store."""
        self.pool.close()
        self.store.close()
