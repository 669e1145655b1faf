"""A job out of one store and into another: ``record.jsonl`` with a ``media`` folder beside it.

Originals lie in ``media`` under their hash. An export that leaves the shop has ``copies`` instead,
cleared of where they were taken. A copy fits no hash, so it never counts as what an entry names.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from joblog.errors import InputError, RecordError
from joblog.record.chain import Verdict, verify_lines
from joblog.record.entry import Entry, MediaRef
from joblog.record.media import exported_name, write_whole
from joblog.record.store import DATABASE, Store

RECORD = "record.jsonl"
MEDIA = "media"
COPIES = "copies"
_PLACELESS = ("audio/", "text/", "application/json")  # kinds that hold no place of a camera
_WANTED = "give a record.jsonl or the folder of an export"
# What only a record has in this form, altered or not: a web page or another JSON file has neither.
_TRACE = re.compile(rb'"prev"\s*:\s*"[0-9a-f]{64}"|"seq"\s*:\s*\d')
_NAMED = re.compile(rb'"sha256"\s*:\s*"([0-9a-f]{64})"')
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Imported:
    """What an import did: how many entries were new and how many were held already."""

    job: str
    added: int
    held: int


def record_bytes(entries: Iterable[Entry]) -> bytes:
    """Return the bytes of ``record.jsonl``: one canonical JSON line for each entry."""
    return b"".join(entry.line() + b"\n" for entry in entries)


def export_stream(store: Store, job: str, out: BinaryIO) -> int:
    """Write the entries of ``job`` to a binary stream; return how many."""
    entries = store.entries(job)
    out.write(record_bytes(entries))
    return len(entries)


def export_job(
    store: Store,
    job: str,
    folder: str | Path,
    *,
    replace: bool = False,
    clear: Callable[[bytes], bytes] | None = None,
) -> Path:
    """Write ``record.jsonl`` and the media it names into ``folder``; return the record's path.

    Pictures go along as they were taken, with all their notes, such as the place. Where it leaves
    the shop, give ``clear`` (:func:`joblog.vision.location.strip_location`): a picture that it
    changes is written into ``copies`` as changed, one that it refuses is left out.
    The record is written last, so a folder that has one is complete. ``replace`` lets it take the
    place of another job's record, as when a demonstration is played again.
    Raises RecordError where the record or a photo is damaged, InputError where the folder already
    holds another job or originals that are to be cleared, StoreError where it can't be written.
    """
    folder = Path(folder)
    verdict, entries = store.checked(job)
    if not verdict.whole:
        raise RecordError(f"{verdict.sentence} Nothing was exported")
    target = folder / RECORD
    data = record_bytes(entries)
    if not replace and target.exists() and not data.startswith(target.read_bytes()):
        raise InputError(f"{target} holds another record; choose an empty folder")
    for ref in media_of(entries):
        _write_media(folder, ref, store.read_media(ref.sha256), clear)
    write_whole(target, data)
    return target


def _write_media(
    folder: Path, ref: MediaRef, data: bytes, clear: Callable[[bytes], bytes] | None
) -> None:
    """Write a photo or sound as it is, or as what ``clear`` makes of it; nothing if it refuses."""
    original = folder / MEDIA / exported_name(ref)
    if clear is None or ref.mime.startswith(_PLACELESS):
        write_whole(original, data)
        return
    try:
        cleared = clear(data)
    except InputError:  # it can't be read, so nobody knows what it holds
        cleared = b""
    if cleared == data:
        write_whole(original, data)
    elif original.exists():
        raise InputError(
            f"{original.parent} holds originals, with the place they were taken; "
            "choose an empty folder"
        )
    elif cleared:
        kind = ".png" if cleared.startswith(b"\x89PNG") else ".jpg"
        write_whole(folder / COPIES / f"{ref.sha256}{kind}", cleared)


def copied(refs: Iterable[MediaRef], record: Path) -> int:
    """Return how many of ``refs`` lie beside ``record`` as cleared copies; nothing vouches for
    these.
    """
    names = {path.stem for path in (record.parent / COPIES).glob("*")}
    return sum(ref.sha256 in names for ref in refs)


def copies_beside(record: Path) -> Callable[[str], bytes]:
    """Return what gives the cleared copy of a picture by the hash of the original.

    Nothing vouches for a copy. KeyError where there is none, OSError where it can't be read.
    """
    found = {path.stem: path for path in (record.parent / COPIES).glob("*")}
    return lambda sha256: found[sha256].read_bytes()


def media_of(entries: Iterable[Entry]) -> list[MediaRef]:
    """Return the media that ``entries`` name, each content once, in order."""
    seen: dict[str, MediaRef] = {}
    for entry in entries:
        for ref in entry.media:
            seen.setdefault(ref.sha256, ref)
    return list(seen.values())


def find_record(place: Path) -> Path:
    """Return the record that ``place`` (a file, or a folder holding one) means."""
    record = place / RECORD if place.is_dir() else place
    if not record.is_file():
        raise InputError(f"{record} isn't there; {_WANTED}{_instead(place)}")
    return record


def _instead(folder: Path) -> str:
    """Say how what lies in a folder without a record is checked; '' where nothing of ours does."""
    if (folder / DATABASE).is_file():
        return f" (the jobs in this folder's {DATABASE}: `joblog verify --all --data {folder}`)"
    report = next(iter(sorted(folder.glob("*.pdf"))), None)
    return f" (a report's PDF carries its record: `joblog verify {report}`)" if report else ""


def read_record(path: Path) -> tuple[Verdict, list[Entry]]:
    """Return the verdict on a ``record.jsonl`` and its good entries.

    Raises InputError where it can't be read, or is a file of another kind: that is no tampering.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path} can't be read ({error.strerror or error})") from error
    verdict, entries = verify_lines(data)
    wrong = "" if entries else _other_kind(path, data)
    if wrong:
        raise InputError(wrong)
    return verdict, entries


