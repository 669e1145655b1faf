"""Command line of the record room: verify, export, import, jobs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from string import hexdigits
from typing import TYPE_CHECKING

from joblog.errors import Exit, InputError, JoblogError, RecordError, UsageError

if TYPE_CHECKING:
    from joblog.record.chain import Verdict
    from joblog.record.entry import Entry, MediaRef
    from joblog.record.listing import JobLine
    from joblog.record.store import Store
    from joblog.record.transfer import MediaCheck

HASH_LENGTH = 64  # signs of a SHA-256 in hex
_DATA = "folder or database URL of the records (default: JOBLOG_DATA, or the platform's folder)"


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this room's commands."""
    verify = subparsers.add_parser(
        "verify",
        help="check that a record is whole and unaltered",
        description="Check a record.jsonl, an export's folder, or a report's PDF with the record "
        "attached. Exit status 0: whole and unaltered. 1: not; the first bad entry is named.",
    )
    verify.add_argument("file", type=Path, metavar="FILE", nargs="?")
    verify.add_argument("--job", help="examine this job in the store instead of a file")
    verify.add_argument("--all", action="store_true", help="examine every job in the store")
    verify.add_argument("--data", help=_DATA)
    verify.add_argument("--expect", metavar="HASH", help="final hash, as printed in the report")
    verify.set_defaults(run=run_verify)

    export = subparsers.add_parser(
        "export",
        help="write a job's record and photos into a folder",
        description="Photos leave as copies without the place they were taken, for a clerk or a "
        "customer. These can't be checked with the record or imported: for another PC of the shop, "
        "take the originals along with --originals.",
    )
    export.add_argument("job", metavar="JOB", help="id, its beginning or end, or 'last'")
    export.add_argument("folder", type=Path, metavar="DIR")
    export.add_argument(
        "--originals",
        action="store_true",
        help="photos as they were taken, with the place where a phone wrote it in",
    )
    export.add_argument("--data", help=_DATA)
    export.set_defaults(run=run_export)

    bring = subparsers.add_parser("import", help="verify an exported job and bring it in")
    bring.add_argument("folder", type=Path, metavar="DIR", help="an export's folder or its record")
    bring.add_argument("--without-media", action="store_true", help="photos may be missing")
    bring.add_argument("--data", help=_DATA)
    bring.set_defaults(run=run_import)

    jobs = subparsers.add_parser(
        "jobs",
        help="list the jobs, newest first",
        description="Each job with its vehicle, customer, state and opening time (in "
        "the time zone that shop.toml beside the records gives, else this machine's). Every other "
        "command takes the last part of the id as JOB.",
    )
    jobs.add_argument("--jsonl", action="store_true", help="one JSON object a job, times in UTC")
    jobs.add_argument("--data", help=_DATA)
    jobs.set_defaults(run=run_jobs)


def _open(args: argparse.Namespace, *, new: bool = False) -> Store:
    """Open the records that are meant; a folder that is named and not there only where ``new``."""
    from joblog.record.store import open_store, records_at

    return open_store(args.data) if new else records_at(args.data)


@dataclass(frozen=True)
class _Checked:
    """A record under examination: its verdict, its good entries, and where its media lie.

    ``folder`` is that of an export, whose media are this record's alone; elsewhere None.
    """

    verdict: Verdict
    entries: list[Entry]
    find: Callable[[MediaRef], Path]
    folder: Path | None = None


def run_verify(args: argparse.Namespace) -> int:
    """Check a record; print the verdict, then what a reader needs to compare."""
    from joblog.record.transfer import check_media

    if (args.file is not None) + (args.job is not None) + args.all != 1:
        raise UsageError("give a FILE to verify, --job JOB for one in the store, or --all")
    if args.all:
        if args.expect is not None:
            raise UsageError("--expect goes with one record: give a FILE or --job JOB")
        return _verify_all(args)
    expected = None if args.expect is None else _final_hash(args.expect)
    checked = _from_store(args) if args.file is None else _from_file(args.file)
    verdict = checked.verdict
    media = check_media(checked.entries, checked.find, checked.folder if verdict.whole else None)
    problem = _problem(verdict, media, _expected(expected, checked.entries))
    agrees, pages = (True, "") if problem or args.file is None else _report_agrees(args.file)
    if not agrees:  # what is wrong comes first
        print(pages)
    print(problem or verdict.told(ends=expected is not None))
    for remark in verdict.remarks:
        print(f"Remark: {remark}.")
    if verdict.job:
        print(f"Job: {verdict.job}")
    if verdict.count:
        end = " (as expected)" if expected and not problem else ""
        # The hash before the first bad entry may well be the one that the report prints.
        name = "Final hash" if verdict.whole else "Hash of the last good entry"
        print(f"{name}: {verdict.final_hash}{end}")
    if media.good:
        print(f"Photos and sounds: {len(media.good)} examined, unaltered.")
    _tell_missing(media, checked.folder or args.file)
    _tell_unchecked(args.file)
    if agrees and pages:
        print(pages)
    return int(Exit.OK if agrees and not problem else Exit.FAILED)


