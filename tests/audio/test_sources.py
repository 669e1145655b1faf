"""Streams: bytes of any format, in pieces of any size, from standard input or a socket."""

from __future__ import annotations

import io
import socket
import struct
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from joblog.audio.pcm import PcmFormat, PcmReader
from joblog.audio.sources import open_source, stream_blocks
from joblog.audio.types import RATE
from joblog.errors import AudioError, DeviceError, UsageError

DATA = Path(__file__).parent / "data"
RAMP = np.linspace(-0.9, 0.9, 1600).astype(np.float32)


def encoded(form: PcmFormat) -> bytes:
    frames = np.repeat(RAMP[:, None], form.channels, axis=1)
    if form.floats:
        return frames.astype("<f4").tobytes()
    if form.bits == 8:
        return np.round(frames * 127 + 128).astype(np.uint8).tobytes()
    whole = np.round(frames * (2 ** (form.bits - 1) - 1)).astype("<i4")
    if form.bits == 24:
        return whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    return whole.astype(f"<i{form.bits // 8}").tobytes()


@pytest.mark.parametrize("form", [
    PcmFormat(), PcmFormat(bits=8), PcmFormat(bits=24, channels=2), PcmFormat(bits=32),
    PcmFormat(bits=32, floats=True), PcmFormat(channels=8),
])  # fmt: skip
def test_raw_samples_in_pieces_of_any_size(form: PcmFormat) -> None:
    data, reader, at, parts = encoded(form), PcmReader(form), 0, []
    random = np.random.default_rng(2)
    while at < len(data):
        step = int(random.integers(1, 97))
        parts.append(reader.feed(data[at : at + step]))
        at += step
    parts.append(reader.flush())
    np.testing.assert_allclose(np.concatenate(parts), RAMP, atol=0.012)  # 8 bits: 1/128 a step


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_a_wav_header_in_the_stream_decides(subtype: str) -> None:
    buffer = io.BytesIO()
    sound = np.repeat(RAMP[:, None], 2, axis=1)
    soundfile.write(buffer, sound, 48000, subtype=subtype, format="WAV")
    blocks = list(stream_blocks(io.BytesIO(buffer.getvalue())))
    assert sum(map(len, blocks)) == pytest.approx(len(RAMP) / 3, abs=2)


def test_impossible_formats_are_one_sentence() -> None:
    with pytest.raises(AudioError, match="12-bit integer samples can't be read"):
        PcmFormat(bits=12)
    with pytest.raises(AudioError, match="0 channels"):
        PcmFormat(channels=0)
    with pytest.raises(AudioError, match="not believable"):
        PcmReader(PcmFormat(rate=5))
    header = b"RIFF\xff\xff\xff\xffWAVEdata" + struct.pack("<I", 100)
    with pytest.raises(AudioError, match="does not say how the samples lie"):
        PcmReader().feed(header + b"\x00" * 100)


@pytest.mark.parametrize(
    ("form", "subtype", "told"),
    [
        ("FLAC", "PCM_16", "is a file of kind FLAC"),
        ("OGG", "VORBIS", "is a file of kind OGG"),
        ("AIFF", "PCM_16", "is a file of kind AIFF"),
        ("WAV", "ALAW", "holds compressed samples"),
        ("WAV", "IMA_ADPCM", "holds compressed samples"),
    ],
)
def test_a_stream_that_is_no_samples_is_one_sentence(form: str, subtype: str, told: str) -> None:
    buffer = io.BytesIO()
    soundfile.write(buffer, RAMP, RATE, subtype=subtype, format=form)
    with pytest.raises(AudioError, match=told):
        list(stream_blocks(io.BytesIO(buffer.getvalue())))


def test_a_stream_without_a_byte_is_one_sentence() -> None:
    with pytest.raises(AudioError, match="no sound came before the stream ended"):
        list(stream_blocks(io.BytesIO(b"")))


def test_numbers_that_are_none_become_silence() -> None:
    data = np.array([0.5, np.nan, np.inf, 0.25], "<f4").tobytes()
    out = PcmReader(PcmFormat(bits=32, floats=True)).feed(data)
    np.testing.assert_array_equal(out, [0.5, 0.0, 0.0, 0.25])


@pytest.mark.parametrize("seconds", [0.05, 3.0])
def test_nothing_but_no_numbers_is_refused(seconds: float) -> None:
    data = np.full(int(seconds * RATE), np.nan, "<f4").tobytes()
    form = PcmFormat(bits=32, floats=True)
    with pytest.raises(AudioError, match="samples that are no numbers"):
        list(stream_blocks(io.BytesIO(data), form))


@pytest.mark.parametrize("other", [-1.0, -0.8, 0.0, 1.0])
def test_two_channels_never_take_each_other_out(other: float, tmp_path: Path) -> None:
    tone = 0.5 * np.sin(np.arange(RATE) * 0.17).astype(np.float32)
    both = np.column_stack([tone, other * tone])
    reader = PcmReader(PcmFormat(channels=2))
    raw = (both * 32767).astype("<i2").tobytes()
    streamed = np.concatenate([reader.feed(raw), reader.flush()])
    soundfile.write(tmp_path / "both.wav", both, RATE)
    read = np.concatenate(list(open_source(str(tmp_path / "both.wav"))))
    wanted = tone if other < 0 else tone * (1 + other) / 2
    for found in (streamed, read):
        np.testing.assert_allclose(found[:RATE], wanted, atol=0.001)


def test_a_socket_gives_what_a_file_gives() -> None:
    expected = np.concatenate(list(open_source(str(DATA / "goforward.flac"))))
    data = (expected * 32768).astype("<i2").tobytes()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def send() -> None:
            connection, _ = server.accept()
            with connection:
                connection.sendall(data)

        sender = threading.Thread(target=send)
        sender.start()
        port = server.getsockname()[1]
        blocks = list(open_source(f"tcp:127.0.0.1:{port}"))
        sender.join()
    assert max(map(len, blocks)) <= RATE // 10
    np.testing.assert_allclose(np.concatenate(blocks), expected, atol=1e-6)


def test_senders_that_can_not_be_reached() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(DeviceError, match=f"no sound from 127.0.0.1:{port}: .*sender runs"):
        list(open_source(f"tcp:127.0.0.1:{port}"))
    for name in ("tcp:nowhere", "tcp::1", "tcp:host:port", "tcp:host:99999"):
        with pytest.raises(UsageError, match="write tcp:HOST:PORT"):
            list(open_source(name))
