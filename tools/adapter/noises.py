"""Workshop and kitchen noises by program, each drawn with its own random machine.

    noises.py --minutes 60 --seed 1 --out NOISE.npy [--workers N]

writes int16 samples, 16 kHz, peak 0.5 of full scale a clip, ten-second clips one after the other.
They share no code and no samples with the noises that the adapter is examined on: only the kinds of
machine are the same, and every parameter (blows a second, resonances, bands, gusts) is drawn anew for
each clip. Nobody has compared them with recordings of a workshop.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from multiprocessing import Pool
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, sosfilt

RATE = 16_000
SECONDS = 10
SIZE = RATE * SECONDS
TIME = np.arange(SIZE) / RATE

Sound = NDArray[np.float64]
Rng = np.random.Generator


def band(rng: Rng, low: float, high: float, size: int = SIZE) -> Sound:
    """White noise between two frequencies in Hz."""
    high = min(high, RATE / 2 - 100)
    low = min(low, high * 0.8)
    sos = butter(int(rng.integers(1, 4)), [low, high], "bandpass", fs=RATE, output="sos")
    sound: Sound = sosfilt(sos, rng.standard_normal(size))
    return sound / (np.abs(sound).max() + 1e-9)


def slow(rng: Rng, hertz: float, depth: float) -> Sound:
    """Return a wandering gain around 1, changing about ``hertz`` times a second."""
    knots = rng.uniform(1 - depth, 1 + depth, max(3, int(SECONDS * hertz) + 2))
    return np.interp(np.linspace(0, len(knots) - 1, SIZE), np.arange(len(knots)), knots)


def coloured(rng: Rng, slope: float) -> Sound:
    """Noise whose power falls with frequency to the power ``slope`` (0 white, 1 pink, 2 brown)."""
    spectrum = np.fft.rfft(rng.standard_normal(SIZE))
    hertz = np.maximum(np.fft.rfftfreq(SIZE, 1 / RATE), 20.0)
    sound = np.fft.irfft(spectrum * hertz ** (-slope / 2), SIZE)
    return sound / np.abs(sound).max()


def ring(rng: Rng, low: float, high: float, modes: int, decay: float) -> Sound:
    """Draw the decaying sound of one blow on metal with random resonances."""
    time = np.arange(int(min(1.0, decay * 6) * RATE)) / RATE
    sound = np.zeros(len(time))
    for _ in range(modes):
        hertz = np.exp(rng.uniform(np.log(low), np.log(high)))
        fall = decay * rng.uniform(0.3, 1.5) * (low / hertz) ** 0.3
        sound += (
            rng.uniform(0.2, 1)
            * np.sin(2 * np.pi * hertz * time + rng.uniform(0, 6))
            * np.exp(-time / fall)
        )
    click = rng.standard_normal(len(time)) * np.exp(-time / rng.uniform(0.0005, 0.004))
    return sound / (np.abs(sound).max() + 1e-9) + rng.uniform(0, 1.5) * click


def strike(rng: Rng, times: Sound, blow: Sound, spread: float) -> Sound:
    """Repeat a blow at the given seconds with varying strength."""
    train = np.zeros(SIZE)
    at = (times[(times >= 0) & (times < SECONDS)] * RATE).astype(int)
    np.add.at(train, at, rng.uniform(1 - spread, 1 + spread, len(at)))
    return np.asarray(fftconvolve(train, blow)[:SIZE])


def gate(rng: Rng, on: tuple[float, float], off: tuple[float, float], rise: float) -> Sound:
    """Return a gain of 0 and 1 in bursts of random length, with soft edges of ``rise`` seconds."""
    gain = np.zeros(SIZE)
    at = -rng.uniform(0, on[1])
    while at < SECONDS:
        length = rng.uniform(*on)
        gain[max(0, int(at * RATE)) : max(0, int((at + length) * RATE))] = rng.uniform(0.6, 1)
        at += length + rng.uniform(*off)
    width = max(1, int(rise * RATE))
    return np.asarray(
        fftconvolve(gain, np.hanning(width + 2) / np.hanning(width + 2).sum(), "same")
    )


def impact_wrench(rng: Rng) -> Sound:
    """Hammering in bursts, ringing metal, an air or electric motor and its exhaust."""
    rate = rng.uniform(12, 45)
    jitter = rng.uniform(0, 0.15) / rate
    count = int(SECONDS * rate) + 1
    times = np.arange(count) / (rate * rng.uniform(0.97, 1.03)) + rng.normal(0, jitter, count)
    blow = ring(
        rng,
        rng.uniform(200, 900),
        rng.uniform(3000, 7500),
        int(rng.integers(4, 14)),
        rng.uniform(0.004, 0.06),
    )
    hammer = strike(rng, times, blow, rng.uniform(0.1, 0.5))
    motor = whine(rng, rng.uniform(80, 400), int(rng.integers(4, 15)), 0.05)
    exhaust = band(rng, rng.uniform(200, 1500), rng.uniform(3000, 7800))
    mixture = hammer / (np.abs(hammer).max() + 1e-9)
    mixture += rng.uniform(0.02, 0.4) * motor + rng.uniform(0.02, 0.5) * exhaust
    return mixture * gate(rng, (0.4, 3.5), (0.1, 1.2), 0.03)


def whine(rng: Rng, hertz: float, harmonics: int, sag: float) -> Sound:
    """Harmonics of a turning part whose speed wanders by the share ``sag``."""
    phase = 2 * np.pi * np.cumsum(hertz * slow(rng, rng.uniform(0.3, 3), sag)) / RATE
    sound = np.zeros(SIZE)
    tilt = rng.uniform(0, 1.5)
    for number in range(1, harmonics + 1):
        if hertz * number * (1 + sag) < RATE / 2:
            sound += rng.uniform(0.2, 1) / number**tilt * np.sin(number * phase + rng.uniform(0, 6))
    return sound / (np.abs(sound).max() + 1e-9)


def compressor(rng: Rng) -> Sound:
    """Mains hum, piston pulses, intake noise and valves."""
    mains = rng.choice([50.0, 60.0]) * rng.choice([1, 2])
    pump = rng.uniform(8, 35)
    hum = whine(rng, mains, int(rng.integers(3, 12)), 0.002)
    pulses = (
        0.5 + 0.5 * np.sin(2 * np.pi * np.cumsum(pump * slow(rng, 0.5, 0.03)) / RATE)
    ) ** rng.uniform(1, 8)
    intake = band(rng, rng.uniform(60, 300), rng.uniform(800, 4000)) * pulses
    hiss = band(rng, rng.uniform(1000, 3000), 7800)
    blow = ring(rng, 300, 5000, 6, rng.uniform(0.003, 0.02))
    valves = strike(rng, np.arange(0, SECONDS, 1 / pump), blow, 0.3)
    shares = rng.dirichlet([1.5, 2, 0.8, 0.8])
    parts = (hum, intake, hiss, valves / (np.abs(valves).max() + 1e-9))
    return np.asarray(sum(share * part for share, part in zip(shares, parts, strict=True)))


def grinder(rng: Rng) -> Sound:
    """Gear whine that sags under load, and the grit of the disc."""
    base = np.exp(rng.uniform(np.log(400), np.log(3500)))
    tone = whine(rng, base, int(rng.integers(2, 9)), rng.uniform(0.01, 0.12))
    grit = band(rng, rng.uniform(600, 3000), rng.uniform(5000, 7800)) * slow(
        rng, rng.uniform(2, 40), rng.uniform(0.1, 0.8)
    )
    body = band(rng, 100, rng.uniform(1000, 7000))
    load = gate(rng, (0.5, 5), (0.1, 1.5), 0.1) * 0.7 + 0.3
    share = rng.uniform(0.15, 0.8)
    return share * tone + (1 - share) * grit * load + rng.uniform(0, 0.3) * body


def air_gun(rng: Rng) -> Sound:
    """Gusts of hiss, sometimes with a whistle."""
    gust = gate(rng, (0.1, 2.5), (0.05, 1.0), rng.uniform(0.005, 0.15))
    hiss = band(rng, rng.uniform(200, 3500), rng.uniform(5000, 7900)) * slow(
        rng, 8, rng.uniform(0, 0.5)
    )
    whistle = whine(rng, rng.uniform(1500, 6000), 2, 0.04) * slow(rng, 4, 0.9)
    rest = band(rng, 100, 7500)
    return gust * (hiss + rng.uniform(0, 0.3) * whistle) + rng.uniform(0, 0.1) * rest


def engine(rng: Rng) -> Sound:
    """Firing pulses with jitter and misfires, belts and a fan."""
    rate = rng.uniform(15, 110)
    count = int(SECONDS * rate * 1.2) + 2
    times = np.cumsum(
        np.maximum(0.3 / rate, rng.normal(1 / rate, rng.uniform(0.01, 0.12) / rate, count))
    )
    blow = ring(rng, 40, rng.uniform(300, 2500), 8, rng.uniform(0.005, 0.04))
    firing = strike(rng, times[rng.random(count) > rng.uniform(0, 0.05)], blow, 0.4)
    mixture = firing / (np.abs(firing).max() + 1e-9)
    mixture += rng.uniform(0, 0.5) * band(rng, 100, rng.uniform(500, 5000))
    return mixture + rng.uniform(0, 0.15) * whine(rng, rng.uniform(200, 2000), 5, 0.02)


def kitchen(rng: Rng) -> Sound:
    """Crockery, cutlery, running water, thuds, a hood, sizzling."""
    mixture = 10 ** rng.uniform(-2.5, -0.5) * coloured(rng, rng.uniform(0.3, 2))
    for _ in range(int(rng.integers(1, 5))):
        low = np.exp(rng.uniform(np.log(150), np.log(3500)))
        blow = ring(
            rng,
            low,
            min(7800.0, low * rng.uniform(2, 8)),
            int(rng.integers(2, 9)),
            10 ** rng.uniform(-2.3, -0.7),
        )
        times = rng.uniform(0, SECONDS, int(rng.integers(2, 40)))
        hits = strike(rng, times, blow, 0.9)
        mixture += rng.uniform(0.1, 1) * hits / (np.abs(hits).max() + 1e-9)
    if rng.random() < 0.5:
        water = band(rng, rng.uniform(200, 1500), rng.uniform(3000, 7800)) * slow(rng, 15, 0.6)
        mixture += rng.uniform(0.05, 0.6) * water * gate(rng, (1, 8), (0.2, 3), 0.2)
    if rng.random() < 0.4:
        mixture += rng.uniform(0.05, 0.3) * whine(rng, rng.uniform(60, 500), 10, 0.01)
    return mixture


def hammering(rng: Rng) -> Sound:
    """Single blows, dropped tools, a ratchet."""
    mixture = 0.02 * coloured(rng, 1)
    for _ in range(int(rng.integers(1, 4))):
        blow = ring(
            rng,
            rng.uniform(150, 1500),
            rng.uniform(3000, 7800),
            int(rng.integers(3, 15)),
            10 ** rng.uniform(-2, -0.5),
        )
        if rng.random() < 0.4:
            times = np.arange(0, SECONDS, 1 / rng.uniform(3, 30)) * (
                np.sin(np.arange(0, SECONDS, 0.2)).mean() + 1
            )
        else:
            times = rng.uniform(0, SECONDS, int(rng.integers(5, 40)))
        hits = strike(rng, times, blow, 0.8)
        mixture += rng.uniform(0.2, 1) * hits / (np.abs(hits).max() + 1e-9)
    return mixture


def drill(rng: Rng) -> Sound:
    """A drill, a saw or a fan: whine in bursts over a broad band."""
    turning = whine(rng, rng.uniform(60, 1200), int(rng.integers(5, 25)), rng.uniform(0.01, 0.2))
    chatter = 1 + rng.uniform(0, 0.9) * np.sin(2 * np.pi * rng.uniform(15, 120) * TIME)
    broad = band(rng, rng.uniform(100, 1500), rng.uniform(2500, 7800)) * chatter
    return (turning + rng.uniform(0.1, 1.5) * broad) * (0.1 + gate(rng, (0.5, 6), (0.1, 1.5), 0.1))


def hiss(rng: Rng) -> Sound:
    """Steady coloured noise."""
    return coloured(rng, rng.uniform(-0.5, 2.2)) * slow(
        rng, rng.uniform(0.2, 10), rng.uniform(0, 0.7)
    )


# (maker, weight): the hard ones of the examination more often
MAKERS: tuple[tuple[Callable[[Rng], Sound], float], ...] = (
    (impact_wrench, 4), (compressor, 2), (grinder, 4), (air_gun, 3), (engine, 1), (kitchen, 5),
    (hammering, 1.5), (drill, 1.5), (hiss, 2),
)  # fmt: skip


def clip(seed: int) -> NDArray[np.int16]:
    """Draw one ten-second clip."""
    rng = np.random.default_rng(seed)
    weights = np.array([weight for _, weight in MAKERS])
    sound = MAKERS[rng.choice(len(MAKERS), p=weights / weights.sum())][0](rng)
    if rng.random() < 0.2:  # two machines at once
        other = MAKERS[rng.choice(len(MAKERS), p=weights / weights.sum())][0](rng)
        sound = sound / (np.abs(sound).max() + 1e-9) + rng.uniform(0.1, 1) * other / (
            np.abs(other).max() + 1e-9
        )
    return np.round(sound * (16_383 / (np.abs(sound).max() + 1e-9))).astype(np.int16)


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    count = round(given.minutes * 60 / SECONDS)
    with Pool(given.workers) as pool:
        clips = pool.map(clip, range(given.seed * 1_000_000, given.seed * 1_000_000 + count), 4)
    np.save(given.out, np.concatenate(clips))


if __name__ == "__main__":
    main()
