"""Phrase grammars: JSGF text compiled to a word graph, and sentences parsed against it.

The graph serves the decoder; the parser serves whoever wants to know what the words meant: which
tags they carry, and which rule matched which words. Both read the same tree, so they accept the
same sentences.

Weights: of alternatives with weights the likeliest costs nothing and the others the logarithm of
how much less likely they are; without weights, and in optionals and repeats, nothing costs
anything. So a grammar that states no preference has none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from joblog.errors import GrammarError
from joblog.speech import jsgf
from joblog.speech.automata import Automaton, Network, reduced, word_of
from joblog.speech.graph import Arc, WordGraph
from joblog.speech.linking import Linked, beside, decode_file, link
from joblog.speech.parsing import Parse, Span, best_parse

__all__ = ["Arc", "Grammar", "Parse", "Span", "WordGraph"]


@dataclass(frozen=True, eq=False)
class Grammar:
    """A compiled phrase grammar.

    ``name`` is the grammar's own name, ``text`` its JSGF text, ``source`` the file it came from.
    """

    name: str
    text: str
    source: str
    _linked: Linked

    @staticmethod
    def from_text(
        text: str, *, imports: Callable[[str], str] | None = None, source: str = "grammar"
    ) -> Grammar:
        """Compile JSGF text; ``imports`` returns the text of another grammar by its full name.

        Raises GrammarError with file and line for every mistake. The same text is compiled once.
        """
        if imports is None:
            return _compiled(text, source)
        return _compile(text, source, imports)

    @staticmethod
    def from_file(path: str | Path) -> Grammar:
        """Compile a JSGF file; imported grammars are looked for in its folder."""
        path = Path(path)
        return _compile(decode_file(path), str(path), beside(path))

    @cached_property
    def graph(self) -> WordGraph:
        """What may be said, from any public rule."""
        return _graph(self._linked)

    @property
    def vocabulary(self) -> frozenset[str]:
        """All words of the graph."""
        return self.graph.vocabulary

    def parse(self, words: Sequence[str] | str) -> Parse | None:
        """Return the parse of highest weight of a whole sentence, None where there is none."""
        given = words.split() if isinstance(words, str) else words
        lowered = tuple(word.lower() for word in given)
        if not self.graph.accepts(lowered):
            return None
        return best_parse(self._linked, lowered)

    def sentences(self, limit: int) -> Iterator[tuple[str, ...]]:
        """Yield up to ``limit`` sentences, shortest first."""
        return self.graph.sentences(limit)


def _compile(text: str, source: str, imports: Callable[[str], str] | None) -> Grammar:
    linked = link(text, source, imports)
    grammar = Grammar(linked.main.name, text, source, linked)
    if not any(grammar.graph.arcs):
        raise GrammarError(f"{source}: no sentence can be said with this grammar.")
    return grammar


@lru_cache(maxsize=32)
def _compiled(text: str, source: str) -> Grammar:
    return _compile(text, source, None)


def _graph(linked: Linked) -> WordGraph:
    parts: dict[str, Automaton] = {}
    for members, _ in linked.groups:
        parts.update(_Builder(linked, parts, members).automata())
    network = Network()
    start, final = network.state(), network.state()
    for name in linked.public:
        _embed(network, parts[name], start, final)
    whole = reduced(network, start, final)
    arcs = tuple(
        tuple(
            Arc(word_of(key), target, min(weight, 0.0), tags)
            for key, (weight, tags, target) in edges.items()
        )
        for edges in whole.edges
    )
    finals = {state: weight for state, (weight, _) in sorted(whole.ends.items())}
    final_tags = {state: tags for state, (_, tags) in sorted(whole.ends.items()) if tags}
    return WordGraph(0, finals, arcs, final_tags, whole.deterministic)


def _embed(
    network: Network, part: Automaton, src: int, dst: int, tags: tuple[str, ...] = ()
) -> None:
    """Copy ``part`` between two states; ``tags`` are met on entering."""
    states = [network.state() for _ in part.edges]
    network.empties[src].append((0.0, tags, states[0]))
    for state, edges in zip(states, part.edges, strict=True):
        for key, (weight, edge_tags, target) in edges.items():
            if weight or edge_tags:
                between = network.state()
                network.empties[state].append((weight, edge_tags, between))
                network.words[between].append((word_of(key), states[target]))
            else:
                network.words[state].append((word_of(key), states[target]))
    for index, (weight, end_tags) in part.ends.items():
        network.empties[states[index]].append((weight, end_tags, dst))


class _Builder:
    """Networks for rules that call each other (mostly a single one).

    No part ever adds an edge into the state it starts from or out of the one it ends in, so
    neighbours can share states.
    """

    def __init__(
        self, linked: Linked, parts: dict[str, Automaton], members: frozenset[str]
    ) -> None:
        self._linked = linked
        self._parts = parts
        self._network = Network()
        self._final = self._network.state()
        self._starts = {name: self._network.state() for name in sorted(members)}

    def automata(self) -> dict[str, Automaton]:
        """Return the smallest automaton of each member."""
        for name, start in self._starts.items():
            self._add(self._linked.rules[name].body, start, self._final, ())
        return {
            name: reduced(self._network, start, self._final) for name, start in self._starts.items()
        }

    def _add(self, node: jsgf.Node, src: int, dst: int, entry: tuple[str, ...]) -> None:
        """Join ``src`` to ``dst``; a recursive call hands out the tags ``entry`` on entering."""
        network = self._network
        if isinstance(node, jsgf.Words):
            self._add_words(node.words, src, dst)
        elif isinstance(node, jsgf.Reference):
            target = self._linked.targets[id(node)]
            if target in self._starts:
                # The call is the last item, so what follows it is the end of both rules: a loop.
                network.empties[src].append((0.0, entry, self._starts[target]))
            else:
                _embed(network, self._parts[target], src, dst)
        elif isinstance(node, jsgf.Sequence):
            for item in node.items[:-1]:
                between = network.state()
                self._add(item, src, between, entry)
                src = between
            self._add(node.items[-1], src, dst, entry)
        elif isinstance(node, jsgf.Alternatives):
            heaviest = max(node.weights)
            for option, weight in zip(node.options, node.weights, strict=True):
                if weight > 0:
                    inner = network.state()
                    network.empties[src].append((math.log(weight / heaviest), (), inner))
                    self._add(option, inner, dst, entry)
        elif isinstance(node, jsgf.Repeat):
            first, last = network.state(), network.state()
            network.empties[src].append((0.0, (), first))
            self._add(node.item, first, last, ())
            network.empties[last].append((0.0, (), first))
            network.empties[last].append((0.0, (), dst))
            if node.may_be_absent:
                network.empties[src].append((0.0, (), dst))
        elif isinstance(node, jsgf.Tagged):
            before_tag = network.state()
            self._add(node.item, src, before_tag, (*entry, node.tag))
            network.empties[before_tag].append((0.0, (node.tag,), dst))

    def _add_words(self, words: tuple[str, ...], src: int, dst: int) -> None:
        if not words:
            self._network.empties[src].append((0.0, (), dst))
        for index, word in enumerate(words):
            following = dst if index == len(words) - 1 else self._network.state()
            self._network.words[src].append((word, following))
            src = following
