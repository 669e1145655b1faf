"""Photos and sounds in a folder, each under the SHA-256 of its content.

A file is written beside its place, flushed to the disk and renamed, so that a name never stands for
half a file. The same content is kept once.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
from pathlib import Path

from joblog.errors import RecordError, StoreError
from joblog.record.entry import MediaRef

_DIGEST = re.compile(r"[0-9a-f]{64}")

# Extensions for exported files; a fixed table, since the platform's differs between machines.
_EXTENSIONS = {
    "application/json": ".json",
    "audio/flac": ".flac",
    "audio/ogg": ".ogg",
    "audio/wav": ".wav",
    "audio/x-wav": ".wav",
    "audio/webm": ".weba",
    "image/heic": ".heic",
    "image/jpeg": ".jpg",
    "image/png": ".png",
    "image/webp": ".webp",
    "text/plain": ".txt",
    "video/mp4": ".mp4",
}


def is_digest(name: str) -> bool:
    """Say whether a file's name is a SHA-256 in lower-case hexadecimal, as those of media are."""
    return _DIGEST.fullmatch(name) is not None


def exported_name(ref: MediaRef) -> str:
    """Return the file name that media has in an export: its hash and a usual extension."""
    return ref.sha256 + _EXTENSIONS.get(ref.mime.split(";")[0].strip().lower(), "")


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":
        return  # Windows can't open a folder to flush it
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` so that either the whole file or nothing is there.

    Raises StoreError naming the file where the disk or its permissions refuse.
    """
    temporary: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # not mkstemp: its file would stay readable by the owner alone, and exports are for others
        temporary = path.parent / f".part-{secrets.token_hex(8)}"
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        temporary = None
        _sync_folder(path.parent)
    except OSError as error:
        raise StoreError(
            f"{path} can't be written ({error.strerror or error}); nothing of it was kept: "
            "free some space or choose another folder, then try again"
        ) from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink()


class MediaFolder:
    """Content-addressed files: ``folder/ab/abcd...``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Return where the content with that hash lies, or would lie."""
        if not _DIGEST.fullmatch(sha256):
            raise RecordError(f"{sha256!r} is not a SHA-256 in lower-case hexadecimal")
        return self.folder / sha256[:2] / sha256

    def put(self, data: bytes, mime: str, role: str = "", name: str = "") -> MediaRef:
        """Keep ``data`` and return what an entry carries for it."""
        digest = hashlib.sha256(data).hexdigest()
        path = self.path(digest)
        if not self._holds(path, digest):
            write_whole(path, data)
        return MediaRef(sha256=digest, mime=mime, role=role, name=name)

    def read(self, sha256: str) -> bytes:
        """Return the content; raises RecordError where it is missing or altered."""
        path = self.path(sha256)
        try:
            data = path.read_bytes()
        except FileNotFoundError as error:
            raise RecordError(
                f"the photo or sound {sha256[:12]}… is missing from {self.folder}; restore it from "
                "a backup or an export of the job"
            ) from error
        except OSError as error:
            raise StoreError(f"{path} can't be read ({error.strerror or error})") from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise RecordError(
                f"the photo or sound {path} was altered: its content no longer fits its hash; "
                "restore it from a backup or an export of the job"
            )
        return data

    @staticmethod
    def _holds(path: Path, digest: str) -> bool:
        # Re-hashed, so that a file damaged since is written anew rather than trusted by its name.
        try:
            return hashlib.sha256(path.read_bytes()).hexdigest() == digest
        except OSError:
            return False
