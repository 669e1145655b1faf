"""Write the clips as MP3, too, for browsers that decode no Ogg Opus (Safari before 18.4).

    python tools/readback/mp3.py joblog/readback/static

Each clip of voice.ogg becomes an MP3 stream of its own in voice.mp3; its place there is added to its
line in the index. Prints the index's hash.
"""

from __future__ import annotations

import hashlib
import io
import json
import sys
from pathlib import Path

import soundfile

COMPRESSION = 0.93  # of libsndfile's scale: about 24 kbit/s


def mp3_of(ogg: bytes) -> bytes:
    """Return a clip as one MP3 stream, whose header says where its sound begins and ends."""
    sound, rate = soundfile.read(io.BytesIO(ogg), dtype="float32")
    packed = io.BytesIO()
    soundfile.write(
        packed,
        sound,
        rate,
        format="MP3",
        subtype="MPEG_LAYER_III",
        bitrate_mode="AVERAGE",
        compression_level=COMPRESSION,
    )
    return packed.getvalue()


def main(folder: Path) -> None:
    """Write voice.mp3 and the index anew."""
    index = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    ogg = (folder / index["file"]).read_bytes()
    blob = bytearray()
    for name, (start, size, seconds, *_) in index["clips"].items():
        data = mp3_of(ogg[start : start + size])
        index["clips"][name] = (start, size, seconds, len(blob), len(data))
        blob += data
    index["mp3"] = {"file": "voice.mp3", "sha256": hashlib.sha256(blob).hexdigest()}
    text = json.dumps(index, ensure_ascii=False, separators=(",", ":")) + "\n"
    (folder / "voice.mp3").write_bytes(blob)
    (folder / "index.json").write_text(text, encoding="utf-8")
    print(f"{len(blob)} bytes, {len(index['clips'])} clips")
    print(hashlib.sha256(text.encode()).hexdigest())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
