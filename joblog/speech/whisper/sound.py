"""Sound made ready for the recogniser: bounded, centred, of even loudness, or refused.

Whatever is refused here has a reason in plain words, and can never become a command.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from joblog.audio.types import RATE, Samples

LONGEST = 15.0  # seconds; the longest commands of the benchmark last 14.9 s
SHORTEST = 0.15  # seconds; no word is shorter
PEAK = 0.5  # of full scale; the level that the ears mostly heard in training (tools/adapter)
SILENT = 1e-4  # -80 dB of full scale: below the noise of any real microphone input
FRAME = 400  # 25 ms
FLAT = 0.05  # decades of power; speech varies far more than this between loud and quiet frames


@dataclass(frozen=True)
class Prepared:
    """Sound ready for the encoder, or the reason why there is none.

    ``samples`` is float32, 16 kHz mono, without its mean and with a peak of :data:`PEAK`; empty
    where ``why`` says what is wrong. ``original_duration`` is in seconds. ``contrast`` is the
    distance, in decades of power, between the 10th and the 95th percentile of the 25 ms frames: a
    rough signal-to-noise ratio.
    """

    samples: Samples
    original_duration: float
    contrast: float = 0.0
    why: str | None = None

    @property
    def duration(self) -> float:
        """Length in seconds of what is left."""
        return len(self.samples) / RATE


def prepare(samples: Samples) -> Prepared:
    """Return ``samples`` (float, 16 kHz mono, any level) ready for the encoder, or a refusal.

    Raises nothing: what can't be heard comes back with ``why``.
    """
    sound = np.asarray(samples, np.float32).reshape(-1)
    duration = len(sound) / RATE
    if not np.isfinite(sound).all():
        return _refused(duration, "The sound holds values that are not numbers.")
    if duration < SHORTEST:
        return _refused(duration, "The sound is too short to hold a word.")
    sound = sound - sound.mean(dtype=np.float64).astype(np.float32)
    peak = float(np.abs(sound).max())
    if peak < SILENT:
        return _refused(duration, "There is only silence.")
    if duration > LONGEST:
        sound = _spoken_part(sound)
        if len(sound) > LONGEST * RATE:
            return _refused(duration, f"That lasted longer than {LONGEST:.0f} s; say it shorter.")
    contrast = _contrast(sound)
    if contrast < FLAT:
        return _refused(duration, "There is a steady tone or hum and no speech.")
    return Prepared(sound * np.float32(PEAK / peak), duration, contrast)


def _refused(duration: float, why: str) -> Prepared:
    return Prepared(np.zeros(0, np.float32), duration, 0.0, why)


def _levels(sound: Samples) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Return log10 of the power of each 25 ms frame."""
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME).astype(np.float64)
    levels: np.ndarray[tuple[int, ...], np.dtype[np.float64]] = np.log10(
        (frames**2).mean(axis=1) + 1e-12
    )
    return levels


def _contrast(sound: Samples) -> float:
    low, high = np.percentile(_levels(sound), (10, 95))
    return float(high - low)


def _spoken_part(sound: Samples) -> Samples:
    """Return the stretch between the first and the last frame well above the quiet ones.

    Well above is 10 dB over the quietest tenth and no more than 30 dB below the loudest.
    """
    levels = _levels(sound)
    low, high = np.percentile(levels, 10), levels.max()
    loud = np.flatnonzero(levels > max(low + 1.0, high - 3.0))
    if len(loud) == 0:
        return sound
    margin = RATE // 2  # a weak first or last sound of a word is kept
    begin = max(0, int(loud[0]) * FRAME - margin)
    return sound[begin : int(loud[-1] + 1) * FRAME + margin]