def _tell_missing(media: MediaCheck, record: Path | None) -> None:
    """Say what of the media isn't beside the record, and what is there only as a cleared copy."""
    from joblog.record.transfer import copied

    copies = copied(media.missing, record) if record else 0
    if copies:
        print(
            f"Photos: {copies} in this export only as copies without their place, not as the "
            "originals that the record names; nothing shows whether a copy was altered."
        )
    rest = len(media.missing) - copies
    if rest:
        print(f"Photos and sounds: {rest} not beside the record, though it names them.")


def _tell_unchecked(file: Path | None) -> None:
    """Say that reports beside a record that is given by its folder were not examined with it."""
    for report in sorted(file.glob("*.pdf")) if file is not None and file.is_dir() else ():
        print(f"Not examined: {report.name} beside it; `joblog verify {report}` does that.")


def _verify_all(args: argparse.Namespace) -> int:
    """Check every job in the store, as after a restore; name those that are not as they were."""
    from joblog.record.transfer import check_media, media_of

    with _open(args) as store:
        jobs, bad, good = store.jobs(), 0, 0
        named: dict[str, list[str]] = {}  # the jobs of each photo or sound
        for job in jobs:
            try:
                checked = _in_store(store, job)
                media = check_media(checked.entries, checked.find)
            except JoblogError as error:  # one that can't even be read hides no other
                print(f"{job}: {error}.")
                bad += 1
                continue
            for ref in media_of(checked.entries):
                named.setdefault(ref.sha256, []).append(job)
            problem = _problem(checked.verdict, media, "")
            if problem is None and media.missing:
                folder = store.folder / "media"
                problem = f"Photos and sounds: {len(media.missing)} not in {folder}."
            if problem is not None:
                print(f"{job}: {problem}")
            bad, good = bad + (problem is not None), good + len(media.good)
        if not jobs:
            print(_none_yet(store))
        remarks = _remarks(store, named) if jobs else []
    if jobs:
        print(f"Jobs: {len(jobs)} examined, {len(jobs) - bad} whole and unaltered.")
        print(f"Photos and sounds: {good} unaltered.")
    for remark in remarks:
        print(remark)
    return int(Exit.FAILED if bad else Exit.OK)


def _remarks(store: Store, named: dict[str, list[str]]) -> list[str]:
    """Return what is odd in a whole store though no job's own record shows it, and what can't be
    seen.
    """
    told = [
        f"Remark: the photo or sound {sha256[:12]}… is in {len(jobs)} jobs: {', '.join(jobs)}."
        for sha256, jobs in named.items()
        if len(jobs) > 1
    ]
    from joblog.record.media import is_digest

    loose = [f.name for f in store.folder.glob("media/??/*") if is_digest(f.name)]
    spare = sum(1 for name in loose if name not in named)
    if spare:
        told.append(
            f"Remark: no entry names {spare} of the photos and sounds in {store.folder / 'media'}: "
            "joblog was stopped as it kept them, or entries or whole jobs were taken out."
        )
    return [
        *told,
        "A job that was taken out as a whole, entries cut off an end, and a job written anew "
        "can't be seen here; the final hash on a printed report shows them (--expect).",
    ]


def _report_agrees(file: Path) -> tuple[bool, str]:
    """Say whether a report's pages say what its record says; (True, "") for what is no report."""
    if not _is_pdf(file):
        return True, ""
    from joblog.report.attached import verify_pdf

    return verify_pdf(file)


def _final_hash(typed: str) -> str:
    """Return the hash that somebody copied from a report, where it stands on two lines.

    Raises UsageError for what can be no final hash: a slip of the hand accuses no record.
    """
    signs = "".join(sign for sign in typed if sign.isprintable() and not sign.isspace()).lower()
    if len(signs) != HASH_LENGTH or set(signs) - set(hexdigits):
        raise UsageError(
            f"--expect wants the whole final hash, {HASH_LENGTH} signs 0 to 9 and a to f; this has "
            f"{len(signs)} signs: copy both lines of it from the report"
        )
    return signs


def _problem(verdict: Verdict, media: MediaCheck, unexpected: str) -> str | None:
    if not verdict.whole:
        return verdict.sentence
    if media.problem:
        return f"The record is NOT whole: {media.problem}."
    return unexpected or None