def _other_kind(path: Path, data: bytes) -> str:
    """Say what a file is that is no record, and what to do; '' where it is one, altered or not.

    Any trace of an entry makes it one, and an emptied record still is one.
    """
    if data.startswith(b"%PDF-"):
        return f"{path} is a PDF: `joblog verify {path}` checks a report's; here {_WANTED}"
    if data.startswith(b"SQLite format 3\0"):
        check = f"`joblog verify --all --data {path.parent}` checks the jobs in it"
        return f"{path} is a database: {check}; here {_WANTED}"
    if data.startswith((b"PK\x03\x04", b"\x1f\x8b")):
        return f"{path} is packed: unpack it, then give what was in it"
    if not data.strip() or _TRACE.search(data):
        return ""
    return (
        f"{path} is no joblog record; {_WANTED} (of a report, the PDF carries its record; verify "
        "takes that, too)"
    )


@dataclass(frozen=True)
class MediaCheck:
    """Media beside a record: how many fit, which are missing, the first that was altered, and those
    in an export's folder that no entry names.
    """

    good: tuple[MediaRef, ...]
    missing: tuple[MediaRef, ...]
    altered: str | None
    unnamed: tuple[Path, ...] = ()

    @property
    def problem(self) -> str | None:
        """What speaks against the record, None where nothing does; media may be missing."""
        if self.altered or not self.unnamed:
            return self.altered
        many = len(self.unnamed)
        files = "a file" if many == 1 else f"{many} files"
        first = self.unnamed[0]
        return (
            f"its entries don't name {files} in {first.parent} (such as {first.name[:12]}…): "
            "entries were cut off its end, or another job's files were put there, or an export of "
            "this job into it was broken off; make the export again, or compare its final hash "
            "with the one on the printed report"
        )


