"""The phrase grammar as the model sees it: words spelt in the model's own tokens.

``joblog.speech.surface`` says how each word may be written ('36' for 'thirty six'); here each
written form becomes a path of tokens. Paths that leave a state share their beginnings as a tree, so
a beam search sees at each place the tokens that may come next. Everything is built when it is first
reached, and kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from joblog.speech.graph import WordGraph
from joblog.speech.surface import SurfaceGraph

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


class Tokeniser:
    """The model's byte-pair encoding."""

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
        """Return the number of a special token such as '<|endoftext|>'."""
        number = self._tokeniser.token_to_id(name)
        if number is None:
            raise KeyError(name)
        return int(number)


class TokenGraph:
    """A word graph spelt in tokens; ``bonus`` maps tags to natural-log additions."""

    def __init__(
        self,
        graph: WordGraph,
        surfaces: SurfaceGraph,
        encode: Callable[[str], tuple[int, ...]],
        bonus: Mapping[str, float] | None = None,
    ) -> None:
        self._graph = graph
        self._surfaces = surfaces
        self._encode = encode
        self._bonus = dict(bonus or {})
        self._turns: dict[Place, dict[int, list[Turn]]] = {}
        self.start = Place(surfaces.start)

    def turns(self, place: Place) -> Mapping[int, Sequence[Turn]]:
        """Return the tokens that may come at ``place`` and where each leads."""
        known = self._turns.get(place)
        if known is None:
            self._grow(place.state)
            known = self._turns.setdefault(place, {})
        return known

    def ending(self, place: Place) -> float | None:
        """Return the weight of ending the sentence here, None where it may not end."""
        weight = None if place.begun else self._surfaces.finals.get(place.state)
        if weight is None:
            return None
        origin = self._surfaces.origin[place.state]
        return weight + self._bonus_of(self._graph.final_tags.get(origin, ()))

    def _bonus_of(self, tags: Sequence[str]) -> float:
        return sum(self._bonus.get(tag, 0.0) for tag in tags) if self._bonus else 0.0

    def _grow(self, state: int) -> None:
        """Build the tree of everything that may be written next at a state."""
        self._turns.setdefault(Place(state), {})
        for arc in self._surfaces.arcs[state]:
            tokens = self._encode(arc.text)
            here = Place(state)
            for token in tokens[:-1]:
                there = Place(state, (*here.begun, token))
                ways = self._turns.setdefault(here, {}).setdefault(token, [])
                if not any(way.place == there for way in ways):
                    ways.append(Turn(there, (), 0.0))
                here = there
            turn = Turn(Place(arc.next), arc.spoken, arc.weight + self._bonus_of(arc.tags))
            last = self._turns.setdefault(here, {}).setdefault(tokens[-1], [])
            if turn not in last:
                last.append(turn)
