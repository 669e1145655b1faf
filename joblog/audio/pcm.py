"""Bytes of a stream (standard input, socket) turned into samples.

A stream is raw little-endian PCM with the stated rate, channels and width, or starts with a WAV
header (as ``arecord`` and ``ffmpeg`` write one) whose values then hold.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joblog.audio.resample import Resampler, check_rate
from joblog.audio.types import RATE, Samples
from joblog.errors import AudioError

# Of the loudest channel's energy. Two that have nothing in common keep a quarter or more.
TAKEN_OUT = 0.1
_NO_NUMBERS = "the sound holds samples that are no numbers; see what the sender does to them."
# Files of other kinds: read as samples they would be noise in which nobody speaks.
_NO_SAMPLES = {b"fLaC": "FLAC", b"OggS": "OGG", b"ID3": "MP3", b"FORM": "AIFF", b"RF64": "RF64"}
_PLAIN = (1, 3)  # kinds of WAV samples: integers, floats; others (A-law, ADPCM) are compressed
_LONGEST_HEADER = 4096  # bytes; longer ones carry pictures or are no sound


@dataclass(frozen=True)
class PcmFormat:
    """How samples lie in a stream: rate in Hz, channels, bits (8, 16, 24, 32) or 32-bit floats."""

    rate: int = RATE
    channels: int = 1
    bits: int = 16
    floats: bool = False

    def __post_init__(self) -> None:
        check_rate(self.rate)
        widths = (32,) if self.floats else (8, 16, 24, 32)
        if self.bits not in widths or not 1 <= self.channels <= 64:
            kind = "floating-point" if self.floats else "integer"
            raise AudioError(
                f"sound with {self.channels} channels of {self.bits}-bit {kind} samples can't be "
                "read; send 16-bit samples, one channel."
            )

    @property
    def frame_bytes(self) -> int:
        """Bytes of one sample of all channels."""
        return self.channels * self.bits // 8


class Downmix:
    """All channels to one, their mean; where they take each other out, the loudest of them.

    A microphone wired in opposite phase gives the same sound twice, once upside down.
    """

    def __init__(self) -> None:
        self._mean = 0.0  # energy so far, older sound counting less
        self._each: NDArray[np.float64] = np.zeros(1)

    def __call__(self, frames: Samples) -> Samples:
        """Return the next block, shape (frames, channels), as mono."""
        mean: Samples = frames.mean(axis=1, dtype=np.float32)
        if frames.shape[1] == 1 or not len(frames):
            return mean
        faded = 0.5 ** (len(frames) / RATE)
        self._mean = self._mean * faded + float((mean.astype(np.float64) ** 2).sum())
        self._each = self._each * faded + (frames.astype(np.float64) ** 2).sum(axis=0)
        most = float(self._each.max())
        if self._mean >= TAKEN_OUT * most:
            return mean
        loud = int(np.flatnonzero(self._each >= most / 2)[0])  # the same one in every block
        return np.asarray(frames[:, loud], np.float32)


class PcmReader:
    """Collects bytes and returns 16 kHz mono samples; odd bytes wait for the rest."""

    def __init__(self, form: PcmFormat | None = None) -> None:
        self._form = form or PcmFormat()
        self._resampler = Resampler(self._form.rate)
        self._bytes = b""
        self._header_done = False
        self._downmix = Downmix()
        self._empty = True
        self._lost = 0  # samples in a row that are no numbers
        self._any = False  # one was a number

    def feed(self, data: bytes) -> Samples:
        """Return what is complete after ``data``. Raises AudioError for a header it can't use."""
        self._bytes += data
        self._empty = self._empty and not data
        if not self._header_done and not self._past_header():
            return np.zeros(0, np.float32)
        usable = len(self._bytes) - len(self._bytes) % self._form.frame_bytes
        raw, self._bytes = self._bytes[:usable], self._bytes[usable:]
        values = _unit_values(raw, self._form)
        if self._form.floats:
            values = self._numbers(values)
        frames = np.asarray(values.reshape(-1, self._form.channels), np.float32)
        return self._resampler.feed(self._downmix(frames))

    def _numbers(self, values: Any) -> Any:
        """Return silence for what is no number; refuse a second of nothing else."""
        numbers = np.flatnonzero(np.isfinite(values))
        self._any = self._any or bool(len(numbers))
        self._lost = (
            len(values) - 1 - int(numbers[-1]) if len(numbers) else self._lost + len(values)
        )
        if self._lost >= self._form.rate * self._form.channels:
            raise AudioError(_NO_NUMBERS)
        return np.nan_to_num(values, nan=0.0, posinf=0.0, neginf=0.0)

    def flush(self) -> Samples:
        """Return what is left at the end of the stream; AudioError where nothing ever came."""
        if self._empty:
            raise AudioError("no sound came before the stream ended; see what the sender does.")
        self._header_done = True
        if self._lost and not self._any:
            raise AudioError(_NO_NUMBERS)
        return np.concatenate([self.feed(b""), self._resampler.flush()])

    def _past_header(self) -> bool:
        """Take a WAV header off the front; False while it is not all there."""
        if len(self._bytes) < 12 and b"RIFF".startswith(self._bytes[:4]):
            return False
        for mark, kind in _NO_SAMPLES.items():
            if self._bytes.startswith(mark):
                raise AudioError(
                    f"the stream is a file of kind {kind}; name the file itself as the source, or "
                    "send samples or WAV."
                )
        if self._bytes[:4] == b"RIFF" and self._bytes[8:12] == b"WAVE":
            found = read_wav_header(self._bytes)
            if found is None:
                if len(self._bytes) > _LONGEST_HEADER:
                    raise AudioError("the stream starts as a WAV file but holds no sound.")
                return False
            self._form, start = found
            self._resampler = Resampler(self._form.rate)
            self._bytes = self._bytes[start:]
        self._header_done = True
        return True


def read_wav_header(data: bytes) -> tuple[PcmFormat, int] | None:
    """Return the format and where the samples start; None where ``data`` does not reach so far."""
    form: PcmFormat | None = None
    at = 12
    while at + 8 <= len(data):
        name, size = data[at : at + 4], struct.unpack_from("<I", data, at + 4)[0]
        if name == b"data":
            if form is None:
                raise AudioError("the WAV header of the stream does not say how the samples lie.")
            return form, at + 8
        if name == b"fmt ":
            if at + 24 > len(data):
                return None
            kind, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", data, at + 8)
            extended = kind == 0xFFFE and size >= 26 and at + 34 <= len(data)
            kind = struct.unpack_from("<H", data, at + 32)[0] if extended else kind
            if kind not in _PLAIN:
                raise AudioError(
                    f"the WAV stream holds compressed samples (kind {kind}); send plain ones."
                )
            form = PcmFormat(rate, channels, bits, floats=kind == 3)
        at += 8 + size + size % 2
    return None


def _unit_values(raw: bytes, form: PcmFormat) -> Any:
    """Return all samples of all channels, in -1..1."""
    if form.floats:
        return np.frombuffer(raw, "<f4")
    if form.bits == 8:  # the one unsigned width
        return (np.frombuffer(raw, np.uint8).astype(np.float32) - 128) / 128
    if form.bits == 24:
        threes = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        fours = np.zeros((len(threes), 4), np.uint8)
        fours[:, 1:] = threes  # the sign lands where it belongs, scaled by 256
        return fours.view("<i4")[:, 0].astype(np.float32) / 2**31
    kind = "<i2" if form.bits == 16 else "<i4"
    return np.frombuffer(raw, kind).astype(np.float32) / 2 ** (form.bits - 1)
