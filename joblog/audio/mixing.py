"""Speech and noise added at a stated ratio, and noises made by program to add."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from joblog.audio.types import RATE, Samples

FRAME = 2048  # samples; the loudest frame of speech and of noise set the ratio
PEAK = 0.5


def mix(speech: Samples, noise: Samples, snr: float, rng: np.random.Generator) -> Samples:
    """Add a random stretch of noise so that the loudest frames stand ``snr`` dB apart; peak 0.5."""
    if len(noise) <= len(speech):
        noise = np.tile(noise, len(speech) // len(noise) + 1)
    start = int(rng.integers(0, len(noise) - len(speech) + 1))
    stretch = noise[start : start + len(speech)]
    gain = math.sqrt(_loudest(speech) / (_loudest(stretch) * 10 ** (snr / 10)))
    both = speech + np.float32(gain) * stretch
    return np.asarray(both * (0.5 / np.abs(both).max()), np.float32)


def _loudest(sound: Samples) -> float:
    frames = len(sound) // FRAME
    if not frames:
        return float((sound**2).sum())
    return float((sound[: frames * FRAME].reshape(frames, FRAME) ** 2).sum(axis=1).max())


def made_noise(length: int, rng: np.random.Generator) -> Samples:
    """Return ``length`` samples of a noise such as tools make, drawn anew each time, peak 0.5.

    Hiss of any colour with up to three resonances; steady, hammering, swelling, or with the whine
    of a gear. Stand-ins: nobody has compared them with a recorded workshop.
    """
    hiss = _hiss(length, rng)
    time = np.arange(length) / RATE
    manner = rng.integers(4)
    if manner == 1:  # blows
        passed = (time * rng.uniform(8, 40) + rng.random()) % 1
        hiss *= np.exp(-passed * rng.uniform(1, 8))
    elif manner == 2:  # swelling
        turns = max(2, int(length / RATE * rng.uniform(1, 5)))
        at = np.linspace(0, turns - 1, length)
        hiss *= np.interp(at, np.arange(turns), rng.uniform(0.05, 1, turns))
    elif manner == 3:
        whine = _whine(time, rng)
        hiss = hiss / hiss.std() * rng.uniform(0.2, 1) + whine / whine.std()
    return np.asarray(hiss * (PEAK / max(float(np.abs(hiss).max()), 1e-9)), np.float32)


def _hiss(length: int, rng: np.random.Generator) -> NDArray[np.float64]:
    whole = 1 << (length - 1).bit_length()  # a length that is transformed quickly
    pitch = np.fft.rfftfreq(whole, 1 / RATE)
    low, high = rng.uniform(40, 400), rng.uniform(2000, 8000)
    shape = (np.maximum(pitch, 30) / 1000) ** rng.uniform(-1, 0.5) * (
        (pitch > low) & (pitch < high)
    )
    for _ in range(rng.integers(4)):
        centre = rng.uniform(100, 5000)
        shape *= 1 + rng.uniform(0, 8) * np.exp(-0.5 * ((pitch - centre) / (0.1 * centre)) ** 2)
    waves = rng.normal(size=len(pitch)) + 1j * rng.normal(size=len(pitch))
    made: NDArray[np.float64] = np.fft.irfft(shape * waves, whole)[:length]
    return made


def _whine(time: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    pitch, fall = rng.uniform(30, 800), rng.uniform(0.3, 1.5)
    sagging = time * (1 + 0.01 * np.sin(2 * np.pi * 0.7 * time))
    waves: NDArray[np.float64] = np.sum(
        [
            np.sin(2 * np.pi * pitch * step * sagging + rng.uniform(0, 6)) / step**fall
            for step in range(1, 12)
        ],
        axis=0,
    )
    return waves
