"""Word graphs: what may be said, as states joined by words.

A graph has no empty arcs. Weights are natural logarithms, 0 for the likeliest choice and negative
for those that the grammar calls less likely; they add along a path. Tags stand on the first arc at
which it is certain that they will be met, so that a decoder can use them early.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True, slots=True)
class Arc:
    """One word that leads to state ``next``; ``weight`` is a natural logarithm."""

    word: str
    next: int
    weight: float = 0.0
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class WordGraph:
    """States 0..n-1 with the arcs that leave each.

    ``finals`` maps the states in which a sentence may end to the weight of ending there, and
    ``final_tags`` those whose sentence still owes tags. ``deterministic`` says that no state has
    two arcs with the same word.
    """

    start: int
    finals: Mapping[int, float]
    arcs: tuple[tuple[Arc, ...], ...]
    final_tags: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    deterministic: bool = True

    @property
    def arc_count(self) -> int:
        """Number of arcs."""
        return sum(map(len, self.arcs))

    @property
    def vocabulary(self) -> frozenset[str]:
        """All words on arcs."""
        return frozenset(arc.word for arcs in self.arcs for arc in arcs)

    def accepts(self, words: Sequence[str]) -> bool:
        """Say whether the words are a whole sentence of the graph."""
        return self.score(words) is not None

    def score(self, words: Sequence[str]) -> float | None:
        """Weight of the best path for a whole sentence, or None where there is none."""
        here = {self.start: 0.0}
        for word in words:
            there: dict[int, float] = {}
            for state, weight in here.items():
                for arc in self.arcs[state]:
                    if arc.word == word:
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
