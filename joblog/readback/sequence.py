"""From a spoken reply to what is played: clips, pauses, and words that no clip has.

The longest clip that fits is taken: 'drain plug out' is one clip where there is one, else three.
A clip's name is its words in lower case; punctuation inside a name must stand in the text too.
What no clip has (a name, a word of a shop's own sheet) stays text, for the browser's own voice.
"""

from __future__ import annotations

import re
from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Any, Literal

PAUSES = {",": 0.08, ":": 0.12, ";": 0.15, ".": 0.25, "?": 0.25, "!": 0.25}  # seconds
BETWEEN = 0.01  # seconds between two clips without punctuation
LONGEST = 8  # words and marks of the longest clip's name, but for cautions
CAUTION = "Caution:"  # behind it stands a sentence of the sheet's own, one clip where it has one
FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_NUMBER = re.compile(r"[0-9]+(\.[0-9]+)?")
_MARKS = re.compile(r"(.*?)([,:;.?!]*)$", re.DOTALL)
Kind = Literal["clip", "pause", "text"]


@dataclass(frozen=True)
class Piece:
    """One thing to play: a clip by its name, a pause of ``seconds``, or free ``text``."""

    kind: Kind
    name: str = ""
    seconds: float = 0.0

    def as_json(self) -> dict[str, Any]:
        """Return the piece as a browser gets it."""
        return {self.kind: self.seconds if self.kind == "pause" else self.name}


def pieces_of(text: str, clips: Container[str]) -> list[Piece]:
    """Return what is played for ``text``; ``clips`` holds the names of the clips there are."""
    tokens = [token for word in text.replace("’", "'").split() for token in _tokens(word)]
    pieces: list[Piece] = []
    place = 0
    while place < len(tokens):
        if clip_name(tokens[max(0, place - 2) : place]) == CAUTION.lower():
            sentence = _sentence(tokens[place:])
            pieces = [*pieces, _whole(sentence, clips)]
            place += len(sentence)
            continue
        found, used = _longest(tokens[place:], clips)
        if found:
            pieces += [*_gap(pieces), *(Piece("clip", name) for name in found)]
        elif tokens[place] in PAUSES:
            pieces = _paused(pieces, PAUSES[tokens[place]])
        else:
            pieces = _free(pieces, tokens[place])
        place += used
    return pieces[:-1] if pieces and pieces[-1].kind == "pause" else pieces


def _tokens(word: str) -> list[str]:
    """Return a word with its marks apart; a plain number as its figures, anything odd as it is."""
    body, marks = _MARKS.fullmatch(word).groups()  # type: ignore[union-attr]
    if _NUMBER.fullmatch(body):
        figures = ["point" if figure == "." else FIGURES[int(figure)] for figure in body]
        return [*figures, *marks]
    return [body, *marks] if body else [*marks]


def free_text(pieces: Sequence[Piece]) -> list[str]:
    """Return the parts that no clip has."""
    return [piece.name for piece in pieces if piece.kind == "text"]


def clip_name(tokens: Sequence[str]) -> str:
    """Return the name under which a clip of these words and marks is kept."""
    return re.sub(r" (?=[,:;.?!])", "", " ".join(token.lower() for token in tokens))


def _longest(tokens: Sequence[str], clips: Container[str]) -> tuple[list[str], int]:
    """Return the clips that say the most of the first tokens, and how many tokens they say."""
    for length in range(min(LONGEST, len(tokens)), 0, -1):
        if tokens[length - 1] in PAUSES:
            continue  # marks at the end are pauses
        name = clip_name(tokens[:length])
        if name in clips:
            return [name], length
    parts = tokens[0].lower().split("-")
    if len(parts) > 1 and all(part in clips for part in parts):
        return parts, 1
    return [], 1


def _sentence(tokens: Sequence[str]) -> list[str]:
    """Return the first tokens up to the mark that ends their sentence."""
    ends = (place for place, token in enumerate(tokens) if token in (".", "?", "!"))
    return list(tokens[: next(ends, len(tokens))])


def _whole(tokens: Sequence[str], clips: Container[str]) -> Piece:
    """Return a sentence as its clip; else all of it as free text: one voice, not two in turn."""
    name = clip_name(tokens)
    return (
        Piece("clip", name)
        if name in clips
        else Piece("text", re.sub(" (?=[,:;])", "", " ".join(tokens)))
    )


def _gap(pieces: Sequence[Piece]) -> list[Piece]:
    together = pieces and pieces[-1].kind == "clip"
    return [Piece("pause", seconds=BETWEEN)] if together else []


def _paused(pieces: list[Piece], seconds: float) -> list[Piece]:
    if not pieces:
        return []
    if pieces[-1].kind == "pause":
        return [*pieces[:-1], Piece("pause", seconds=max(seconds, pieces[-1].seconds))]
    return [*pieces, Piece("pause", seconds=seconds)]


def _free(pieces: list[Piece], token: str) -> list[Piece]:
    if pieces and pieces[-1].kind == "text":
        return [*pieces[:-1], Piece("text", f"{pieces[-1].name} {token}")]
    return [*pieces, Piece("text", token)]
