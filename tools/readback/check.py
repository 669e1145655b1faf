"""Let the recogniser hear every clip, and look for cut words: a report, one line for each doubt.

    python tools/readback/check.py [NAME ...]
    python tools/readback/check.py --values

With ``--values`` 80 read-back values of random figures and units are put together and heard.

A clip counts as understood where the sentence heard is its own name (or sounds the same). The
grammar holds the names of all clips, so that this is hard for single words: 'ten' lies beside
'tenth'. A clip whose first or last 10 ms are loud may have been cut.
"""

from __future__ import annotations

import random
import re
import sys

import numpy as np

from joblog.audio.resample import Resampler
from joblog.readback.clips import load_clips
from joblog.readback.sequence import FIGURES, Piece, pieces_of
from joblog.readback.sound import RATE, joined
from joblog.speech.engines import get_engine
from joblog.speech.grammar import Grammar

EDGE = RATE // 100


def level(sound: np.ndarray) -> float:
    """Return the root mean square in dB below full scale."""
    return float(20 * np.log10(np.sqrt((sound**2).mean()) + 1e-6))


def main(wanted: list[str]) -> None:
    """Print what was not understood and what may be cut, then the sums."""
    clips = load_clips()
    plain = {n: re.sub("[,:]", "", n) for n in clips.by_name}
    rule = " | ".join(sorted(set(plain.values())))
    grammar = Grammar.from_text(f"#JSGF V1.0;\ngrammar clips;\npublic <clip> = {rule};\n")
    engine = get_engine()
    good, levels = 0, []
    chosen = [n for n in clips.by_name if not wanted or n in wanted]
    for name in chosen:
        sound = joined([Piece("clip", name)], clips)
        samples = Resampler(RATE).feed(np.pad(sound, RATE // 3))
        hearing = engine.hear(samples, grammar)
        if hearing.text == plain[name]:
            good += 1
        else:
            print(f"heard {hearing.text!r} for {name!r} ({hearing.confidence:.2f})", flush=True)
        frames = sound[: len(sound) // 240 * 240].reshape(-1, 240)
        power = (frames**2).mean(axis=1)
        levels.append(10 * np.log10(power[power > power.max() / 100].mean()))
        loudest = 10 * np.log10(power.max())
        ends = max(level(sound[:EDGE]), level(sound[-EDGE:]))
        if ends > loudest - 30:
            print(f"may be cut: {name!r} ends at {ends:.0f} dB, loudest {loudest:.0f} dB")
    print(f"{good} of {len(chosen)} understood, {min(levels):.1f} to {max(levels):.1f} dB")


UNITS = (
    "foot-pounds", "inch-pounds", "newton-meters", "quarts", "liters", "degrees celsius", "bar",
    "seconds",
)  # fmt: skip


def values() -> None:
    """Hear 80 values with a grammar of any figures and these units; print what was misheard."""
    clips, engine, rng = load_clips(), get_engine(), random.Random(5)
    figures = " | ".join(FIGURES)
    grammar = Grammar.from_text(
        f"#JSGF V1.0;\ngrammar values;\n<figure> = {figures};\n"
        f"public <value> = torque <figure>+ [point <figure>+] ({' | '.join(UNITS)}) in spec;\n"
    )
    good = 0
    for _ in range(80):
        said = " ".join(rng.choice(FIGURES) for _ in range(rng.choice((1, 2, 2, 2, 3))))
        said += f" point {rng.choice(FIGURES)}" if rng.random() < 0.3 else ""
        said = f"torque {said} {rng.choice(UNITS)} in spec"
        sound = joined(pieces_of(said, clips.by_name), clips)
        hearing = engine.hear(Resampler(RATE).feed(np.pad(sound, RATE // 3)), grammar)
        good += hearing.text == said
        if hearing.text != said:
            print(f"heard {hearing.text!r} for {said!r}", flush=True)
    print(f"{good} of 80 values understood")


if __name__ == "__main__":
    if sys.argv[1:] == ["--values"]:
        values()
    else:
        main(sys.argv[1:])
