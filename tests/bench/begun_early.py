"""What becomes of phrases that begin before an answer has ended, or right behind it.

    python tests/bench/begun_early.py SPEECH_DIR NOISE_DIR [--count 30] [--seed 5]

An answer of the product's own clips sounds in a room (exponentially decaying noise, 0.3 s to fall
by 60 dB, the echo as loud as the talker, or none of it, as behind an echo canceller), and somebody
says a phrase of SPEECH_DIR that begins so many seconds after the answer's end (before: negative).
Four places a phrase may end up in: whole (from its first word on), told (given as begun early),
cut (its beginning is missing and nothing says so: a wrong record), lost (nothing was given). Of the
whole and the cut ones some are given as perhaps begun early: where they begin with a number, they
are to be said again. Beside it the peer: what a microphone that is deaf until the echo has gone
gives, with no look at pauses.
"""

from __future__ import annotations

import argparse
from collections import Counter
from itertools import product
from pathlib import Path

import numpy as np

from joblog.audio.files import read_audio
from joblog.audio.resample import Resampler
from joblog.audio.segment import Segmenter
from joblog.audio.types import RATE, Beginning, Samples
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE as CLIP_RATE
from joblog.readback.sound import spoken_sound

DEAF = 0.4  # seconds that the microphone waits for the echo, as in the bay
BEGINS = (-0.9, -0.5, -0.25, -0.1, 0.1, 0.2, 0.3, 0.5)
PIECE = RATE // 10
KINDS = ("whole", "told", "cut", "lost")
PERHAPS = "perhaps early"
QUIET = 10 ** (-60 / 20)


def level(sound: Samples, db: float) -> Samples:
    loud = sound[np.abs(sound) > 0.05 * np.abs(sound).max()]
    return (sound * (10 ** (db / 20) / np.sqrt((loud**2).mean()))).astype(np.float32)


def in_a_room(sound: Samples, seconds: float, rng: np.random.Generator) -> Samples:
    decay = np.exp(-6.9 * np.arange(int(seconds * RATE)) / (seconds * RATE))
    return np.convolve(sound, rng.standard_normal(len(decay)) * decay).astype(np.float32)


def trimmed(sound: Samples) -> Samples:
    loud = np.flatnonzero(np.abs(sound) > 0.03 * np.abs(sound).max())
    return sound[loud[0] : loud[-1]]


def outcome(
    answer: Samples, echo: Samples, phrase: Samples, begins: float, around: Samples
) -> tuple[str, ...]:
    """Return what becomes of the phrase: whole, told, cut or lost; and whether perhaps early."""
    start = 3 * RATE
    end = start + len(answer)
    heard = around[: end + len(phrase) + 3 * RATE].copy()
    heard[start : start + len(echo)] += echo[: len(heard) - start]
    first = end + int(begins * RATE)
    heard[max(first, start) : first + len(phrase)] += phrase[max(0, start - first) :]
    segmenter = Segmenter()
    segmenter.feed(heard[:start])
    segmenter.mute()
    found = segmenter.feed(heard[start:end])
    segmenter.unmute(DEAF)
    for at in range(end, len(heard), PIECE):
        found += segmenter.feed(heard[at : at + PIECE])
    found = [u for u in found + segmenter.flush() if u.started >= start / RATE]
    if not found:
        return ("lost",)
    if found[0].beginning is Beginning.MISSING:
        return ("told",)
    kind = "whole" if found[0].started <= first / RATE + 0.05 else "cut"
    return (kind, PERHAPS) if found[0].beginning is Beginning.PERHAPS_MISSING else (kind,)


def deaf_alone(phrase: Samples, begins: float) -> str:
    """Return what a microphone gives that hears from ``DEAF`` on, whatever it hears there."""
    left = len(phrase) / RATE + begins - DEAF
    return "whole" if begins >= DEAF else "cut" if left > 0.3 else "lost"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("speech", type=Path)
    parser.add_argument("noise", type=Path)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--seed", type=int, default=5)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    paths = sorted(args.speech.glob("*.flac"))
    phrases = [
        level(trimmed(read_audio(paths[i]).samples), -25)
        for i in rng.permutation(len(paths))[: args.count]
    ]
    said = spoken_sound("Drain plug, forty one foot pounds.", load_clips()).astype(np.float32)
    answer = level(trimmed(Resampler(CLIP_RATE).feed(said)), -25)
    silence = (QUIET * rng.standard_normal(40 * RATE)).astype(np.float32)
    noises = {path.stem: read_audio(path).samples for path in sorted(args.noise.glob("*.flac"))}
    around = {"quiet": silence} | {
        name: level(np.resize(noise, 40 * RATE), -37) for name, noise in noises.items()
    }
    for begins in BEGINS:
        counts: Counter[str] = Counter()
        for phrase, noise, room in product(phrases, around.values(), (0.0, 0.3)):
            echo = level(in_a_room(answer, room, rng), -25) if room else np.zeros(1, np.float32)
            counts.update(outcome(answer, echo, phrase, begins, noise))
        peer = Counter(deaf_alone(phrase, begins) for phrase in phrases)
        mine, theirs = (
            ", ".join(f"{kind} {found[kind] / sum(found[k] for k in KINDS):.1%}" for kind in KINDS)
            for found in (counts, peer)
        )
        perhaps = counts[PERHAPS] / sum(counts[kind] for kind in KINDS)
        print(f"begins {begins:+.2f} s: {mine} ({PERHAPS}: {perhaps:.1%}); deaf alone: {theirs}")


if __name__ == "__main__":
    main()
