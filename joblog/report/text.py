"""Text that came from people, made harmless and printable.

Notes, names and labels may hold anything. Before they reach a page they lose control characters and
direction overrides (which can make a line read differently from what is stored); what stays is
plain text, which HTML escapes and the typesetter takes as data. The record keeps the original.
"""

from __future__ import annotations

import re
import unicodedata

_BIDI = "\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_INVISIBLE = "\u00ad\u200b\u2060\ufeff\ufff9\ufffa\ufffb\u180e"
_REMOVED = str.maketrans(dict.fromkeys(_BIDI + _INVISIBLE))
_LONG = re.compile(r"[^\s\u200b-]{25,}")
_BREAK_EVERY = 4
_MAX_CHARACTERS = 4000
_MAX_MARKS = 3  # combining marks on one letter; more climb over the lines above
ISOLATE, POP = "\u2068", "\u2069"


def clean(text: object) -> str:
    """Return ``text`` as one line without anything that acts on the page instead of being read."""
    plain = "".join(map(_readable, str(text).translate(_REMOVED)))
    kept: list[str] = []
    marks = 0
    for char in unicodedata.normalize("NFC", plain):  # what stood between letters is gone by now
        marks = marks + 1 if unicodedata.category(char) == "Mn" else 0
        if marks <= _MAX_MARKS:
            kept.append(char)
    line = re.sub(r" {2,}", " ", "".join(kept)).strip()
    return line if len(line) <= _MAX_CHARACTERS else line[:_MAX_CHARACTERS] + " …"


def _readable(char: str) -> str:
    """Return a space for any blank, nothing for what can't be read, and the character else."""
    if char.isspace():
        return " "
    unread = (
        unicodedata.category(char) in {"Cc", "Cs", "Cn", "Co"} or 0xE0000 <= ord(char) <= 0xE0FFF
    )
    return "" if unread else char


def is_rtl(text: str) -> bool:
    """Return whether ``text`` has letters that run from right to left."""
    return any(unicodedata.bidirectional(char) in {"R", "AL"} for char in text)


def isolate(text: str) -> str:
    """Return ``text`` fenced so that its direction can't reorder the sentence around it."""
    return f"{ISOLATE}{text}{POP}" if is_rtl(text) else text


def breakable(text: str) -> str:
    """Return ``text`` with invisible places to break a word too long for a narrow column."""

    def split(match: re.Match[str]) -> str:
        word = match.group()
        step = _BREAK_EVERY
        return "\u200b".join(word[i : i + step] for i in range(0, len(word), step))

    return _LONG.sub(split, text)


def sentence(text: str) -> str:
    """Return ``text`` with a capital at the start and a stop at the end."""
    text = clean(text)
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?…:" or text[-1] in "”»\"'" else text + "."
