"""Free notes: how long speech is cut, and when a text is believed to have been spoken at all.

A model trained on captions invents text where nobody speaks. A text is believed only where the
model itself sees speech, is on average sure of its words, and does not repeat itself.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence

import numpy as np

from joblog.audio.types import RATE, Samples
from joblog.speech.whisper.sound import LONGEST, Prepared

_FRAME = RATE // 50  # 20 ms
# The three guards of Radford et al. 2022, section 4.5 (0.6, -1.0, 2.4), the first two stricter.
_NO_SPEECH = 0.5
_SURE = -0.9  # mean natural-log probability of a token
_REPEATS = 2.4  # bytes of text per byte when compressed
_CONTRAST = 0.6  # decades of power; below it sound is level noise (our own choice)


def pieces(samples: Samples) -> Iterator[Samples]:
    """Cut sound (float, 16 kHz mono) into pieces of at most 15 s, at quiet places.

    Each is cut at the quietest 0.2 s of its last 5 s.
    """
    sound = np.asarray(samples, np.float32).reshape(-1)
    longest = int(LONGEST * RATE)
    while len(sound) > longest:
        late = sound[longest - 5 * RATE : longest]
        power = (late[: len(late) // _FRAME * _FRAME].reshape(-1, _FRAME) ** 2).mean(axis=1)
        smooth = np.convolve(power, np.ones(10) / 10, mode="same")
        cut = longest - 5 * RATE + int(smooth.argmin()) * _FRAME
        yield sound[:cut]
        sound = sound[cut:]
    yield sound


def believable(text: str, scores: Sequence[float], no_speech: float, prepared: Prepared) -> bool:
    """Say whether ``text`` was spoken.

    ``scores`` are its tokens' natural-log probabilities, ``no_speech`` is the probability, 0..1,
    that the model gives to there being none.
    """
    if not text or no_speech > _NO_SPEECH or prepared.contrast < _CONTRAST:
        return False
    data = text.encode()
    repeats = len(data) / len(zlib.compress(data))
    return float(np.mean(scores)) > _SURE and repeats < _REPEATS
