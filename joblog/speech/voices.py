"""The voices that were learnt on this PC: one small file for each technician.

A file holds the head that :mod:`joblog.speech.voice` learnt, the technician's name and how much it
helped. It can't be turned back into sound, but it tells a voice from others: it stays in this
folder, goes into no export, and is deleted for good when it is forgotten.
"""

from __future__ import annotations

import hashlib
import io
import os
import threading
import unicodedata
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from joblog.errors import InputError, StoreError
from joblog.speech.second_ear import SIZE, Head
from joblog.speech.voice import Learnt

FOLDER = "voices"
LONGEST = 80  # signs of a name
ABOUT = "about"  # name of the array that holds name, date and counts, as text


@dataclass(frozen=True)
class Voice:
    """One learnt voice: whose, since when (date), how many of ``trials`` were right before, after.

    ``head`` is what hears with it.
    """

    name: str
    since: str
    before: int
    after: int
    trials: int
    head: Head


class Voices:
    """The learnt voices of one shop. Threads may share it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / FOLDER
        self._lock = threading.Lock()
        self._read: dict[Path, tuple[int, Voice]] = {}  # by when the file was written

    def find(self, name: str) -> Voice | None:
        """Return the voice of ``name``, None where it was not learnt.

        Raises StoreError where its file is damaged.
        """
        return self._load(self._path(name)) if name.strip() else None

    def listed(self) -> tuple[list[Voice], list[str]]:
        """Return all voices, by name, and a sentence for each file that is damaged."""
        found, wrong = [], []
        for path in sorted(self.folder.glob("*.npz")):
            try:
                voice = self._load(path)
            except StoreError as error:
                wrong.append(str(error))
            else:
                found += [voice] if voice is not None else []
        return sorted(found, key=lambda voice: voice.name.casefold()), wrong

    def keep(self, name: str, learnt: Learnt) -> Voice:
        """Keep what was learnt, in place of what ``name`` had before. StoreError if it can't be."""
        since = f"{datetime.now(UTC):%Y-%m-%d}"
        about = [plain(name), since, *map(str, (learnt.before, learnt.after, learnt.trials))]
        arrays = {key: value.astype(np.float16) for key, value in learnt.weights.items()}
        held = io.BytesIO()
        np.savez(held, **{ABOUT: np.array(about)}, **arrays)  # type: ignore[arg-type]
        path = self._path(name)
        fresh = path.with_suffix(".new")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(held.getvalue())
            fresh.replace(path)
        except OSError as error:
            fresh.unlink(missing_ok=True)
            raise StoreError(
                f"The voice can't be kept in {self.folder} ({error.strerror}); free some space, or "
                "see who may write there."
            ) from None
        kept = self._load(path)
        assert kept is not None
        return kept

    def forget(self, name: str) -> bool:
        """Delete the voice of ``name``; says whether there was one."""
        path = self._path(name)
        with self._lock:
            self._read.pop(path, None)
        try:
            path.unlink()
        except FileNotFoundError:
            return False
        except OSError as error:
            raise StoreError(f"{path} can't be deleted ({error.strerror}).") from None
        return True

    def _path(self, name: str) -> Path:
        signs = named(name).casefold().encode("utf-8", "replace")
        return self.folder / f"{hashlib.sha256(signs).hexdigest()[:16]}.npz"

    def _load(self, path: Path) -> Voice | None:
        try:
            written = path.stat().st_mtime_ns
        except OSError:
            return None
        with self._lock:
            if path in self._read and self._read[path][0] == written:
                return self._read[path][1]
        voice = _voice_in(path)
        with self._lock:
            self._read[path] = written, voice
        return voice


def plain(name: str) -> str:
    """Return a name as it is kept: one form of each letter (NFC), no spaces too many."""
    return " ".join(unicodedata.normalize("NFC", name).split())


def named(name: str) -> str:
    """Return a name as it is kept; InputError where it is none, or longer than 80 signs."""
    whose = plain(name)
    if not whose or len(whose) > LONGEST:
        raise InputError(f"Give the technician's name, of at most {LONGEST} signs.")
    return whose


def _voice_in(path: Path) -> Voice:
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as archive:
            name, since, before, after, trials = map(str, archive[ABOUT])
            weights = {n: archive[n].astype(np.float32) for n in archive.files if n != ABOUT}
        head = Head(weights)
        head(np.zeros((1, SIZE), np.float32))  # whether all weights are there, and fit
        return Voice(name, since, int(before), int(after), int(trials), head)
    except (OSError, ValueError, KeyError, EOFError, BadZipFile, zlib.error):
        raise StoreError(
            f"{path} is damaged; delete it and let joblog learn the voice again."
        ) from None
