"""The phrase grammar as the model sees it: words spelt in the model's own tokens.

``joblog.speech.surface`` says how each word may be written ('36' for 'thirty six'); here each
written form becomes a path of tokens. Paths that leave a state share their beginnings as a tree, so
a beam search sees at each place the tokens that may come next. Everything is built when it is first
reached.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from joblog.speech.graph import WordGraph
from joblog.speech.surface import Surfaces

Words = tuple[str, ...]


class Place(NamedTuple):
    """Somewhere in the surface graph: a state, and the tokens of a text begun there."""

    state: int
    begun: tuple[int, ...] = ()


class Turn(NamedTuple):
    """Where a token leads, the words that it completes, and what the grammar says of the way."""

    place: Place
    words: Words
    weight: float
    tags: tuple[str, ...]


Tree = dict[Place, dict[int, list[Turn]]]
KEPT_TURNS = 10_000  # of a grammar: 4 MB. One phrase reaches some 1 000


class Tokeniser:
    """The model's byte-pair encoding (subword tokens). Threads may share it."""

    def __init__(self, path: Path) -> None:
        from tokenizers import Tokenizer

        self._tokeniser = Tokenizer.from_file(str(path))
        self._encode = lru_cache(maxsize=100_000)(self._encode_fresh)

    def _encode_fresh(self, text: str) -> tuple[int, ...]:
        return tuple(self._tokeniser.encode(text, add_special_tokens=False).ids)

    def encode(self, text: str) -> tuple[int, ...]:
        """Return the tokens of ``text``."""
        return self._encode(text)

    def decode(self, tokens: Sequence[int]) -> str:
        """Return the text of tokens, without special ones."""
        return str(self._tokeniser.decode(list(tokens), skip_special_tokens=True))

    def special(self, name: str) -> int:
        """Return the number of a special token such as '<|endoftext|>'; KeyError for none."""
        number = self._tokeniser.token_to_id(name)
        if number is None:
            raise KeyError(name)
        return int(number)


class Spelling:
    """A word graph spelt in tokens. Threads may share it.

    Beside the start, where each search begins, it keeps some ``KEPT_TURNS`` of what searches have
    reached; what was dropped is built anew, alike.
    """

    def __init__(self, graph: WordGraph, encode: Callable[[str], tuple[int, ...]]) -> None:
        self.surfaces = Surfaces(graph, punctuation=False)
        self._encode = encode
        self._kept: Tree = {}
        self._first: Tree = {}  # what may come at the start
        self._count = 0
        self._lock = Lock()
        self.start = Place(self.surfaces.start)

    @property
    def kept(self) -> int:
        """How many turns are kept now."""
        return self._count

    def turns(self, place: Place) -> Mapping[int, Sequence[Turn]]:
        """Return the tokens that may come at ``place`` and where each leads."""
        known = self._kept.get(place)
        if known is None:
            with self._lock:
                known = self._kept.get(place)  # another thread may have been quicker
                if known is None:
                    self._grow(place.state)
                    known = self._kept.setdefault(place, {})
        return known

    def _grow(self, state: int) -> None:
        tree, count = self._tree(state)
        if state == self.surfaces.start:
            self._first = tree
        elif self._count + count > KEPT_TURNS:
            self._kept, self._count = dict(self._first), 0
        self._kept |= tree
        self._count += count

    def _tree(self, state: int) -> tuple[Tree, int]:
        """Return all that may be written next at a state, and how many turns that are."""
        tree: Tree = {Place(state): {}}
        count = 0
        for arc in self.surfaces.arcs(state):
            tokens = self._encode(arc.text)
            here = Place(state)
            for token in tokens[:-1]:
                there = Place(state, (*here.begun, token))
                ways = tree.setdefault(here, {}).setdefault(token, [])
                if not any(way.place == there for way in ways):
                    ways.append(Turn(there, (), 0.0, ()))
                    count += 1
                here = there
            turn = Turn(Place(arc.next), arc.spoken, arc.weight, arc.tags)
            last = tree.setdefault(here, {}).setdefault(tokens[-1], [])
            if turn not in last:
                last.append(turn)
                count += 1
        return tree, count


class TokenGraph:
    """A spelling with what the job expects; ``bonus`` maps tags to natural-log additions."""

    def __init__(self, spelling: Spelling, bonus: Mapping[str, float] | None = None) -> None:
        self._spelling = spelling
        self._bonus = dict(bonus or {})
        self.start = spelling.start
        self.turns = spelling.turns

    def weight(self, turn: Turn) -> float:
        """Return what grammar and job say of a way."""
        return turn.weight + self._bonus_of(turn.tags)

    def ending(self, place: Place) -> float | None:
        """Return the weight of ending the sentence here, None where it may not end."""
        weight = None if place.begun else self._spelling.surfaces.final(place.state)
        if weight is None:
            return None
        return weight + self._bonus_of(self._spelling.surfaces.final_tags(place.state))

    def _bonus_of(self, tags: Sequence[str]) -> float:
        return sum(self._bonus.get(tag, 0.0) for tag in tags) if tags and self._bonus else 0.0
