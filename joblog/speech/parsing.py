"""Which rules matched which words of a sentence, and the tags met on the way.

A memoised descent over the grammar's tree: at every word, every rule that can start with it is
tried once. Of several parses the one with the highest weight wins, the first written on a tie.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from joblog.speech import jsgf
from joblog.speech.linking import Linked, with_room


@dataclass(frozen=True, slots=True)
class Span:
    """Rule ``rule`` (its plain name) matched the words ``start`` up to, not including, ``end``."""

    rule: str
    start: int
    end: int


@dataclass(frozen=True)
class Parse:
    """A whole sentence understood; ``spans`` come in order of start, outer before inner."""

    words: tuple[str, ...]
    tags: tuple[str, ...]
    spans: tuple[Span, ...]
    weight: float = 0.0

    def text(self, rule: str) -> str | None:
        """Return the words that ``rule`` matched first, None where it matched none."""
        for span in self.spans:
            if span.rule == rule:
                return " ".join(self.words[span.start : span.end])
        return None


# What was met on the way: tags (text) and spans, in order; with the weight.
Way = tuple[float, tuple[str | Span, ...]]
Ends = Mapping[int, Way]


def best_parse(linked: Linked, words: tuple[str, ...]) -> Parse | None:
    """Return the best parse of a whole sentence from any public rule."""
    # Right recursion leads through the rules anew with every word.
    frames = (1 + len(words)) * linked.frames
    best = with_room(lambda: _best_way(linked, words), frames, linked.main.source)
    if best is None:
        return None
    tags = tuple(item for item in best[1] if isinstance(item, str))
    spans = tuple(item for item in best[1] if isinstance(item, Span))
    return Parse(words, tags, spans, best[0])


def _best_way(linked: Linked, words: tuple[str, ...]) -> Way | None:
    matcher = _Matcher(linked, words)
    best: Way | None = None
    for name in linked.public:
        way = matcher.rule(name, 0).get(len(words))
        if way is not None and (best is None or way[0] > best[0] + 1e-12):
            best = way
    return best


def _offer(ends: dict[int, Way], end: int, way: Way) -> bool:
    if end in ends and way[0] <= ends[end][0] + 1e-12:
        return False
    ends[end] = way
    return True


class _Matcher:
    def __init__(self, linked: Linked, words: tuple[str, ...]) -> None:
        self._linked = linked
        self._words = words
        self._starts = linked.starts
        self._known: dict[tuple[str, int], Ends] = {}
        self._busy: set[tuple[str, int]] = set()
        self._cut: set[tuple[str, int]] = set()

    def rule(self, name: str, at: int) -> Ends:
        """All places where ``name`` can end when it starts at word ``at``."""
        key = (name, at)
        if key in self._known:
            return self._known[key]
        if key in self._busy:
            # A call back to itself without a word in between can add no sentence.
            self._cut.add(key)
            return {}
        self._busy.add(key)
        plain = self._linked.rules[name].name
        ends: dict[int, Way] = {}
        for end, (weight, met) in self._match(self._linked.rules[name].body, at).items():
            span = (Span(plain, at, end),) if end > at else ()
            ends[end] = (weight, span + met)
        self._busy.discard(key)
        self._cut.discard(key)
        if not self._cut:  # else the answer is only good inside the rule that is still busy
            self._known[key] = ends
        return ends

    def _match(self, node: jsgf.Node, at: int) -> Ends:  # noqa: PLR0911 - one for each kind of node
        if isinstance(node, jsgf.Words):
            end = at + len(node.words)
            return {end: (0.0, ())} if self._words[at:end] == node.words else {}
        if isinstance(node, jsgf.Reference):
            return self.rule(self._linked.targets[id(node)], at)
        if isinstance(node, jsgf.Sequence):
            return self._sequence(node, at)
        if isinstance(node, jsgf.Alternatives):
            return self._alternatives(node, at)
        if isinstance(node, jsgf.Repeat):
            return self._repeat(node, at)
        if isinstance(node, jsgf.Tagged):
            inner = self._match(node.item, at)
            return {end: (weight, (*met, node.tag)) for end, (weight, met) in inner.items()}
        return {}

    def _sequence(self, node: jsgf.Sequence, at: int) -> Ends:
        here: Ends = {at: (0.0, ())}
        for item in node.items:
            there: dict[int, Way] = {}
            for start, (weight, met) in here.items():
                for end, (more, new) in self._match(item, start).items():
                    _offer(there, end, (weight + more, met + new))
            here = there
        return here

    def _alternatives(self, node: jsgf.Alternatives, at: int) -> Ends:
        ends: dict[int, Way] = {}
        heaviest = max(node.weights)
        word = self._words[at] if at < len(self._words) else ""
        for option, weight in zip(node.options, node.weights, strict=True):
            starts = self._starts[id(option)]
            if weight > 0 and (starts is None or word in starts):
                cost = math.log(weight / heaviest)
                for end, (more, met) in self._match(option, at).items():
                    _offer(ends, end, (cost + more, met))
        return ends

    def _repeat(self, node: jsgf.Repeat, at: int) -> Ends:
        ends: dict[int, Way] = {}
        todo: list[tuple[int, Way]] = [(at, (0.0, ()))]
        while todo:
            start, (weight, met) = todo.pop()
            for end, (more, new) in self._match(node.item, start).items():
                way = (weight + more, met + new)
                if _offer(ends, end, way) and end > start:
                    todo.append((end, way))
        if node.may_be_absent:
            _offer(ends, at, (0.0, ()))
        return ends
