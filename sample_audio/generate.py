"""Speak the demo's script with synthetic voices and mix shop noise in.

    apt install flite && pip install numpy scipy soundfile
    python sample_audio/generate.py

Flite (BSD-like licence) speaks; the noises are made by ``shop_noise.py``. The same script gives the
same files.
"""

from __future__ import annotations

import subprocess
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from scipy import signal
from shop_noise import NOISES, RATE, Sound

HERE = Path(__file__).parent
FRAME = 2048  # samples; the loudest frame of speech and of noise set the ratio


def speak(text: str, voice: dict[str, Any]) -> Sound:
    """Return ``text`` spoken by a flite voice, at 16 kHz."""
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder) / "said.wav"
        pitch = ["--setf", f"int_f0_target_mean={voice['pitch']}"] if "pitch" in voice else []
        subprocess.run(
            ["flite", "-voice", voice["flite"], *pitch, "-t", text, "-o", str(wav)], check=True
        )
        sound, rate = soundfile.read(wav)
    return np.asarray(sound if rate == RATE else signal.resample_poly(sound, RATE, rate))


def loudest(sound: Sound) -> float:
    """Return the energy of the loudest whole frame."""
    frames = len(sound) // FRAME
    return float((sound[: frames * FRAME].reshape(frames, FRAME) ** 2).sum(axis=1).max())


def mixed(line: dict[str, Any], voices: dict[str, Any], seed: int) -> Sound:
    """Return one line with a breath of noise before and after it, peak 0.5."""
    rng = np.random.default_rng(seed)
    said = speak(line["say"], voices[line["voice"]])
    said = np.concatenate([np.zeros(RATE // 3), said, np.zeros(RATE // 3)])
    noise = NOISES[line["noise"]](rng, len(said))
    gain = np.sqrt(loudest(said) / (loudest(noise) * 10 ** (line["snr"] / 10)))
    both = said + gain * noise
    return np.asarray(both * (0.5 / np.abs(both).max()))


def main() -> None:
    """Write every line of the script as FLAC."""
    script = tomllib.loads((HERE / "script.toml").read_text(encoding="utf-8"))
    for seed, line in enumerate(script["line"]):
        sound = mixed(line, script["voices"], seed)
        soundfile.write(HERE / f"{line['file']}.flac", sound, RATE, subtype="PCM_16")
        print(f"{line['file']}.flac {len(sound) / RATE:.1f} s")


if __name__ == "__main__":
    main()
