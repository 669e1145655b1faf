"""Command line of the report room."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from joblog.errors import Exit, InputError, RecordError

if TYPE_CHECKING:
    from joblog.job.types import JobState
    from joblog.report.images import Media
    from joblog.report.model import Report
    from joblog.report.settings import ShopSettings


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``report`` and ``bench report``."""
    parser = subparsers.add_parser("report", help="write the report of a job, as HTML and PDF")
    parser.add_argument("job", help="a job's number or its start, a record.jsonl, or its folder")
    parser.add_argument("--out", type=Path, default=Path(), metavar="DIR", help="where to write")
    parser.add_argument("--data", metavar="DIR|URL", help="the store, where JOB is a number")
    parser.add_argument(
        "--language", metavar="CODE", help="en, es ...; what is left out is as shop.toml says"
    )
    parser.add_argument("--units", choices=("us", "metric", "both"))
    parser.add_argument("--paper", choices=("a4", "letter"))
    parser.add_argument("--settings", type=Path, metavar="FILE", help="the shop's TOML file")
    parser.add_argument(
        "--earlier",
        action="append",
        default=[],
        metavar="JOB",
        help="an earlier job on this unit, closed",
    )
    parser.add_argument(
        "--history",
        action="store_true",
        help="also write the one-page service history of JOB and the earlier ones",
    )
    parser.set_defaults(run=run_report)
    _add_bench(subparsers)


def _add_bench(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    from joblog.bench import bench_parsers

    bench = bench_parsers(subparsers).add_parser(
        "report", help="time HTML and PDF beside a headless browser's print of the same HTML"
    )
    bench.add_argument("--entries", type=int, default=80)
    bench.add_argument("--photos", type=int, default=20)
    bench.add_argument("--runs", type=int, default=5)
    bench.add_argument("--browser", help="path of a Chromium; found by itself where there is one")
    bench.set_defaults(run=run_bench)


def run_bench(args: argparse.Namespace) -> int:
    """Print how long a report takes."""
    from joblog.report.bench import bench

    return bench(args.entries, args.photos, args.runs, args.browser)


def run_report(args: argparse.Namespace) -> int:
    """Write report.html and report.pdf into ``--out``."""
    from joblog.report.build import build_report
    from joblog.report.settings import ShopSettings

    settings = _settings(args) or ShopSettings()
    args.language, args.units, args.paper = (
        args.language or settings.language,
        args.units or settings.units,
        args.paper or settings.paper,
    )
    state, record, media = load_job(args.job, args.data)
    earlier = [_earlier(job, args.data, state) for job in args.earlier]
    report = build_report(
        state,
        media,
        language=args.language,
        units=args.units,
        paper=args.paper,
        settings=settings,
        history=earlier,
        copies=_copies(args.job),
    )
    write_report(args.out, report, record)
    if args.history:
        _write_history(args, [*earlier, state], settings)
    print(f"Report: {args.out / 'report.html'} and {args.out / 'report.pdf'}")
    print(report.front.verdict)
    return int(Exit.OK)


def _copies(job: str) -> Media | None:
    """Return what gives the copies of an export without originals; None for a job in the store."""
    from joblog.record.transfer import copies_beside, find_record

    return copies_beside(find_record(Path(job))) if Path(job).exists() else None


def _settings(args: argparse.Namespace) -> ShopSettings | None:
    """Return the settings that were named, or of a job in the store those beside the records."""
    from joblog.record.store import data_folder
    from joblog.report.settings import SETTINGS, load_settings

    if args.settings:
        return load_settings(args.settings)
    beside = data_folder(args.data) / SETTINGS
    return load_settings(beside) if beside.is_file() and not Path(args.job).exists() else None


def _earlier(job: str, data: str | None, now: JobState) -> JobState:
    """Return the state of an earlier service of the same unit.

    Raises InputError where the job named isn't one.
    """
    from joblog.job.earlier import not_earlier

    before = load_job(job, data)[0]
    why = not_earlier(before, now)
    if why:
        raise InputError(
            f"--earlier {job} is no earlier service of this unit: {why}. Name a closed job on the "
            "same unit that was opened before this one"
        )
    return before


def _write_history(
    args: argparse.Namespace, jobs: list[JobState], settings: ShopSettings | None
) -> None:
    from joblog.report.history_report import build_history

    history = build_history(
        jobs, language=args.language, units=args.units, paper=args.paper, settings=settings
    )
    write_report(args.out, history, b"", name="history")
    print(f"Service history: {args.out / 'history.html'} and {args.out / 'history.pdf'}")


def write_report(out: Path, report: Report, record: bytes, name: str = "report") -> None:
    """Write HTML and PDF into ``out``, each whole or not at all."""
    from joblog.record.media import write_whole
    from joblog.report.html import render_html
    from joblog.report.pdf import render_pdf

    html, pdf = render_html(report).encode(), render_pdf(report, record)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"the folder {out} can't be made: {error.strerror or error}") from error
    write_whole(out / f"{name}.html", html)
    write_whole(out / f"{name}.pdf", pdf)


def load_job(job: str, data: str | None) -> tuple[JobState, bytes, Media]:
    """Return a job's state, its record and where its photos are.

    ``job`` is a ``record.jsonl``, the folder of an export, or a job in the store. Raises InputError
    where there is none, RecordError where the record isn't whole or a photo or sound was altered.
    """
    place = Path(job)
    return _from_file(place) if place.exists() else _from_store(job, data)


def _from_file(place: Path) -> tuple[JobState, bytes, Media]:
    from joblog.record.transfer import (
        evidence,
        find_record,
        media_beside,
        read_record,
        record_bytes,
    )
    from joblog.report.attached import job_from_record

    path = find_record(place)
    verdict, entries = read_record(path)
    if not verdict.whole:
        raise RecordError(f"{path}: {verdict.sentence} No report was written")
    media = evidence(entries, media_beside(path), path)
    return job_from_record(entries), record_bytes(entries), media


def _from_store(job: str, data: str | None) -> tuple[JobState, bytes, Media]:
    from joblog.record.store import records_at
    from joblog.record.transfer import evidence, record_bytes
    from joblog.report.attached import job_from_record

    with records_at(data) as store:
        entries = store.whole(store.find_job(job))
        media = evidence(entries, lambda ref: store.media_path(ref.sha256))
        return job_from_record(entries), record_bytes(entries), media
