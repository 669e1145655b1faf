"""Log-mel features as the recogniser was trained on them (Radford et al. 2022, section 2.2).

25 ms Hann windows every 10 ms, 80 triangular filters on Slaney's mel scale each of unit area,
log10 with a floor 8 decades below the loudest, then ``(x + 4) / 4``.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from joblog.audio.types import RATE, Samples

HOP = 160  # samples: 10 ms
WINDOW = 400  # samples: 25 ms
MELS = 80  # bands, as the model takes them
FLOOR = 1e-10  # power below which the logarithm is cut

Features = NDArray[np.float32]


def _hertz_of_mel(mel: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slaney's scale: linear below 1 kHz (15 mel), logarithmic above."""
    linear = mel * 200.0 / 3.0
    logarithmic = 1000.0 * np.exp((mel - 15.0) * np.log(6.4) / 27.0)
    return np.where(mel < 15.0, linear, logarithmic)


@cache
def mel_filters() -> NDArray[np.float32]:
    """Return the filter bank, shape (80, 201), for power spectra of 400-sample windows."""
    top = 15.0 + np.log(RATE / 2 / 1000.0) * 27.0 / np.log(6.4)
    edges = _hertz_of_mel(np.linspace(0.0, top, MELS + 2))
    bins = np.linspace(0.0, RATE / 2, WINDOW // 2 + 1)
    rising = (bins - edges[:-2, None]) / np.diff(edges)[:-1, None]
    falling = (edges[2:, None] - bins) / np.diff(edges)[1:, None]
    area = 2.0 / (edges[2:] - edges[:-2])
    return (np.maximum(0.0, np.minimum(rising, falling)) * area[:, None]).astype(np.float32)


@cache
def _hann() -> NDArray[np.float32]:
    return (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)).astype(np.float32)


def mel_power(samples: Samples, frames: int) -> NDArray[np.float32]:
    """Return mel-band powers, shape (80, frames); beyond the end of the sound there is silence."""
    half = WINDOW // 2
    needed = (frames - 1) * HOP + WINDOW
    padded = np.zeros(needed, np.float32)
    body = samples[: needed - half]
    padded[half : half + len(body)] = body
    if len(body) > half:
        padded[:half] = body[half:0:-1]  # the training reflected the sound at its start
    windows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP][:frames]
    spectrum = np.fft.rfft(windows * _hann(), axis=1)
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32)
    return np.asarray(mel_filters() @ power.T, np.float32)


def log_mel(samples: Samples, frames: int) -> Features:
    """Return log-mel features, shape (80, frames), of ``samples`` followed by silence.

    ``samples``: float32, 16 kHz mono; what is longer than ``frames`` of 10 ms is left out.
    """
    return compress(mel_power(samples, frames))


def compress(power: NDArray[np.float32]) -> Features:
    """Turn mel powers into the features' logarithmic scale: all within 2 of the largest."""
    logarithm = np.log10(np.maximum(power, FLOOR))
    features: Features = (np.maximum(logarithm, logarithm.max() - 8.0) + np.float32(4.0)) / 4.0
    return features
