"""A watched folder: a camera or a phone copies its pictures there, and they come in one by one.

A file is handed out once it has stopped growing: its size and time are the same at several
looks in a row. What lay there before the watch began is left alone unless asked for. A file that
vanishes is forgotten, one that is written anew under the same name comes in again. A folder is no
picture, whatever its name.
"""

from __future__ import annotations

import stat
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from joblog.errors import DeviceError

PICTURES = frozenset(
    {".jpg", ".jpeg", ".png", ".heic", ".heif", ".tif", ".tiff", ".webp", ".bmp", ".mpo"}
)
_State = tuple[int, int]  # size in bytes, time of last change in ns


@dataclass
class FolderWatch:
    """Looks into one folder; ``look`` returns the pictures that are new and whole since."""

    folder: Path
    also_old: bool = False
    still: int = 1  # looks after the first at which a file must be the same
    _waiting: dict[Path, tuple[_State, int]] = field(default_factory=dict)
    _seen: dict[Path, _State] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Remember what is there already."""
        if not self.also_old:
            self._seen = self._states()

    def look(self) -> list[Path]:
        """Return the pictures that have come in whole since the last look, oldest first.

        Raises DeviceError where the folder can't be read (any more).
        """
        states = self._states()
        ready = []
        waiting = {}
        for path, state in states.items():
            if self._seen.get(path) == state:
                continue
            before, looks = self._waiting.get(path, (state, -1))
            looks = looks + 1 if before == state else 0
            if looks >= self.still and state[0] > 0:
                ready.append(path)
                self._seen[path] = state
            else:
                waiting[path] = (state, looks)
        self._waiting = waiting
        self._seen = {p: s for p, s in self._seen.items() if p in states}
        return sorted(ready, key=lambda path: states[path][1])

    def again(self, path: Path) -> None:
        """Hand ``path`` out once more: it could not be taken just now, through no fault of it."""
        self._seen.pop(path, None)

    def _states(self) -> dict[Path, _State]:
        try:
            paths = list(self.folder.iterdir())
        except OSError as error:
            reason = error.strerror or "no reason given"
            raise DeviceError(
                f"The watched folder {self.folder} can't be read ({reason}): "
                "check that it exists and that the camera's card or share is there."
            ) from error
        states = {}
        for path in paths:
            if path.suffix.lower() not in PICTURES or path.name.startswith("."):
                continue
            try:
                status = path.stat()
            except OSError:
                continue  # it went between the listing and now: nothing to hand out
            if stat.S_ISREG(status.st_mode):
                states[path] = (status.st_size, status.st_mtime_ns)
        return states


def watch_folder(
    folder: str | Path,
    *,
    every_s: float = 0.5,
    also_old: bool = False,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[Path]:
    """Yield each picture once it has come in whole, until ``stop()`` says so.

    Raises DeviceError where the folder can't be read.
    """
    watch = FolderWatch(Path(folder), also_old)
    while not stop():
        yield from watch.look()
        time.sleep(every_s)
