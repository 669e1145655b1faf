"""A colour profile without its words: name, maker, copyright and whatever else is no colour.

A profile (ISO 15076-1, ICC.1:2022) is a header of 128 bytes, a table of tags and their data. Only
tags that say how colours are meant, and hold numbers alone, are copied, so a picture looks as it
did. Name and copyright, which every profile must have, are set to nothing.
"""

from __future__ import annotations

import struct

_HEADER, _ROW = 128, 12
_SIGNATURE = slice(36, 40)
_CLEARED = ((4, 8), (24, 36), (48, 56), (80, 84), (84, 100))  # CMM, date, device, creator, MD5
_COLOURS = frozenset(
    b"rXYZ gXYZ bXYZ rTRC gTRC bTRC kTRC wtpt bkpt chad lumi cicp gamt"
    b" A2B0 A2B1 A2B2 B2A0 B2A1 B2A2 D2B0 D2B1 D2B2 D2B3 B2D0 B2D1 B2D2 B2D3".split()
)
_NUMBERS = frozenset(b"XYZ |curv|para|sf32|mft1|mft2|mAB |mBA |mpet|cicp".split(b"|"))


def without_words(profile: bytes) -> bytes:
    """Return the profile with its colours alone; nothing for what is no profile, as viewers do."""
    try:
        rows = _rows(profile)
    except (struct.error, ValueError):
        return b""
    tags = [*_no_words(late=profile[8] >= 4), *rows]
    table, data = [struct.pack(">I", len(tags))], b""
    start = _HEADER + 4 + _ROW * len(tags)
    places: dict[bytes, int] = {}
    for name, content in tags:
        if content not in places:  # three channels often share one curve
            places[content] = start + len(data)
            data += content + bytes(-len(content) % 4)
        table.append(struct.pack(">4sII", name, places[content], len(content)))
    header = bytearray(profile[:_HEADER])
    for begin, end in _CLEARED:
        header[begin:end] = bytes(end - begin)
    header[0:4] = struct.pack(">I", start + len(data))
    return bytes(header) + b"".join(table) + data


def _rows(profile: bytes) -> list[tuple[bytes, bytes]]:
    """Return the tags that say how colours are meant, with their data; ValueError for none."""
    if profile[_SIGNATURE] != b"acsp":
        raise ValueError("no colour profile")
    (count,) = struct.unpack_from(">I", profile, _HEADER)
    found = []
    for row in range(min(count, 100)):
        name, at, size = struct.unpack_from(">4sII", profile, _HEADER + 4 + _ROW * row)
        content = profile[at : at + size]
        if name in _COLOURS and len(content) == size and content[:4] in _NUMBERS:
            found.append((name, content))
    return found


def _no_words(*, late: bool) -> list[tuple[bytes, bytes]]:
    """Return empty name and copyright; ``late`` versions write texts in several languages."""
    if late:
        empty = struct.pack(">4sIIIHHII", b"mluc", 0, 1, 12, 0x656E, 0x5553, 0, 28)  # en, US
        return [(b"desc", empty), (b"cprt", empty)]
    named = struct.pack(">4sII", b"desc", 0, 1) + bytes(79)  # a NUL, no Unicode, no Macintosh name
    return [(b"desc", named), (b"cprt", b"text" + bytes(5))]
