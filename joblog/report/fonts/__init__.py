"""The report's fonts, all under the SIL Open Font License 1.1, and which letters they cover.

A PDF/A file may not hold a letter without a shape, so the report asks here first. The character
maps are read from the font files themselves (OpenType ``cmap``, formats 4 and 12), so a font that
a shop adds to this folder counts at once.
"""

from __future__ import annotations

import struct
from functools import lru_cache
from pathlib import Path

FOLDER = Path(__file__).parent
# Characters without a shape of their own: they steer direction, joining and line breaks.
_INVISIBLE = frozenset("\u200b\u200c\u200d\u2068\u2069\ufe0e\ufe0f\u202f\n")


def covers() -> frozenset[int]:
    """Return the code points that at least one of the fonts has a shape for."""
    return _covered()


@lru_cache
def _covered() -> frozenset[int]:
    points: set[int] = set()
    for path in sorted([*FOLDER.glob("*.ttf"), *FOLDER.glob("*.otf")]):
        points |= cmap(path.read_bytes())
    return frozenset(points)


def not_covered(characters: set[str]) -> set[str]:
    """Return those of ``characters`` that no font has a shape for."""
    known = _covered()
    return {char for char in characters if ord(char) not in known and char not in _INVISIBLE}


def cmap(font: bytes) -> set[int]:
    """Return the code points that an OpenType or TrueType font maps to a shape.

    Source: OpenType specification, table 'cmap', subtable formats 4 and 12.
    """
    (tables,) = struct.unpack_from(">H", font, 4)
    start = None
    for i in range(tables):
        tag, _, offset, _ = struct.unpack_from(">4sLLL", font, 12 + 16 * i)
        if tag == b"cmap":
            start = offset
    if start is None:
        return set()
    points: set[int] = set()
    (count,) = struct.unpack_from(">H", font, start + 2)
    for i in range(count):
        platform, encoding, offset = struct.unpack_from(">HHL", font, start + 4 + 8 * i)
        if (platform, encoding) in {(0, 3), (0, 4), (0, 6), (3, 1), (3, 10)}:
            points |= _subtable(font, start + offset)
    return points


def _subtable(font: bytes, at: int) -> set[int]:
    (form,) = struct.unpack_from(">H", font, at)
    if form == 12:
        (groups,) = struct.unpack_from(">L", font, at + 12)
        return {
            point
            for i in range(groups)
            for first, last, _ in [struct.unpack_from(">LLL", font, at + 16 + 12 * i)]
            for point in range(first, last + 1)
        }
    return _segments(font, at) if form == 4 else set()


def _segments(font: bytes, at: int) -> set[int]:
    (doubled,) = struct.unpack_from(">H", font, at + 6)
    count = doubled // 2
    ends = struct.unpack_from(f">{count}H", font, at + 14)
    starts = struct.unpack_from(f">{count}H", font, at + 16 + doubled)
    deltas = struct.unpack_from(f">{count}H", font, at + 16 + 2 * doubled)
    ranges_at = at + 16 + 3 * doubled
    ranges = struct.unpack_from(f">{count}H", font, ranges_at)
    points = set()
    for i in range(count):
        for point in range(starts[i], min(ends[i], 0xFFFE) + 1):
            if ranges[i] == 0:
                glyph = (point + deltas[i]) % 65536
            else:
                place = ranges_at + 2 * i + ranges[i] + 2 * (point - starts[i])
                (glyph,) = struct.unpack_from(">H", font, place)
            if glyph:
                points.add(point)
    return points
