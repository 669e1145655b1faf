"""Let the recogniser hear every clip, and look for cut words: a report, one line for each doubt.

    python tools/readback/check.py [NAME ...]

A clip counts as understood where the sentence heard is its own name (or sounds the same). The
grammar holds the names of all clips, so that this is hard for single words: 'ten' lies beside
'tenth'. A clip whose first or last 10 ms are loud may have been cut.
"""

from __future__ import annotations

import sys

import numpy as np

from joblog.audio.resample import Resampler
from joblog.readback.clips import load_clips
from joblog.readback.sequence import Piece
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
    names = [n.replace(",", "") for n in clips.by_name]
    rule = " | ".join(sorted(set(names)))
    grammar = Grammar.from_text(f"#JSGF V1.0;\ngrammar clips;\npublic <clip> = {rule};\n")
    engine = get_engine()
    good, levels = 0, []
    chosen = [n for n in clips.by_name if not wanted or n in wanted]
    for name in chosen:
        sound = joined([Piece("clip", name)], clips)
        samples = Resampler(RATE).feed(np.pad(sound, RATE // 3))
        hearing = engine.hear(samples, grammar)
        if hearing.text == name.replace(",", ""):
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


if __name__ == "__main__":
    main(sys.argv[1:])
