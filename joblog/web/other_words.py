"""Words in joblog's own voice, for whoever must learn what is no digit."""

from __future__ import annotations

import re

import numpy as np

from joblog.audio.resample import Resampler
from joblog.audio.types import Samples
from joblog.readback.clips import load_clips
from joblog.readback.sequence import Piece
from joblog.readback.sound import RATE, joined

LONGEST = 2.5  # seconds


def other_words() -> list[tuple[Samples, tuple[str, ...]]]:
    """Return sound (16 kHz) and words of all clips that are plain words and not long.

    Raises StoreError where the clips are missing or altered.
    """
    clips = load_clips()
    found = []
    for name, clip in clips.by_name.items():
        words = tuple(re.findall(r"[a-z']+", name.lower()))
        if clip.seconds <= LONGEST and words and not re.search(r"\d", name):
            sound = np.pad(joined([Piece("clip", name)], clips), RATE // 4)
            found.append((Resampler(RATE).feed(sound), words))
    return found
