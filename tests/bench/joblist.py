"""How long the list of jobs takes: first time, after a restart, again.

    python tests/bench/joblist.py [--jobs 300]

The jobs are made from the spoken scripts of the shipped sheets, without their photos.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from starlette.testclient import TestClient

from joblog.job.session import JobSession
from joblog.record.clock import ManualClock
from joblog.record.entry import Entry
from joblog.record.store import Store, open_store
from joblog.sheet.load import library, load_sheet, sheet_text
from joblog.web.app import create_app
from joblog.web.shop import Shop

SCRIPTS = Path(__file__).resolve().parents[1] / "sheet" / "scripts"


def carried_out(store: Store, clock: ManualClock, key: str) -> list[Entry]:
    """Carry a sheet's script out as one job; return its entries."""
    units = load_sheet(key).applies.to
    opening = {"unit": {"type": units[0]} if units else {}, "technician": "Imani Okafor"}
    session = JobSession.start(store, sheet_text(key), opening, clock=clock)
    for line in (SCRIPTS / f"{key}.txt").read_text(encoding="utf-8").splitlines():
        if line and line[0] not in "#>" and not line.startswith("photo "):
            clock.advance(int(line[1:]) if line.startswith("+") else 5)
            if not line.startswith("+"):
                session.type_in(line)
    return list(session.state.entries)


def fill(folder: Path, count: int) -> None:
    """Make ``count`` jobs in ``folder``."""
    clock = ManualClock(datetime(2026, 8, 1, 9, tzinfo=UTC))
    with open_store(folder, clock=clock) as store:
        models = [carried_out(store, clock, key) for key in library()]
        for number in range(count - len(models)):
            clock.advance(600)
            job, ids = store.start_job(clock=clock), {None: None}
            for entry in models[number % len(models)]:
                made = store.append(
                    job, entry.kind, dict(entry.body), source=entry.source, by=entry.by,
                    supersedes=ids[entry.supersedes], clock=clock,
                )  # fmt: skip
                ids[entry.id] = made.id


def look(folder: Path, words: str) -> None:
    """Print how long the page with the list takes."""
    with TestClient(create_app(Shop.at(folder))) as client:
        for name in (words, "again"):
            begun = time.perf_counter()
            client.get("/").raise_for_status()
            print(f"{name}: {time.perf_counter() - begun:.2f} s", flush=True)


def main() -> None:
    """Make the jobs and look twice."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=300)
    parser.add_argument("--look", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--words", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.look:
        look(asked.look, asked.words)
        return
    with tempfile.TemporaryDirectory() as folder:
        fill(Path(folder), asked.jobs)
        for words in (f"{asked.jobs} jobs, first time", "after a restart"):
            command = [sys.executable, __file__, "--look", folder, "--words", words]
            subprocess.run(command, check=True)


if __name__ == "__main__":
    main()
