"""How often 'thirteen' is heard as 'thirty' and the like, and whether joblog would have noticed.

    python tests/bench/confusable.py NOISE_DIR [--snr 12 6]

Speaks 'torque is N foot pounds' with three voices of flite (made from recorded people), clean and
in each noise of NOISE_DIR (16 kHz mono files), and counts what the recogniser makes of the number:
right, its twin, or something else; and what was accepted although wrong.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

from joblog.audio.files import read_audio
from joblog.audio.types import Samples
from joblog.speech.engines import get_engine
from joblog.speech.grammar import Grammar
from joblog.speech.number_words import TEEN_OF_TENS
from joblog.speech.numbers import JSGF_NUMBER_RULES, parse_number

VOICES = ("awb", "rms", "slt")
GRAMMAR = "#JSGF V1.0;\ngrammar pairs;\npublic <said> = torque is <number> foot pounds;\n"
FRAME = 2048


def spoken(text: str, voice: str) -> Samples:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        subprocess.run(["flite", "-voice", voice, "-t", text, "-o", str(path)], check=True)
        return read_audio(path).samples


def loudest(samples: Samples) -> float:
    return float((samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME) ** 2).sum(1).max())


def mixed(speech: Samples, noise: Samples, snr: float, random: np.random.Generator) -> Samples:
    start = int(random.integers(0, len(noise) - len(speech)))
    stretch = noise[start : start + len(speech)]
    gain = np.sqrt(loudest(speech) / (loudest(stretch) * 10 ** (snr / 10)))
    both = speech + gain * stretch
    return (both * (0.5 / np.abs(both).max())).astype(np.float32)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("noise", type=Path)
    parser.add_argument("--snr", type=float, nargs="*", default=[12, 6])
    parser.add_argument("--only", nargs="*", help="names of noises; all without it")
    args = parser.parse_args()
    noises = {p.stem: read_audio(p).samples for p in sorted(args.noise.glob("*.flac"))}
    noises = {k: v for k, v in noises.items() if not args.only or k in args.only}
    grammar = Grammar.from_text(GRAMMAR + JSGF_NUMBER_RULES)
    engine, random = get_engine(), np.random.default_rng(1)
    counts: dict[str, Counter[str]] = {}
    for ty, teen in TEEN_OF_TENS.items():
        for word, twin in ((teen, ty), (ty, teen)):
            tally = counts.setdefault(word, Counter())
            for voice in VOICES:
                speech = spoken(f"torque is {word} foot pounds", voice)
                sounds = [speech]
                sounds += [mixed(speech, n, s, random) for n in noises.values() for s in args.snr]
                for sound in sounds:
                    hearing = engine.hear(sound, grammar)
                    number = parse_number(" ".join(hearing.text.split()[2:-2]))
                    expected, other = parse_number(word), parse_number(twin)
                    assert expected is not None
                    assert other is not None
                    value = number.value if number else None
                    what = {expected.value: "right", other.value: "twin"}.get(value, "other")
                    tally[what] += 1
                    tally["accepted wrong"] += what != "right" and hearing.verdict == "accept"
            print(f"{word:10} {dict(tally)}", flush=True)
    total: Counter[str] = Counter()
    for tally in counts.values():
        total.update(tally)
    print(f"{'all':10} {dict(total)}")


if __name__ == "__main__":
    main()
