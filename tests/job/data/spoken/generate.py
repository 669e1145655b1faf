"""Speak the tests' calls for help and two filters, as ``sample_audio/generate.py`` speaks the demo.

    python tests/job/data/spoken/generate.py package/voices

That file's first lines say what to install.
"""

from __future__ import annotations

import sys
from pathlib import Path

import soundfile

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[3] / "sample_audio"))

from generate import RATE, mixed  # noqa: E402  # beside the demo's sound, no package
from voice import Speaker  # noqa: E402

LINES = (  # file, words, Kokoro's voice, decibels of speech over the compressor
    ("help-imani", "help", "af_heart", 15),
    ("help-marek", "help", "am_michael", 15),
    ("what-can-i-say-imani", "what can i say", "af_heart", 15),
    ("help-marek-quiet", "help", "am_michael", 45),
    ("fuel-filter-fitted", "fuel filter fitted", "am_michael", 15),
    ("new-filter-fitted", "new filter fitted", "am_michael", 15),
)


def main(voices: str) -> None:
    """Write every line as FLAC, 16 kHz, mono."""
    speaker = Speaker(Path(voices))
    for seed, (name, said, voice, snr) in enumerate(LINES):
        sound = mixed(speaker.say(said, voice, RATE), "compressor", snr, seed)
        soundfile.write(HERE / f"{name}.flac", sound, RATE, subtype="PCM_16")


if __name__ == "__main__":
    main(sys.argv[1])
