"""Any sampling rate to 16 kHz, block by block.

A polyphase filter with a Kaiser-windowed sinc (Oppenheim and Schafer, Discrete-Time Signal
Processing, ch. 7 on the window): flat to 0.1 dB up to 7 kHz, below -80 dB from 8.8 kHz on.
Its delay is taken off, so a sample keeps its place in time.
"""

from __future__ import annotations

from functools import lru_cache
from math import gcd

import numpy as np
from numpy.typing import NDArray

from joblog.audio.types import RATE, Samples
from joblog.errors import AudioError

# Telephones start at 8 kHz (4 kHz is the least that carries speech at all); sound cards end at
# 384 kHz. A file that claims a rate outside is damaged.
LOWEST_RATE, HIGHEST_RATE = 4_000, 384_000

_ZEROS = 24  # zero crossings of the sinc on each side; with _BETA they give the figures above
_BETA = 8.0
_CUTOFF = 0.95  # of the lower of the two Nyquist frequencies


@lru_cache(maxsize=8)
def _bank(up: int, down: int) -> NDArray[np.float32]:
    """Filters by phase, shape (up, taps); applied to taps input samples in order of time."""
    scale = min(1.0, up / down) * _CUTOFF
    half = int(np.ceil(_ZEROS / scale))
    offsets = np.arange(-half + 1, half + 1)
    times = offsets[None, :] - np.arange(up)[:, None] / up
    window = np.i0(_BETA * np.sqrt(np.clip(1 - (times / half) ** 2, 0, None))) / np.i0(_BETA)
    taps = scale * np.sinc(scale * times) * window
    taps /= taps.sum(axis=1, keepdims=True)  # a constant stays that constant
    return taps.astype(np.float32)


def check_rate(rate: int) -> None:
    """Raise AudioError for a rate that no sound has."""
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise AudioError(
            f"a sampling rate of {rate} Hz is not believable; rates from {LOWEST_RATE} to "
            f"{HIGHEST_RATE} Hz can be read."
        )


class Resampler:
    """Turns blocks at ``rate`` into blocks at 16 kHz; memory does not grow with their number.

    Raises AudioError for a rate that no sound has.
    """

    def __init__(self, rate: int) -> None:
        check_rate(rate)
        common = gcd(rate, RATE)
        self._up, self._down = RATE // common, rate // common
        self._taps = _bank(self._up, self._down)
        width = self._taps.shape[1]
        self._kept: Samples = np.zeros(width // 2 - 1, np.float32)  # what stood before the sound
        self._phase = 0  # of the next output, in 1/up of an input sample, from the start of _kept

    def feed(self, block: Samples) -> Samples:
        """Return the samples that are complete after ``block`` (float32, shape (n,))."""
        if self._up == self._down:
            return block
        sound = np.concatenate([self._kept, block])
        width = self._taps.shape[1]
        ready = len(sound) - width  # last input index at which a whole filter fits
        last = (ready + 1) * self._up - 1
        count = max(0, (last - self._phase) // self._down + 1) if ready >= 0 else 0
        out = self._filtered(sound, count)
        self._phase += count * self._down
        passed = min(self._phase // self._up, len(sound))
        self._phase -= passed * self._up
        self._kept = sound[passed:]
        return out

    def flush(self) -> Samples:
        """Return the rest, as if silence followed."""
        if self._up == self._down:
            return np.zeros(0, np.float32)
        return self.feed(np.zeros(self._taps.shape[1] // 2, np.float32))

    def _filtered(self, sound: Samples, count: int) -> Samples:
        width = self._taps.shape[1]
        out = np.empty(count, np.float32)
        if count < 4 * self._up:  # few outputs a phase: gather each one's samples
            places = self._phase + np.arange(count) * self._down
            index = (places // self._up)[:, None] + np.arange(width)
            np.einsum("ij,ij->i", sound[index], self._taps[places % self._up], out=out)
            return out
        windows = np.lib.stride_tricks.sliding_window_view(sound, width)
        for first in range(self._up):  # outputs of one phase lie ``down`` input samples apart
            place = self._phase + first * self._down
            rows = windows[place // self._up :: self._down]
            wanted = len(range(first, count, self._up))
            out[first :: self._up] = rows[:wanted] @ self._taps[place % self._up]
        return out


def resample(samples: Samples, rate: int) -> Samples:
    """Return a whole sound at 16 kHz, as long as before to within a sample."""
    resampler = Resampler(rate)
    return np.concatenate([resampler.feed(samples), resampler.flush()])