def _expected(expected: str | None, entries: list[Entry]) -> str:
    """Return '' where the record ends with the hash that is expected, if any; else what is wrong.

    A record that goes on behind that hash says still what it said: an advisor's words or another
    signature may have come after the report.
    """
    if expected is None or (entries and entries[-1].hash == expected):
        return ""
    place = next((entry.seq for entry in entries if entry.hash == expected), None)
    if place is None:
        return (
            f"The record is NOT the expected one: its final hash is not {expected}; entries are "
            "missing from its end, or it was written anew, or it is another record."
        )
    more = len(entries) - 1 - place
    follow = "1 entry follows it" if more == 1 else f"{more} entries follow it"
    return (
        f"The record does NOT end with the expected hash, that of its entry {place}: {follow}. Up "
        "to there it is as it was when that hash was given out; ask for a report made anew."
    )


def _from_store(args: argparse.Namespace) -> _Checked:
    with _open(args) as store:
        return _in_store(store, store.find_job(args.job))


def _in_store(store: Store, job: str) -> _Checked:
    verdict, entries = store.checked(job)
    return _Checked(verdict, entries, lambda ref: store.media_path(ref.sha256))


def _from_file(file: Path) -> _Checked:
    from joblog.record.chain import verify_lines
    from joblog.record.transfer import find_record, media_beside, read_record

    if _is_pdf(file):
        return _Checked(*verify_lines(_record_from_pdf(file)), media_beside(file))
    path = find_record(file)
    return _Checked(*read_record(path), media_beside(path), path)


def _is_pdf(file: Path) -> bool:
    """Say whether ``file`` is a PDF, by its name or its first bytes."""
    if file.suffix.lower() == ".pdf" or not file.is_file():
        return file.suffix.lower() == ".pdf"
    try:
        with file.open("rb") as opened:
            return opened.read(5) == b"%PDF-"
    except OSError as error:
        raise InputError(f"{file} can't be read ({error.strerror or error})") from error


def _record_from_pdf(file: Path) -> bytes:
    if not file.is_file():
        raise InputError(f"{file} isn't there")
    from joblog.report.attached import record_from_pdf

    return record_from_pdf(file)


def run_export(args: argparse.Namespace) -> int:
    """Write a job into a folder."""
    from joblog.record.transfer import check_media, copied, export_job, media_beside, read_record
    from joblog.vision.location import strip_location

    with _open(args) as store:
        job = store.find_job(args.job)
        clear = None if args.originals else strip_location
        path = export_job(store, job, args.folder, clear=clear)
    print(f"Job {job} was written to {path}.")
    verdict, entries = read_record(path)
    print(f"Final hash: {verdict.final_hash}")
    missing = check_media(entries, media_beside(path)).missing
    copies = copied(missing, path)
    if copies:
        print(
            f"Photos: {copies} written as copies without the place they were taken; another PC of "
            "the shop needs the originals (--originals)."
        )
    if len(missing) > copies:
        print(
            f"Photos: {len(missing) - copies} left out, for their place can't be taken out "
            "(--originals takes them along)."
        )
    return int(Exit.OK)


def run_import(args: argparse.Namespace) -> int:
    """Verify an exported job and bring it in."""
    from joblog.record.transfer import import_job

    with _open(args, new=True) as store:
        done = import_job(store, args.folder, without_media=args.without_media)
    print(f"Job {done.job}: {done.added} entries brought in, {done.held} were here already.")
    return int(Exit.OK)


def run_jobs(args: argparse.Namespace) -> int:
    """List the jobs: vehicle, customer, state, when; the id last."""
    import json

    from joblog.record.listing import listed
    from joblog.report.settings import shop_zone

    zone, mistake = None, ""
    with _open(args) as store:
        try:
            zone = None if args.jsonl else shop_zone(store.folder)
        except InputError as error:  # no reason to hide the jobs
            mistake = f"joblog: {error}; until it is mended, times are in this PC's zone"
        lines = [_line(store, job) for job in store.jobs()]
    if args.jsonl:
        shown = [json.dumps(line.as_json(), ensure_ascii=False) for line in lines]
    else:
        shown = listed(lines, zone) or [_none_yet(store)]
    for line in shown:
        print(line)
    if mistake:
        print(mistake, file=sys.stderr)
    return int(Exit.OK)


def _none_yet(store: Store) -> str:
    """Say that there are no jobs; photos without any show that the database did not come along."""
    if next(store.folder.glob("media/*/*"), None) is None:
        return "There are no jobs here yet."
    return (
        f"There are no jobs here, but photos of some lie in {store.folder / 'media'}: the database "
        "was lost, or joblog.db was copied without joblog.db-wal; copy the whole folder once more"
        "."
    )


def _line(store: Store, job: str) -> JobLine:
    """Return the line of ``job``; one that can't be read any more doesn't hide the others."""
    from joblog.record.listing import altered_line, job_line

    try:
        return job_line(job, store.entries(job))
    except RecordError:
        return altered_line(job)
