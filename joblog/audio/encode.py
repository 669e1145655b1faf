"""Sound as bytes for the record: lossless, so that what was heard can be heard again."""

from __future__ import annotations

import io

import numpy as np

from joblog.audio.types import RATE, Samples

MIME = "audio/flac"


def flac_bytes(samples: Samples) -> bytes:
    """Return ``samples`` (float32, -1..1, 16 kHz mono) as a FLAC file of 16 bits.

    Louder samples are clipped; what is not a number is written as silence.
    """
    import soundfile

    clean = np.nan_to_num(np.asarray(samples, dtype=np.float32), nan=0.0, posinf=1.0, neginf=-1.0)
    whole = np.clip(np.rint(clean * 32768.0), -32768, 32767).astype(np.int16)
    buffer = io.BytesIO()
    soundfile.write(buffer, whole, RATE, format="FLAC", subtype="PCM_16")
    return buffer.getvalue()
