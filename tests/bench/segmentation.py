"""How many utterances the segmenter finds whole in noise, and how often noise alone opens it.

    python tests/bench/segmentation.py SPEECH_DIR NOISE_DIR [--count 30] [--snr 6 12] [--seed 5]

Recordings from SPEECH_DIR, two seconds apart, at the stated signal-to-noise ratio (loudest 128 ms
of speech against the loudest 128 ms of the noise); both folders hold 16 kHz mono files. Whole
means: one utterance that covers the speech (up to 30 dB below its loudest 20 ms) to within 50 ms
and no other.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from joblog.audio.files import read_audio
from joblog.audio.segment import Segmenter
from joblog.audio.types import RATE, Samples

GAP = 2.0
FRAME = 2048
Bounds = list[tuple[float, float]]


def loudest(samples: Samples) -> float:
    frames = samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME)
    return float(np.sqrt((frames**2).sum(axis=1).max()))


def speech_bounds(samples: Samples) -> tuple[float, float]:
    frames = samples[: len(samples) // 320 * 320].reshape(-1, 320)
    level = 10 * np.log10((frames**2).mean(axis=1) + 1e-12)
    loud = np.flatnonzero(level > level.max() - 30)
    return loud[0] * 0.02, (loud[-1] + 1) * 0.02


def stream(paths: list[Path]) -> tuple[Samples, Bounds]:
    gap = np.zeros(int(GAP * RATE), np.float32)
    parts, bounds, now = [gap], [], GAP
    for path in paths:
        speech = read_audio(path).samples
        speech = speech / loudest(speech)
        start, end = speech_bounds(speech)
        bounds.append((now + start, now + end))
        parts += [speech, gap]
        now += len(speech) / RATE + GAP
    return np.concatenate(parts), bounds


def segments(samples: Samples) -> Bounds:
    segmenter = Segmenter()
    samples = (samples * (0.5 / np.abs(samples).max())).astype(np.float32)
    found = []
    for start in range(0, len(samples), RATE // 10):
        found += segmenter.feed(samples[start : start + RATE // 10])
    found += segmenter.flush()
    return [(u.started, u.started + u.duration) for u in found]


def whole(found: Bounds, truth: Bounds) -> int:
    count = 0
    for start, end in truth:
        covering = [s for s in found if s[0] <= start + 0.05 and s[1] >= end - 0.05]
        touched = [t for t in truth if covering and covering[0][0] < t[1] and covering[0][1] > t[0]]
        count += len(touched) == 1
    return count


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("speech", type=Path)
    parser.add_argument("noise", type=Path)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--snr", type=float, nargs="*", default=[6, 12])
    parser.add_argument("--seed", type=int, default=5)
    args = parser.parse_args()
    paths = sorted(args.speech.glob("*.flac"))
    order = np.random.default_rng(args.seed).permutation(len(paths))[: args.count]
    speech, truth = stream([paths[i] for i in order])
    print(f"{len(truth)} utterances, clean: {whole(segments(speech), truth)} whole")
    for path in sorted(args.noise.glob("*.flac")):
        noise = read_audio(path).samples
        alone = [segments(noise * gain) for gain in (1.0, 0.1)]
        hours = 2 * len(noise) / RATE / 3600
        opened = sum(map(len, alone)) / hours
        noise = np.tile(noise, len(speech) // len(noise) + 1)[: len(speech)]
        noise = noise / loudest(noise)
        line = f"{path.stem:16} alone: {opened:4.0f} openings/h ({hours * 60:.1f} min)"
        for snr in args.snr:
            found = segments(speech + noise * 10 ** (-snr / 20))
            false = sum(not any(s[0] < t[1] and s[1] > t[0] for t in truth) for s in found)
            line += f"; {snr:g} dB: {whole(found, truth)} whole, {false} false"
        print(line, flush=True)


if __name__ == "__main__":
    main()
