"""The running shop: store, open jobs, recogniser pool; what all pages and sockets share."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import tzinfo
from pathlib import Path
from typing import Any, TypeVar

from joblog.audio.types import Utterance
from joblog.errors import InputError, ModelError, RecordError, SheetError, StoreError
from joblog.job.earlier import not_earlier
from joblog.job.meters import last_meter
from joblog.job.session import JobSession
from joblog.job.types import JobState, Reply
from joblog.measure.vin import VinReport
from joblog.readback.clips import Stock, stock
from joblog.record.store import CHANGED_SINCE, Store, open_store
from joblog.report.settings import SETTINGS, ShopSettings, load_settings, shop_zone
from joblog.sheet.load import load_sheet, sheets_beside
from joblog.speech.breath import Breath
from joblog.speech.types import Engine
from joblog.speech.voices import Voice, Voices
from joblog.web.halfduplex import Speaking, Talking
from joblog.web.jobindex import JobIndex
from joblog.web.orderbook import ORDERS, OrderBook
from joblog.web.pool import BusyError, FairPool
from joblog.web.refusals import Refusals
from joblog.web.seeking import Likely, likely
from joblog.web.view import job_line

KEPT = 100  # jobs kept in memory; a closed one is read again when somebody asks for it
LOOKS = 2  # pictures that are looked at at a time
T = TypeVar("T")


@dataclass
class Shop:
    """Store, sessions and recogniser. ``load_engine`` is called once, when first needed."""

    store: Store
    load_engine: Callable[[], Engine]
    pool: FairPool = field(default_factory=FairPool)
    speaking: Speaking = field(default_factory=Speaking)
    talking: Talking = field(default_factory=Talking)
    refusals: Refusals = field(default_factory=Refusals)
    told: str = ""  # of a picture that came without a phone and reached no job, for the jobs page
    voice: Stock = field(default_factory=stock)
    orders: OrderBook = field(init=False)
    index: JobIndex = field(init=False)
    voices: Voices = field(init=False)  # learnt, of technicians; ``voice`` is joblog's own
    _sessions: dict[str, JobSession] = field(default_factory=dict)  # the last asked for stand last
    _engine: Engine | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _loading: threading.Lock = field(default_factory=threading.Lock)  # takes seconds; no page waits
    _eyes: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(LOOKS, "eye"))

    def __post_init__(self) -> None:
        """Open what lies beside the records."""
        self.orders = OrderBook(self.folder / ORDERS)
        self.voices = Voices(self.folder)
        self.index = JobIndex(self.store, self.folder / "joblist.json", self._for_line)

    @classmethod
    def at(cls, data: str | Path | None) -> Shop:
        """Open the shop whose records lie in ``data``, a folder or a database's URL."""
        from joblog.speech.engines import get_engine

        return cls(open_store(data), get_engine)

    def engine(self) -> Engine:
        """Return the recogniser; loads it at the first call."""
        with self._loading:
            if self._engine is None:
                self._engine = self.load_engine()
            return self._engine

    async def look(self, measure: Callable[..., T], *given: Any) -> T:
        """Have a picture looked at: ``LOOKS`` at a time, for each takes half a gigabyte at worst.

        Those that wait hold up no page.
        """
        return await asyncio.get_running_loop().run_in_executor(self._eyes, measure, *given)

    @property
    def folder(self) -> Path:
        """Where this shop keeps its records, its own sheets, its phones."""
        return self.store.folder

    def sheets(self) -> dict[str, Path]:
        """Return the sheets to choose from: the shipped ones and the shop's own, which win."""
        return sheets_beside(self.folder)

    def report_settings(self) -> ShopSettings | None:
        """Return what ``shop.toml`` beside the records says of reports, None where it isn't there.

        Raises InputError for a mistake in it.
        """
        path = self.folder / SETTINGS
        return load_settings(path) if path.exists() else None

    def zone(self) -> tzinfo | None:
        """Return the shop's time zone, None (this PC's own) where ``shop.toml`` gives none.

        A mistake in the file is told where a report is made; the list of jobs opens all the same.
        """
        try:
            return shop_zone(self.folder)
        except InputError:
            return None

    def titles(self) -> tuple[list[tuple[str, str]], list[str]]:
        """Return (key, title) of every sheet that can be used, and what is wrong with the rest."""
        fit, wrong = [], []
        for key, path in self.sheets().items():
            try:
                fit.append((key, load_sheet(path).sheet.title))
            except SheetError as error:
                wrong.append(str(error).removeprefix(f"{path.parent}/"))
        return sorted(fit, key=lambda row: row[1]), wrong

    def session(self, job: str) -> JobSession:
        """Return the session of ``job``.

        Raises InputError for an unknown job, RecordError for one whose record was altered.
        """
        with self._lock:
            if job not in self._sessions:
                if job not in self.store.jobs():
                    raise InputError("There is no such job here; choose one from the list.")
                self._sessions[job] = self._resume(job)
                self._sessions[job].voice_of = self._voice_of
                self._forget_closed()
            self._sessions[job] = found = self._sessions.pop(job)
            return found

    def _forget_closed(self) -> None:
        """Let go of closed jobs that nobody asked for lately: a shop is open for months."""
        closed = [job for job, session in self._sessions.items() if session.known_closed]
        for job in closed[: max(0, len(self._sessions) - KEPT)]:
            del self._sessions[job]

    def _voice_of(self, name: str) -> Voice | None:
        """Return the learnt voice of a technician. A damaged one is told on its page, not here.

        What was said is heard all the same.
        """
        try:
            return self.voices.find(name)
        except (StoreError, InputError):
            return None

    def opened(self) -> list[JobSession]:
        """Return the sessions that are in memory."""
        with self._lock:
            return list(self._sessions.values())

    def _resume(self, job: str) -> JobSession:
        """Go on with a job of the store, once its chain is known to be whole."""
        self.store.whole(job)
        return JobSession.resume(self.store, job)

    def examined(self, job: str) -> JobSession:
        """Return the session of ``job`` after its record was checked anew as it lies on the disk.

        For what vouches for a job: the desk and the reports. ``session`` alone checks the chain
        once, when it opens the job, so that no phrase in the bay waits for it.
        """
        session = self.session(job)
        last = session.state.entries[-1]
        held = self.store.whole(job)
        if len(held) <= last.seq or held[last.seq].hash != last.hash:
            raise RecordError(CHANGED_SINCE)
        return session

    def _for_line(self, job: str) -> JobSession:
        """Return a session for reading a line; those of old jobs are not kept in memory."""
        with self._lock:
            opened = self._sessions.get(job)
        return opened or self._resume(job)

    def started(self, orders: Iterable[str]) -> dict[str, dict[str, Any]]:
        """Return the line of the job of each order that was begun: of an open one, else the newest.

        An order may have several, one for each sheet.
        """
        wanted = set(orders)
        found: dict[str, dict[str, Any]] = {}
        for line in self.index.lines():
            known = found.get(line["order"])
            if line["order"] in wanted and (not known or (known["closed"] and not line["closed"])):
                found[line["order"]] = line
        return found

    def been_here(self, vin: str, most: int = 3) -> list[dict[str, Any]]:
        """Return the lines of the newest jobs on the vehicle with that VIN, newest first."""
        wanted = vin.upper()
        return [x for x in self.index.lines() if wanted and x["vin"].upper() == wanted][:most]

    def last_unit(self, vin: str) -> dict[str, str]:
        """Return what the newest job on the vehicle with that VIN knew of it, {} for a new one."""
        line = next(iter(self.been_here(vin, 1)), None)
        return {**line["unit"], "customer": line["customer"]} if line else {}

    def likely(self, report: VinReport) -> list[Likely]:
        """Return what a VIN that can't be right may mean: what is known here stands first."""
        return likely(report, self.orders.listed(), self.orders.every(), self.index.lines())

    def earlier(self, job: str, most: int = 8) -> list[JobState]:
        """Return the latest closed jobs on the same unit (by VIN), opened before ``job``.

        One whose record isn't whole any more is left out: nothing of it is a fact.
        """
        lines = self.index.lines()  # newest first
        at = next((k for k, line in enumerate(lines) if line["job"] == job), None)
        if at is None or not lines[at]["vin"]:
            return []
        vin = lines[at]["vin"].upper()
        same = [x["job"] for x in lines[at + 1 :] if x["vin"].upper() == vin and x["closed"]]
        now = self.session(job).state
        found: list[JobState] = []
        for name in same:
            with contextlib.suppress(RecordError):
                before = self._for_line(name).state
                found += [] if not_earlier(before, now) else [before]
            if len(found) == most:
                break
        return found

    def begin(self, sheet_text: str, opening: dict[str, Any]) -> str:
        """Open a new job and return its id; what its vehicle's meter showed last goes with it."""
        before = self._meter_before(opening.get("unit") or {})
        known = {**opening, "earlier_meter": before} if before else opening
        session = JobSession.start(self.store, sheet_text, known)
        session.voice_of = self._voice_of
        with self._lock:
            self._sessions[session.job] = session
        return session.job

    def _meter_before(self, unit: dict[str, Any]) -> dict[str, str]:
        """Return what the vehicle's meter showed at its newest job, by that job's own record.

        The list's lines lie in a file that anybody can write; a new record repeats none of them.
        """
        found = last_meter(self.index.lines(), unit)
        if not found:
            return {}
        try:
            return last_meter([job_line(self._for_line(found["job"]))], unit)
        except (RecordError, InputError):  # altered, or none at all
            return {}

    def warm_up(self, bay: str, session: JobSession) -> None:
        """Make the recogniser ready for a bay whose microphone was opened, before its first phrase.

        Where there is no model the first phrase says so.
        """

        def call() -> None:
            if session.engine is None:
                session.engine = self.engine()
                session.warm_up()

        with contextlib.suppress(BusyError):
            self.pool.submit(bay, call)

    def listen(
        self, bay: str, session: JobSession, breath: Breath, utterance: Utterance | None, by: str
    ) -> Future[list[Reply]]:
        """Queue an utterance of an open microphone, or with None its silence."""

        def call() -> list[Reply]:
            if session.engine is None:
                session.engine = self.engine()
            return session.listen(breath, utterance, by)

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
        self._eyes.shutdown(cancel_futures=True)
        self.store.close()
