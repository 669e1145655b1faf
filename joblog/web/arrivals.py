"""Pictures that come without a phone: from a folder that a camera copies to, or a camera itself.

Each goes the way of a phone's photo: same measurement, same answer. What is no picture, and what
no job asks for, stays where it is, and one sentence says so on the terminal and above the list of
jobs.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Event

from joblog.errors import (
    InputError,
    JoblogError,
    PhotoError,
    RecordError,
    StoreError,
    UnansweredError,
)
from joblog.job.open_job import Asked
from joblog.job.photographing import Taken
from joblog.job.session import JobSession
from joblog.vision.camera import grab_frame
from joblog.vision.watch import FolderWatch
from joblog.web.jobs import Shot, keep_once
from joblog.web.pages import LARGEST
from joblog.web.shop import Shop
from joblog.web.view import photo_wanted

EVERY = 0.5  # seconds between two looks into the folder
STILL = 3  # looks at which a file must be the same: a copy that stops for a moment is not whole
QUICK = 0.2  # seconds between two looks for a photo that was asked for
TAKEN = "The picture is in the record already and is not taken twice."
Beside = Callable[[Event], None]


def watching(shop: Shop, folder: Path) -> Beside:
    """Return what looks into ``folder`` until it is stopped. Raises DeviceError for no folder."""
    watch = FolderWatch(folder, still=STILL)
    there = True
    late: set[Path] = set()  # what could not be kept at once; told once

    def run(stop: Event) -> None:
        nonlocal there
        while not stop.wait(EVERY):
            try:
                found = watch.look()
                there = True
            except JoblogError as error:
                if there:
                    _tell(shop, str(error))
                there = False
                continue
            for path in found:
                if not take_file(shop, path, quiet=path in late):
                    late.add(path)
                    watch.again(path)

    return run


def take_file(shop: Shop, path: Path, *, quiet: bool = False) -> bool:
    """Bring one picture to the job that wants it, or say why it stays where it is.

    False says that the shop PC could not keep it just now: it is to come again. ``quiet`` doesn't
    tell that once more.
    """
    try:
        data = _read(path)
        session, kind, by = meant(shop)
        take(shop, session, data, Shot(kind=kind, by=by), path.name)
        shop.told = ""
    except UnansweredError:  # it is in the record
        pass
    except StoreError as error:
        if not quiet:
            _tell(shop, f"{path.name}: {error}. The picture is tried again by itself.")
        return False
    except JoblogError as error:
        text = str(error)
        sentence = text if path.name in text else f"{path.name}: {text}"
        _tell(shop, sentence)
        if isinstance(error, PhotoError) and text != TAKEN:
            _tell_who_asked(shop, sentence)
    return True


def _tell_who_asked(shop: Shop, sentence: str) -> None:
    """Say in the job that waits for a photo why this one was not taken."""
    asked = [(s.asks[-1].number, s) for s in open_sessions(shop) if s.asks]
    if asked:
        max(asked, key=lambda pair: pair[0])[1].tell(sentence)


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST:
            raise PhotoError("The picture is larger than 30 MB and stays in the folder.")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "no reason given"
        raise PhotoError(f"The picture can't be read ({reason}); copy it in again.") from error


def meant(shop: Shop) -> tuple[JobSession, str, str]:
    """Return the job that a picture is for, its kind, and who asked.

    It is the job that asked for a photo last; where none did, the one whose next step wants one.
    Raises InputError where there is none, or more than one.
    """
    sessions = open_sessions(shop)
    asked = [(s.asks[-1], s) for s in sessions if s.asks]
    if asked:
        last, session = max(asked, key=lambda pair: pair[0].number)
        return session, last.kind, last.by
    wanting = [(s, kind) for s in sessions if (kind := photo_wanted(s.state))]
    if len(wanting) == 1:
        return *wanting[0], ""
    why = "no open job wants a photo" if not wanting else "several open jobs want a photo"
    raise InputError(
        f"The picture stays in the folder: {why}. Say or type “photo” and what it shows in its "
        "job, then copy it in again."
    )


def open_sessions(shop: Shop) -> list[JobSession]:
    """Return the jobs that are open; one whose record was altered is left out."""
    found = []
    for line in shop.index.lines():
        if line["closed"]:
            continue
        try:
            session = shop.session(line["job"])
        except RecordError:
            continue
        if not session.state.closed:
            found.append(session)
    return found


def take(shop: Shop, session: JobSession, data: bytes, shot: Shot, name: str) -> None:
    """Record a picture in a job, as a phone's. Raises PhotoError for one that was taken before."""
    sha256 = hashlib.sha256(data).hexdigest()
    _must_be_new(shop, sha256)
    session.look_ahead(Taken(data, shot.kind))  # no phrase waits while it is measured
    with session.alone():
        _must_be_new(shop, sha256)
        keep_once(session, data, sha256, shot, name)


def _must_be_new(shop: Shop, sha256: str) -> None:
    # A file in the store alone says nothing: the disk may have been full behind it.
    if shop.store.media_path(sha256).exists() and shop.store.named(sha256):
        raise PhotoError(TAKEN)


def aiming(shop: Shop, source: int | str) -> Beside:
    """Return what grabs a frame of a camera whenever a job asks for a photo, until stopped."""

    def run(stop: Event) -> None:
        answered: set[int] = set()
        while not stop.wait(QUICK):
            new = [(a, s) for s in shop.opened() for a in s.asks if a.number not in answered]
            for asked, session in sorted(new, key=lambda pair: pair[0].number):
                answered.add(asked.number)
                shoot(shop, session, asked, source)

    return run


def shoot(shop: Shop, session: JobSession, asked: Asked, source: int | str) -> None:
    """Answer a job's wish for a photo with a frame; where that fails, a phone still can."""
    try:
        data = grab_frame(source)
        if asked in session.asks:
            session.look_ahead(Taken(data, asked.kind))
        with session.alone():
            if asked in session.asks:  # else a phone was quicker
                take(shop, session, data, Shot(kind=asked.kind, by=asked.by), "camera")
    except JoblogError as error:
        session.tell(f"{error} A phone can still take the photo.")
        print(f"joblog: {error}", file=sys.stderr, flush=True)


def _tell(shop: Shop, sentence: str) -> None:
    shop.told = sentence
    print(f"joblog: {sentence}", file=sys.stderr, flush=True)