def check_media(
    entries: Iterable[Entry], find: Callable[[MediaRef], Path], record: Path | None = None
) -> MediaCheck:
    """Compare the files that ``find`` leads to with the hashes that ``entries`` name.

    With ``record``, the file of a whole export, its ``media`` folder is looked through as well for
    what the entries don't name: who cuts a signature off the record may leave its picture there.
    """
    entries = list(entries)
    good: list[MediaRef] = []
    missing: list[MediaRef] = []
    for ref in media_of(entries):
        path = find(ref)
        if not path.is_file():
            missing.append(ref)
        elif _digest(path) == ref.sha256:
            good.append(ref)
        else:
            first = next(entry.seq for entry in entries if ref in entry.media)
            why = f"entry {first} rests on {path}, which was altered"
            return MediaCheck(tuple(good), tuple(missing), why)
    return MediaCheck(tuple(good), tuple(missing), None, _unnamed(entries, record))


def _unnamed(entries: list[Entry], record: Path | None) -> tuple[Path, ...]:
    """Return the files beside ``record`` that are kept as media are and that no record names.

    Records under other names in the same folder count: somebody may keep two jobs in it.
    """
    if record is None or not (record.parent / MEDIA).is_dir():
        return ()
    named = {ref.sha256 for ref in media_of(entries)}
    try:
        for other in record.parent.glob("*.jsonl"):
            if other.is_file() and not other.samefile(record):  # a device would never end
                named |= {digest.decode() for digest in _NAMED.findall(other.read_bytes())}
        files = sorted((record.parent / MEDIA).iterdir())
    except OSError as error:
        reason = error.strerror or error
        raise InputError(f"{record.parent} can't be looked through ({reason})") from error
    digests = ((path, path.name.split(".")[0]) for path in files)
    return tuple(
        path
        for path, digest in digests
        if _DIGEST.fullmatch(digest)
        and digest not in named
        and path.is_file()
        and _digest(path) == digest
    )


def media_beside(record: Path) -> Callable[[MediaRef], Path]:
    """Return where an export keeps the media of ``record``."""
    return lambda ref: record.parent / MEDIA / exported_name(ref)


def evidence(
    entries: Iterable[Entry], find: Callable[[MediaRef], Path], record: Path | None = None
) -> Callable[[str], bytes]:
    """Return what gives the media that ``entries`` name by SHA-256, for a report.

    Raises RecordError where any of them was altered; then nothing may be reported. The function
    raises KeyError, OSError or RecordError for what isn't there, or not as it was recorded.
    """
    entries = list(entries)
    problem = check_media(entries, find, record).problem
    if problem:
        raise RecordError(f"The record is NOT whole: {problem}. No report was made")
    refs = {ref.sha256: ref for ref in media_of(entries)}

    def read(sha256: str) -> bytes:
        data = find(refs[sha256]).read_bytes()
        if hashlib.sha256(data).hexdigest() != sha256:  # altered since it was looked at
            raise RecordError(f"the photo or sound {sha256[:12]}… was altered")
        return data

    return read


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputError(f"{path} can't be read ({error.strerror or error})") from error


def import_job(store: Store, place: str | Path, *, without_media: bool = False) -> Imported:
    """Bring an exported job into ``store``; doing it twice changes nothing.

    ``place`` is the export's folder or its ``record.jsonl``. Everything is verified before anything
    is kept. Raises RecordError where the record or a photo is altered, or a photo is missing and
    ``without_media`` isn't set.
    """
    path = find_record(Path(place))
    verdict, entries = read_record(path)
    if not verdict.whole or verdict.job is None:
        raise RecordError(f"{path}: {verdict.sentence} Nothing was imported")
    find = media_beside(path)
    media = check_media(entries, find, path)
    if media.problem:
        raise RecordError(f"{path}: {media.problem}; nothing was imported")
    copies = copied(media.missing, path)
    if copies and not without_media:
        raise RecordError(
            f"{path.parent} holds {copies} of its pictures as copies without their place, not as "
            "the originals; nothing was imported: make the export again with --originals, or "
            "import with --without-media"
        )
    if media.missing and not without_media:
        raise RecordError(
            f"{len(media.missing)} photos or sounds that the record names are missing from "
            f"{path.parent / MEDIA}; nothing was imported: add them, or import with --without-media"
        )
    for ref in media.good:
        store.put_media(find(ref).read_bytes(), ref.mime, ref.role, ref.name)
    added = store.adopt(verdict.job, entries)
    return Imported(verdict.job, added, len(entries) - added)
