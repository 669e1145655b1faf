"""Word graphs: what may be said, as states joined by words.

A graph has no empty arcs. Weights are natural logarithms, 0 for the likeliest choice and negative
for those that the grammar calls less likely; they add along a path. Tags stand on the first arc at
which it is certain that they will be met, so that a decoder can use them early.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import overload

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Arc:
    """One word that leads to state ``next``; ``weight`` is a natural logarithm."""

    word: str
    next: int
    weight: float = 0.0
    tags: tuple[str, ...] = ()


class PackedArcs(Sequence[tuple[Arc, ...]]):
    """The arcs of many states in a few arrays: a tenth of the room that as many objects take."""

    def __init__(self, states: Iterable[Iterable[Arc]]) -> None:
        words: dict[str, int] = {}
        tags: dict[tuple[str, ...], int] = {}
        rows: list[tuple[int, int, float, int]] = []
        bounds = [0]
        for leaving in states:
            for arc in leaving:
                word = words.setdefault(arc.word, len(words))
                rows.append((word, arc.next, arc.weight, tags.setdefault(arc.tags, len(tags))))
            bounds.append(len(rows))
        self.words, self._numbers, self._tags = tuple(words), words, tuple(tags)
        self._bounds = np.array(bounds, np.int32)
        self._word = np.array([row[0] for row in rows], np.int32)
        self._next = np.array([row[1] for row in rows], np.int32)
        self._weight = np.array([row[2] for row in rows], np.float64)
        self._tag = np.array([row[3] for row in rows], np.int32)

    def __len__(self) -> int:
        return len(self._bounds) - 1

    @overload
    def __getitem__(self, state: int) -> tuple[Arc, ...]: ...
    @overload
    def __getitem__(self, state: slice) -> tuple[tuple[Arc, ...], ...]: ...
    def __getitem__(self, state: int | slice) -> tuple[Arc, ...] | tuple[tuple[Arc, ...], ...]:
        if isinstance(state, slice):
            return tuple(self[one] for one in range(*state.indices(len(self))))
        first = range(len(self))[state]
        return self._made(slice(*self._bounds[first : first + 2].tolist()))

    def by_word(self, state: int, word: str) -> tuple[Arc, ...]:
        """Return the arcs of ``state`` that carry ``word``."""
        first, end = self._bounds[state : state + 2].tolist()
        there = np.flatnonzero(self._word[first:end] == self._numbers.get(word, -1))
        return self._made(there + first)

    def _made(self, which: slice | NDArray[np.intp]) -> tuple[Arc, ...]:
        columns = (self._word, self._next, self._weight, self._tag)
        rows = zip(*(column[which].tolist() for column in columns), strict=True)
        return tuple(Arc(self.words[w], to, weight, self._tags[t]) for w, to, weight, t in rows)

    @property
    def size(self) -> int:
        """Number of arcs."""
        return len(self._word)


@dataclass(frozen=True)
class WordGraph:
    """States 0..n-1 with the arcs that leave each.

    ``finals`` maps the states in which a sentence may end to the weight of ending there, and
    ``final_tags`` those whose sentence still owes tags. ``deterministic`` says that no state has
    two arcs with the same word.
    """

    start: int
    finals: Mapping[int, float]
    arcs: PackedArcs
    final_tags: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    deterministic: bool = True

    @property
    def arc_count(self) -> int:
        """Number of arcs."""
        return self.arcs.size

    @property
    def vocabulary(self) -> frozenset[str]:
        """All words on arcs."""
        return frozenset(self.arcs.words)

    def accepts(self, words: Sequence[str]) -> bool:
        """Say whether the words are a whole sentence of the graph."""
        return self.score(words) is not None

    def score(self, words: Sequence[str]) -> float | None:
        """Weight of the best path for a whole sentence, or None where there is none."""
        here = {self.start: 0.0}
        for word in words:
            there: dict[int, float] = {}
            for state, weight in here.items():
                for arc in self.arcs.by_word(state, word):
                    total = weight + arc.weight
                    there[arc.next] = max(total, there.get(arc.next, -math.inf))
            here = there
        ends = [
            weight + self.finals[state] for state, weight in here.items() if state in self.finals
        ]
        return max(ends) if ends else None

    def sentences(self, limit: int) -> Iterator[tuple[str, ...]]:
        """Yield up to ``limit`` sentences, shortest first."""
        togo = self._words_to_end()
        # (words so far + words still needed, order of arrival) keeps the queue on a shortest path
        queue: list[tuple[int, int, int, tuple[str, ...], bool]] = []
        serial = 0
        heapq.heappush(queue, (togo[self.start], serial, self.start, (), False))
        while queue and limit > 0:
            _, _, state, words, ended = heapq.heappop(queue)
            if ended:
                limit -= 1
                yield words
                continue
            if state in self.finals:
                serial += 1
                heapq.heappush(queue, (len(words), serial, state, words, True))
            for arc in self.arcs[state]:
                serial += 1
                cost = len(words) + 1 + togo[arc.next]
                heapq.heappush(queue, (cost, serial, arc.next, (*words, arc.word), False))

    def sample(self, count: int, seed: int = 0) -> Iterator[tuple[str, ...]]:
        """Yield ``count`` random walks (repeats possible), for tests and documents."""
        random = np.random.default_rng(seed)
        for _ in range(count):
            words: list[str] = []
            state = self.start
            while True:
                ways = len(self.arcs[state]) + (state in self.finals)
                choice = int(random.integers(ways))
                if choice == len(self.arcs[state]):
                    break
                arc = self.arcs[state][choice]
                words.append(arc.word)
                state = arc.next
            yield tuple(words)

    def _words_to_end(self) -> list[int]:
        before: list[list[int]] = [[] for _ in self.arcs]
        for state, arcs in enumerate(self.arcs):
            for arc in arcs:
                before[arc.next].append(state)
        far = len(self.arcs) + 1
        distance = [far] * len(self.arcs)
        wave = list(self.finals)
        for state in wave:
            distance[state] = 0
        for state in wave:  # the list grows while it is walked: breadth first
            for previous in before[state]:
                if distance[previous] == far:
                    distance[previous] = distance[state] + 1
                    wave.append(previous)
        return distance
