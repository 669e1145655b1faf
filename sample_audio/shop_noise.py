"""Noises of a workshop, made by program: each returns float64, shape (n,), peak 1, at 16 kHz."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import signal

RATE = 16_000
Sound = NDArray[np.float64]


def _coloured(rng: np.random.Generator, n: int, low: float, high: float) -> Sound:
    """Return noise between two frequencies in Hz."""
    sos = signal.butter(2, [low, high], "bandpass", fs=RATE, output="sos")
    return np.asarray(signal.sosfilt(sos, rng.standard_normal(n + RATE))[RATE:])


def room(rng: np.random.Generator, n: int) -> Sound:
    """Ventilation and a far-off street."""
    return _coloured(rng, n, 60, 900) + 0.3 * _coloured(rng, n, 900, 4000)


def compressor(rng: np.random.Generator, n: int) -> Sound:
    """A piston compressor in the next room: mains hum, pump strokes, valves."""
    t = np.arange(n) / RATE
    pump = 11 + rng.random()
    stroke = np.clip(np.sin(2 * np.pi * pump * t), 0, 1) ** 3
    hum = sum(np.sin(2 * np.pi * 60 * k * t + rng.random()) / k for k in (1, 2, 3, 5))
    return 0.5 * hum + 1.2 * stroke * _coloured(rng, n, 80, 1500) + 0.5 * room(rng, n)


def engine(rng: np.random.Generator, n: int) -> Sound:
    """A four-cylinder engine at idle: firing pulses with jitter, exhaust, belt."""
    out = np.zeros(n)
    at = 0.0
    pulse = np.exp(-np.arange(800) / 90) * np.sin(2 * np.pi * 75 * np.arange(800) / RATE)
    while at < n - 900:
        out[int(at) : int(at) + 800] += pulse * rng.uniform(0.7, 1.0)
        at += RATE / (27 * rng.normal(1, 0.02))
    return out + 0.25 * _coloured(rng, n, 150, 2500) + 0.1 * _coloured(rng, n, 2500, 6000)


def _blows(rng: np.random.Generator, n: int, a_second: float) -> Sound:
    out = np.zeros(n)
    ring = np.arange(1200) / RATE
    at = 0.0
    while at < n - 1300:
        tones = sum(
            np.sin(2 * np.pi * f * ring + rng.random()) * np.exp(-ring * d)
            for f, d in ((1450, 90), (2730, 140), (4100, 190))
        )
        out[int(at) : int(at) + 1200] += tones * rng.uniform(0.6, 1.0)
        at += RATE / (a_second * rng.normal(1, 0.05))
    return out


def impact(rng: np.random.Generator, n: int) -> Sound:
    """An impact wrench across the shop, in bursts."""
    gate = signal.square(2 * np.pi * 0.4 * np.arange(n) / RATE + 6 * rng.random(), duty=0.6) > 0
    return gate * (_blows(rng, n, 22) + 0.4 * _coloured(rng, n, 500, 5000)) + 0.15 * room(rng, n)


def hammer(rng: np.random.Generator, n: int) -> Sound:
    """An impact wrench right beside the microphone, without a pause."""
    return _blows(rng, n, 24) + 0.8 * _coloured(rng, n, 400, 6000)


def airgun(rng: np.random.Generator, n: int) -> Sound:
    """Gusts of an air blow gun."""
    gusts = np.interp(np.arange(n), np.linspace(0, n, 9), rng.random(9) > 0.5)
    return gusts * _coloured(rng, n, 1500, 7000) + 0.15 * room(rng, n)


NOISES: dict[str, Callable[[np.random.Generator, int], Sound]] = {
    f.__name__: f for f in (room, compressor, engine, impact, hammer, airgun)
}
