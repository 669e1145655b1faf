"""``joblog demo``: a whole job, heard, measured, recorded and reported."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from joblog.demo.script import OPENING
from joblog.errors import Exit, InputError, StoreError

if TYPE_CHECKING:
    from rich.console import Console

    from joblog.demo.player import Played

_WRITTEN = ("report.html", "report.pdf", "media", "copies")
NARROWEST, LOWEST = 100, 28  # columns and rows that the drawn screen needs


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``joblog demo``."""
    parser = subparsers.add_parser("demo", help="play a whole sample job and write its report")
    parser.add_argument("--out", type=Path, default=Path("demo-out"), help="folder for the results")
    parser.add_argument(
        "--pace",
        choices=("fast", "real"),
        default="fast",
        help="fast: under a minute, on the scenario's clock; real: as long as the job takes",
    )
    parser.add_argument("--plain", action="store_true", help="print lines instead of a screen")
    parser.set_defaults(run=run_demo)


def run_demo(args: argparse.Namespace) -> int:
    """Play the job and leave its report, its record and the pictures in ``--out``."""
    from rich.console import Console

    from joblog.demo.player import play
    from joblog.demo.screen import Screen
    from joblog.speech.engines import get_engine

    console = Console(highlight=False)
    started = time.perf_counter()
    out: Path = args.out
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{out} can't be made ({error.strerror}); name another --out.") from None
    _refuse_other_records(out)
    console.print("Loading the recogniser …")
    engine = get_engine()
    plain = args.plain or not console.is_terminal
    if not plain and (console.width < NARROWEST or console.height < LOWEST):
        plain = True
        console.print(
            f"This window shows {console.width} columns and {console.height} rows, so lines are "
            f"printed; with {NARROWEST} and {LOWEST} or more you see the steps filling up."
        )
    with tempfile.TemporaryDirectory(prefix="joblog-demo-") as data:
        try:
            with Screen(console, plain) as screen:
                played = play(
                    engine,
                    Path(data),
                    real=args.pace == "real",
                    linger=0.0 if plain else 0.5,
                    show=screen.show,
                )
        except KeyboardInterrupt:  # what was recorded lies in the folder that goes now
            print("joblog: the demo was stopped; nothing of it is kept.", file=sys.stderr)
            return 130
        _write(played, out)
        _tell(console, played, out, time.perf_counter() - started, args.pace)
        played.store.close()
    return int(Exit.OK)


def _refuse_other_records(out: Path) -> None:
    """Raise InputError where ``out`` holds anything but an earlier demo: that would be replaced."""
    from joblog.record.store import DATABASE

    records = sorted(out.glob("*.jsonl"))
    if (out / DATABASE).exists():
        raise InputError(f"{out} holds a shop's records ({DATABASE}); name another --out.")
    other = next((record for record in records if not _of_a_demo(record)), None)
    if other is not None:
        raise InputError(f"{out} holds another job ({other.name}); name another --out.")
    left = [name for name in _WRITTEN if (out / name).exists()]
    if left and not records:
        raise InputError(f"{out} holds a {left[0]} that is not a demo's; name another --out.")


def _of_a_demo(record: Path) -> bool:
    """Say whether the job in ``record`` was opened by a demo."""
    try:
        with record.open(encoding="utf-8") as file:
            body = json.loads(file.readline())["body"]
        return {name: body.get(name) for name in OPENING} == OPENING
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False


def _write(played: Played, out: Path) -> None:
    """Write record, media and report into ``out``; replaces an earlier demo's."""
    from joblog.record.transfer import export_job
    from joblog.report.build import build_report
    from joblog.report.html import render_html
    from joblog.report.pdf import render_pdf
    from joblog.vision.location import strip_location

    state, store = played.session.state, played.store
    for old in ("record.jsonl", "report.html", "report.pdf"):
        (out / old).unlink(missing_ok=True)
    for old in ("media", "copies"):
        shutil.rmtree(out / old, ignore_errors=True)
    export_job(store, played.session.job, out, clear=strip_location)
    record = (out / "record.jsonl").read_bytes()
    report = build_report(state, store.read_media)
    (out / "report.html").write_text(render_html(report), encoding="utf-8")
    (out / "report.pdf").write_bytes(render_pdf(report, record))


def _tell(console: Console, played: Played, out: Path, seconds: float, pace: str) -> None:
    """Print how the job went, where the report lies, and a one-line verdict."""
    from joblog.job.explanations import notes_told
    from joblog.job.types import FindingKind

    state = played.session.state
    heard = [e for e in state.entries if e.kind == "heard"]
    asked = sum(e.body.get("verdict") == "ask" for e in heard)
    ignored = sum(e.body.get("verdict") == "reject" for e in heard)
    told = len(notes_told(state))
    observed = sum(f.kind is FindingKind.OBSERVATION for f in state.findings)
    seen = observed + told
    still_open = sum(
        not f.resolved and f.kind is not FindingKind.OBSERVATION for f in state.findings
    )
    console.print()
    if pace == "fast":
        console.print(
            f"An hour's job in {seconds:.0f} s: times in its record are the scenario's clock. "
            "Speech, photos and record are real work, done just now."
        )
    console.print(f"Report: {out / 'report.pdf'} and {out / 'report.html'}")
    console.print(f"Record: {out / 'record.jsonl'} ('joblog verify {out / 'record.jsonl'}')")
    console.print(
        f"Verdict: job {state.closed or 'still open'}; {len(heard)} phrases heard "
        f"({asked} asked back, {ignored} ignored), {len(state.photos)} photos measured, "
        f"{len(state.findings) - observed} findings ({still_open} open), "
        f"{seen} {'observation' if seen == 1 else 'observations'} for the customer.",
        style="bold",
    )
