"""Sound files of any rate, width and number of channels, read as one utterance.

A damaged file gives one sentence. Where a header promises more than there is, what is there is
read: half a command is for the recogniser to judge.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from joblog.audio.pcm import Downmix, PcmFormat
from joblog.audio.resample import Resampler
from joblog.audio.types import Samples, Utterance
from joblog.errors import AudioError

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Longer files are no spoken command but a whole day's recording, and would fill the memory.
LONGEST_MINUTES = 60
MOST_CHANNELS = 64
_BLOCK = 1 << 16
_SUBTYPES = {8: "PCM_U8", 16: "PCM_16", 24: "PCM_24", 32: "PCM_32"}
RAW_ENDINGS = (".raw", ".pcm")  # no header: read as the stated PcmFormat, little-endian


def read_audio(path: str | Path) -> Utterance:
    """Read a sound file as 16 kHz mono.

    WAV, FLAC, OGG, MP3 and AIFF are read; ``.raw`` and ``.pcm`` are taken as 16 kHz mono 16-bit
    little-endian. Channels are averaged. Raises AudioError in one sentence.
    """
    path = Path(path)
    samples = np.concatenate(list(read_blocks(path)))
    return Utterance(_within_one(samples), 0.0, str(path))


def read_blocks(path: Path, form: PcmFormat | None = None) -> Iterator[Samples]:
    """Yield a sound file as 16 kHz mono blocks, at constant memory; errors as read_audio.

    ``form`` says how the samples of a file without a header lie (``.raw``, ``.pcm``).
    """
    import soundfile

    try:
        with _opened(path, form or PcmFormat()) as file:
            yield from _converted(file, path)
    except soundfile.LibsndfileError as error:
        raise AudioError(f"{path}: {_reason(path, str(error))}") from None
    except OSError as error:
        raise AudioError(f"{path}: can't be read: {error.strerror or error}.") from None


def _opened(path: Path, form: PcmFormat) -> Any:
    import soundfile

    if not path.exists():
        raise AudioError(f"{path}: there is no such file.")
    if path.is_dir():
        raise AudioError(f"{path}: is a folder; name a sound file in it.")
    # Soundfile can't encode a name that is no text; as bytes it takes every one but on Windows.
    name: str | bytes = str(path) if os.name == "nt" else os.fsencode(path)
    if path.suffix.lower() in RAW_ENDINGS:
        return soundfile.SoundFile(
            name, samplerate=form.rate, channels=form.channels, format="RAW",
            subtype=_SUBTYPES[form.bits], endian="LITTLE",
        )  # fmt: skip
    return soundfile.SoundFile(name)


def _reason(path: Path, message: str) -> str:
    if path.stat().st_size == 0:
        return "the file is empty; record it again."
    if "data" in message and "chunk" in message:
        return "the WAV file is damaged and holds no sound; record it again."
    return "this is no sound file that can be read; convert it to WAV, FLAC, OGG or MP3."


def _converted(file: Any, path: Path) -> Iterator[Samples]:
    if file.channels > MOST_CHANNELS:
        raise AudioError(f"{path}: {file.channels} channels are not believable; use one or two.")
    try:
        resampler = Resampler(file.samplerate)
    except AudioError as error:
        raise AudioError(f"{path}: {error}") from None
    read, downmix = 0, Downmix()
    while True:
        block: NDArray[np.float32] = file.read(_BLOCK, dtype="float32", always_2d=True)
        if not len(block):
            break
        read += len(block)
        if read > LONGEST_MINUTES * 60 * file.samplerate:
            raise AudioError(
                f"{path}: longer than {LONGEST_MINUTES} minutes; cut out what is to be heard."
            )
        if not np.isfinite(block).all():
            raise AudioError(f"{path}: holds samples that are no numbers; record it again.")
        yield resampler.feed(downmix(block))
    if not read:
        raise AudioError(f"{path}: the file holds no sound; record it again.")
    yield resampler.flush()


def _within_one(samples: Samples) -> Samples:
    """Scale down float files that were written with the range of integers."""
    peak = float(np.abs(samples).max())
    return samples / peak if peak > 2.0 else samples
