"""Speak the words and phrases once and pack them: one file of Ogg Opus clips and its index.

    python tools/readback/speak.py words.txt package/voices joblog/readback/static

Clips that the folder has already are kept; to speak some again, take its files away first.

Each clip is an Ogg Opus stream of its own (RFC 7845); one after the other they are a valid chained
Ogg file. So a browser decodes only what it plays, and every clip has its page checksums.
"""

from __future__ import annotations

import hashlib
import io
import json
import sys
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_audio"))
import voice

Sound = NDArray[np.float64]
RATE = 24_000
VOICE = "af_heart"
SPEED = 1.1
LEVEL = -20.0  # dB below full scale: root mean square of the frames that hold speech
PEAK = 0.89
EDGE = 0.003  # below this share of the peak there is no speech (-50 dB)
BEFORE, AFTER = 0.02, 0.06  # seconds kept around it
COMPRESSION = 0.96  # of libsndfile's scale: about 16 kbit/s
FRAME = 240  # samples, 10 ms
# How letters and words are spoken that the word list lacks or would read otherwise.
SAY = {
    "niner": "nˈInəɹ",
    "kilopascal": "kˈɪləpˌæskəl",
    "kilopascals": "kˈɪləpˌæskəlz",
    "m": "ˈɛm",
    "thou": "θˈW",
}
RESPELL = {"level read": "level red"}
voice.EXTRA.update(SAY)


def trimmed(sound: Sound) -> Sound:
    """Return the sound without the silence around it, its ends faded over 5 ms."""
    loud = np.flatnonzero(np.abs(sound) > EDGE * np.abs(sound).max())
    first = max(0, int(loud[0] - BEFORE * RATE))
    last = min(len(sound), int(loud[-1] + AFTER * RATE))
    cut = sound[first:last].copy()
    fade = np.linspace(0, 1, RATE // 200)
    cut[: len(fade)] *= fade
    cut[-len(fade) :] *= fade[::-1]
    return cut


def speech_level(sound: Sound) -> float:
    """Return the level of the frames within 20 dB of the loudest, in dB below full scale."""
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)
    power = (frames**2).mean(axis=1)
    return float(10 * np.log10(power[power > power.max() / 100].mean()))


def levelled(sound: Sound) -> Sound:
    """Return the sound at the level of all clips, its peaks below full scale."""
    loud = sound * 10 ** ((LEVEL - speech_level(sound)) / 20)
    return np.asarray(loud * min(1.0, PEAK / np.abs(loud).max()))


def ogg_checksum(page: bytes) -> int:
    """Return the checksum of an Ogg page whose checksum field is zero (RFC 3533, section 6)."""
    rest = 0
    for byte in page:
        rest ^= byte << 24
        for _ in range(8):
            rest = (rest << 1 ^ (0x04C11DB7 if rest & 0x80000000 else 0)) & 0xFFFFFFFF
    return rest


def without_padding(data: bytes) -> bytes:
    """Shorten the comment page: libsndfile leaves 0.8 kB in it for later changes."""
    head = 27 + 1 + data[27]
    lacing = data[head + 27 : head + 27 + data[head + 26]]
    body = head + 27 + len(lacing)
    comment = data[body : body + sum(lacing)]
    vendor = int.from_bytes(comment[8:12], "little")
    comment = comment[: 12 + vendor] + bytes(4)  # no user comments
    page = data[head : head + 22] + bytes(4) + bytes([1, len(comment)]) + comment
    page = page[:22] + ogg_checksum(page).to_bytes(4, "little") + page[26:]
    return data[:head] + page + data[body + sum(lacing) :]


def encoded(sound: Sound) -> bytes:
    """Return the sound as one Ogg Opus stream."""
    packed = io.BytesIO()
    with soundfile.SoundFile(
        packed, "w", RATE, 1, format="OGG", subtype="OPUS", compression_level=COMPRESSION
    ) as file:
        file.write(sound)
    return without_padding(packed.getvalue())


def kept_clips(folder: Path) -> dict[str, tuple[bytes, float]]:
    """Return the sound and the length of the clips that are there already."""
    if not (folder / "index.json").exists():
        return {}
    clips = json.loads((folder / "index.json").read_text(encoding="utf-8"))["clips"]
    blob = (folder / "voice.ogg").read_bytes()
    return {
        n: (blob[start : start + size], length) for n, (start, size, length, *_) in clips.items()
    }


def main(words: str, voices: str, folder: str) -> None:
    """Write voice.ogg and index.json; ``mp3.py`` then adds the MP3."""
    speaker = voice.Speaker(Path(voices))
    kept = kept_clips(Path(folder))
    blob = bytearray()
    clips: dict[str, tuple[int, int, float]] = {}
    for line in Path(words).read_text(encoding="utf-8").splitlines():
        name = line.rstrip(",.?")
        if name not in kept:
            text = line.replace(name, RESPELL.get(name, name)).replace(":", ",")
            sound = levelled(trimmed(speaker.say(text, VOICE, RATE, SPEED)))
            kept[name] = encoded(sound), round(len(sound) / RATE, 3)
            print(f"spoken: {name}, {len(sound) / RATE:.2f} s", file=sys.stderr)
        data, seconds = kept[name]
        clips[name] = (len(blob), len(data), seconds)
        blob += data
    index = {
        "voice": "Kokoro-82M af_heart (Apache-2.0)",
        "file": "voice.ogg",
        "sha256": hashlib.sha256(blob).hexdigest(),
        "clips": clips,
    }
    text = json.dumps(index, ensure_ascii=False, separators=(",", ":")) + "\n"
    (Path(folder) / "voice.ogg").write_bytes(blob)
    (Path(folder) / "index.json").write_text(text, encoding="utf-8")
    print(f"{len(blob)} bytes, {sum(c[2] for c in clips.values()):.0f} s, {len(clips)} clips")


if __name__ == "__main__":
    main(*sys.argv[1:4])
