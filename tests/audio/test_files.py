"""Sound files: every kind is read, every damaged one is one sentence."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from joblog.audio.files import read_audio
from joblog.audio.resample import Resampler, resample
from joblog.audio.types import RATE
from joblog.errors import AudioError

RNG = np.random.default_rng(1)


def tone(rate: int, hertz: float, seconds: float = 1.0) -> np.ndarray:
    return np.sin(2 * np.pi * hertz * np.arange(int(rate * seconds)) / rate).astype(np.float32)


@pytest.mark.parametrize("rate", [8000, 11025, 22050, 32000, 44100, 48000, 96000, 192000, 44099])
def test_a_tone_keeps_its_pitch_place_and_level(rate: int) -> None:
    out = resample(tone(rate, 1000), rate)
    assert abs(len(out) - RATE) <= 1
    inner = slice(800, -800)
    assert np.abs(out - tone(RATE, 1000)[: len(out)])[inner].max() < 1e-3


@pytest.mark.parametrize("rate", [22050, 32000, 44100, 48000, 192000])
def test_what_16_khz_can_not_hold_is_gone(rate: int) -> None:
    # The filter's own claim: below -80 dB from 8.8 kHz on, flat to 0.1 dB up to 7 kHz.
    assert np.abs(resample(tone(rate, 9000), rate))[800:-800].max() < 1e-4
    high = resample(tone(rate, 7000), rate)[800:-800]
    assert 20 * np.log10(np.sqrt(2 * np.mean(high**2))) == pytest.approx(0, abs=0.12)


@pytest.mark.parametrize("rate", [8000, 44100, 48000, 44099])
def test_blocks_of_any_size_give_the_same_sound(rate: int) -> None:
    sound = RNG.standard_normal(rate // 2).astype(np.float32)
    resampler, parts, at = Resampler(rate), [], 0
    while at < len(sound):
        step = int(RNG.integers(1, 3000))
        parts.append(resampler.feed(sound[at : at + step]))
        at += step
    parts.append(resampler.flush())
    np.testing.assert_allclose(np.concatenate(parts), resample(sound, rate), atol=1e-5)


@pytest.mark.parametrize(
    ("rate", "channels", "form", "subtype"),
    [
        (16000, 1, "WAV", "PCM_16"),
        (16000, 1, "WAV", "PCM_U8"),
        (48000, 1, "WAV", "PCM_24"),
        (44100, 2, "WAV", "PCM_32"),
        (16000, 1, "WAV", "FLOAT"),
        (8000, 1, "WAV", "ULAW"),
        (192000, 1, "WAV", "PCM_16"),
        (48000, 8, "WAV", "PCM_16"),
        (44100, 2, "FLAC", "PCM_16"),
        (48000, 1, "OGG", "VORBIS"),
    ],
)
def test_every_usual_file(
    rate: int, channels: int, form: str, subtype: str, tmp_path: Path
) -> None:
    path = tmp_path / f"sound.{form.lower()}"
    sound = np.repeat(0.5 * tone(rate, 440)[:, None], channels, axis=1)
    soundfile.write(path, sound, rate, subtype=subtype, format=form)
    utterance = read_audio(path)
    assert utterance.samples.dtype == np.float32
    assert utterance.duration == pytest.approx(1.0, abs=0.01)
    spectrum = np.abs(np.fft.rfft(utterance.samples[:RATE]))
    assert np.argmax(spectrum) * RATE / RATE == pytest.approx(440, abs=1)
    assert np.sqrt(2 * np.mean(utterance.samples**2)) == pytest.approx(0.5, abs=0.03)


def test_raw_samples_and_a_header_that_promises_too_much(tmp_path: Path) -> None:
    samples = (0.5 * tone(RATE, 440) * 32767).astype("<i2")
    raw = tmp_path / "sound.raw"
    raw.write_bytes(samples.tobytes())
    assert read_audio(raw).duration == 1.0
    path = tmp_path / "promise.wav"
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    place = data.index(b"data") + 4
    data[place : place + 4] = struct.pack("<I", 4 * samples.nbytes)
    path.write_bytes(data)
    assert read_audio(path).duration == 1.0


def wav(fmt: bytes, data: bytes) -> bytes:
    body = b"WAVE" + b"fmt " + struct.pack("<I", len(fmt)) + fmt
    body += b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


PCM = struct.pack("<HHIIHH", 1, 1, 16000, 32000, 2, 16)
WILD = struct.pack("<HHIIHH", 1, 1, 1_092_676, 2_185_352, 2, 16)
LONG_CHUNK = b"RIFF\x40\x00\x00\x00WAVEjunk" + struct.pack("<I", 900_000_000) + b"\x00" * 40
BAD = [
    ("empty.wav", b"", "the file is empty"),
    ("text.wav", b"this is no sound\n" * 20, "no sound file that can be read"),
    ("null.wav", wav(PCM, b""), "holds no sound"),
    ("wild.wav", wav(WILD, b"\x00" * 882), "a sampling rate of 1092676 Hz is not believable"),
    ("chunk.wav", LONG_CHUNK, "damaged and holds no sound"),
    ("video.mp4", b"\x00\x00\x00\x18ftypmp42" + b"\x00" * 200, "no sound file that can be read"),
]


@pytest.mark.parametrize(("name", "content", "message"), BAD)
def test_damaged_files_are_one_sentence(
    name: str, content: bytes, message: str, tmp_path: Path
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(AudioError, match=message) as caught:
        read_audio(path)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value)


def test_no_numbers_no_file_and_a_folder(tmp_path: Path) -> None:
    path = tmp_path / "nan.wav"
    soundfile.write(path, np.array([0.1, np.nan, 0.2], np.float32), RATE, subtype="FLOAT")
    with pytest.raises(AudioError, match="samples that are no numbers"):
        read_audio(path)
    with pytest.raises(AudioError, match="there is no such file"):
        read_audio(tmp_path / "absent.wav")
    with pytest.raises(AudioError, match="is a folder"):
        read_audio(tmp_path)


def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "no\udcfftext.wav"
    try:
        path.write_bytes(b"")
    except (OSError, ValueError):
        pytest.skip("this file system has no such names")
    with pytest.raises(AudioError, match="the file is empty"):
        read_audio(path)
    soundfile.write(tmp_path / "a.wav", tone(RATE, 440), RATE)
    (tmp_path / "a.wav").replace(path)
    assert len(read_audio(path).samples) == RATE


def test_floats_with_the_range_of_integers_are_scaled(tmp_path: Path) -> None:
    path = tmp_path / "loud.wav"
    soundfile.write(path, 20000 * tone(RATE, 440), RATE, subtype="FLOAT")
    assert np.abs(read_audio(path).samples).max() == pytest.approx(1.0)
