"""From pieces to samples: the clips that browsers play too, joined for the PC's loudspeaker."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from joblog.readback.clips import Clips
from joblog.readback.sequence import CAUTION, Piece, free_text, pieces_of

RATE = 24_000  # Hz of the clips
SCREEN = "see the screen"  # said where a word has no clip: half a sentence could mislead
# (Hz, seconds after the start) as in the browser: rising, falling, three on one pitch
TONES: dict[str, tuple[tuple[float, float], ...]] = {
    "ok": ((880.0, 0.0), (1175.0, 0.09)),
    "again": ((660.0, 0.0), (440.0, 0.16)),
    "warn": ((440.0, 0.0), (440.0, 0.2), (440.0, 0.4)),
}
TONE_SECONDS = 0.15

Sound = NDArray[np.float32]


@lru_cache(maxsize=1024)
def _decoded(data: bytes) -> Sound:
    import soundfile

    samples, rate = soundfile.read(io.BytesIO(data), dtype="float32")
    if rate != RATE:
        raise ValueError(f"a clip has {rate} Hz instead of {RATE}")
    return np.asarray(samples, dtype=np.float32)


def joined(pieces: Sequence[Piece], clips: Clips) -> Sound:
    """Return clips and pauses one after the other; float32, mono, 24 kHz."""
    parts = [
        np.zeros(round(piece.seconds * RATE), np.float32)
        if piece.kind == "pause"
        else _decoded(clips.data(piece.name))
        for piece in pieces
    ]
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def spoken_sound(text: str, clips: Clips) -> Sound:
    """Return ``text`` spoken with clips alone; 'see the screen' for a caution, or all, without."""
    said, caution, _ = text.partition(CAUTION)
    pieces = pieces_of(text, clips.by_name)
    if free_text(pieces) and caution:  # a sheet's own words may have none; the rest is said
        pieces = pieces_of(f"{said}{CAUTION} {SCREEN}.", clips.by_name)
    return joined([Piece("clip", SCREEN)] if free_text(pieces) else pieces, clips)


def tone_sound(name: str) -> Sound:
    """Return the tone of a reply; silence of no length for a reply without one."""
    shape = TONES.get(name, ())
    length = round((shape[-1][1] + TONE_SECONDS) * RATE) if shape else 0
    sound = np.zeros(length, np.float32)
    time = np.arange(round(TONE_SECONDS * RATE)) / RATE
    swell = np.minimum(1.0, np.minimum(time / 0.02, (TONE_SECONDS - time) / 0.05))
    for hertz, after in shape:
        start = round(after * RATE)
        sound[start : start + len(time)] += 0.25 * swell * np.sin(2 * np.pi * hertz * time)
    return sound
