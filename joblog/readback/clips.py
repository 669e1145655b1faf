"""The clips that are shipped: a file of Ogg Opus streams, the same as MP3, and the index of both.

All are checked before use: the hash of the index stands here and the hashes of the sound stand in
the index, so that no altered file is ever played: a clip that says another number would be worse
than none. The MP3 are for browsers that decode no Ogg. How the files were made is in the repository
under ``tools/readback``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from joblog.errors import ModelError

FOLDER = Path(__file__).with_name("static")
INDEX = "index.json"
SOUND, MP3 = "voice.ogg", "voice.mp3"
INDEX_SHA256 = "5bc32c72229508c800c08368b6b21979c0e0cdefc03eb64116741df7b948612c"


@dataclass(frozen=True)
class Clip:
    """Where a clip lies in the sound file, in bytes, and how long it sounds, in seconds."""

    start: int
    length: int
    seconds: float


@dataclass(frozen=True)
class Clips:
    """All clips by their names; ``sound`` is the file that they lie in."""

    by_name: Mapping[str, Clip]
    sound: bytes

    def data(self, name: str) -> bytes:
        """Return a clip as one Ogg Opus stream; raises KeyError for an unknown name."""
        clip = self.by_name[name]
        return self.sound[clip.start : clip.start + clip.length]


@dataclass(frozen=True)
class Stock:
    """The clips, or the sentence that says why there are none."""

    clips: Clips | None
    why: str = ""
    version: str = ""  # changes with the files, so that a browser never mixes two sets

    @property
    def names(self) -> Mapping[str, Clip]:
        """The clips by name; none where the files can't be used."""
        return self.clips.by_name if self.clips else {}


def load_clips(folder: Path = FOLDER) -> Clips:
    """Return the clips of ``folder``; raises ModelError where a file is missing or altered."""
    index = _whole(folder / INDEX, INDEX_SHA256)
    told = json.loads(index)
    sound = _whole(folder / SOUND, told["sha256"])
    _whole(folder / MP3, told["mp3"]["sha256"])
    by_name = {name: Clip(*place[:3]) for name, place in told["clips"].items()}
    return Clips(by_name, sound)


def _whole(path: Path, sha256: str) -> bytes:
    try:
        data = path.read_bytes()
    except OSError:
        raise ModelError(
            f"The read-back clips can't be used ({path.name} is missing); install joblog again."
        ) from None
    if hashlib.sha256(data).hexdigest() != sha256:
        raise ModelError(
            f"The read-back clips can't be used ({path.name} was altered); install joblog again."
        )
    return data


@cache
def stock(folder: Path = FOLDER) -> Stock:
    """Return the clips of ``folder``, or why they can't be used; looked at once."""
    try:
        clips = load_clips(folder)
    except ModelError as error:
        return Stock(None, str(error))
    return Stock(clips, version=INDEX_SHA256[:12])
