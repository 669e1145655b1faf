"""From a grammar's tree to its word graph: an automaton for each rule, then all together."""

from __future__ import annotations

import math
from collections.abc import Callable

from joblog.speech import jsgf
from joblog.speech.automata import Automaton, Network, reduced, word_of
from joblog.speech.graph import Arc, WordGraph
from joblog.speech.linking import Linked


def word_graph(linked: Linked) -> WordGraph:
    """Return the smallest deterministic graph of all public rules."""
    parts: dict[str, Automaton] = {}
    for members, _ in linked.groups:
        parts.update(_Builder(linked, parts, members).automata())
    network = Network()
    start, final = network.state(), network.state()
    for name in linked.public:
        _embed(network, parts[name], start, final)
    whole = _Opener(parts).opened(reduced(network, start, final))
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


# A rule with more edges than this is first carried along closed, as if it were a single word, and
# opened at the end. Sixty phrases that end in a number then share one copy of the number's graph
# before it is ever written out: a job's grammar compiles about ten times faster.
OPEN_EDGES = 40
CLOSED = "\1"  # no word starts with it


class _Opener:
    """Replaces closed rules by their automata; each rule is worked out once."""

    def __init__(self, parts: dict[str, Automaton]) -> None:
        self._parts = parts
        self._opened: dict[str, Automaton] = {}

    def rule(self, name: str) -> Automaton:
        """Return the open automaton of a rule."""
        if name not in self._opened:
            self._opened[name] = self.opened(self._parts[name])
        return self._opened[name]

    def opened(self, automaton: Automaton) -> Automaton:
        """Return ``automaton`` with nothing closed in it."""
        if not any(key.startswith(CLOSED) for edges in automaton.edges for key in edges):
            return automaton
        network = Network()
        start, final = network.state(), network.state()
        _embed(network, automaton, start, final, self.rule)
        return reduced(network, start, final)


def _embed(
    network: Network,
    part: Automaton,
    src: int,
    dst: int,
    open_rule: Callable[[str], Automaton] | None = None,
) -> None:
    """Copy ``part`` between two states, opening closed rules where ``open_rule`` is given."""
    states = [network.state() for _ in part.edges]
    network.empties[src].append((0.0, (), states[0]))
    for state, edges in zip(states, part.edges, strict=True):
        for key, (weight, tags, target) in edges.items():
            before = state
            if weight or tags:
                before = network.state()
                network.empties[state].append((weight, tags, before))
            word = word_of(key)
            if open_rule and word.startswith(CLOSED):
                _embed(network, open_rule(word[len(CLOSED) :]), before, states[target])
            else:
                network.words[before].append((word, states[target]))
    for index, (weight, tags) in part.ends.items():
        network.empties[states[index]].append((weight, tags, dst))


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
            elif sum(map(len, self._parts[target].edges)) > OPEN_EDGES:
                network.words[src].append((CLOSED + target, dst))
            else:
                _embed(network, self._parts[target], src, dst)
        elif isinstance(node, jsgf.Sequence):
            for item in node.items[:-1]:
                between = network.state()
                self._add(item, src, between, entry)
                src = between
            self._add(node.items[-1], src, dst, entry)
        elif isinstance(node, jsgf.Alternatives):
            self._add_alternatives(node, src, dst, entry)
        elif isinstance(node, jsgf.Repeat):
            self._add_repeat(node, src, dst)
        elif isinstance(node, jsgf.Tagged):
            before_tag = network.state()
            self._add(node.item, src, before_tag, (*entry, node.tag))
            network.empties[before_tag].append((0.0, (node.tag,), dst))

    def _add_alternatives(
        self, node: jsgf.Alternatives, src: int, dst: int, entry: tuple[str, ...]
    ) -> None:
        heaviest = max(node.weights)
        for option, weight in zip(node.options, node.weights, strict=True):
            if weight > 0:
                inner = self._network.state()
                self._network.empties[src].append((math.log(weight / heaviest), (), inner))
                self._add(option, inner, dst, entry)

    def _add_repeat(self, node: jsgf.Repeat, src: int, dst: int) -> None:
        first, last = self._network.state(), self._network.state()
        self._network.empties[src].append((0.0, (), first))
        self._add(node.item, first, last, ())
        self._network.empties[last] += [(0.0, (), first), (0.0, (), dst)]
        if node.may_be_absent:
            self._network.empties[src].append((0.0, (), dst))

    def _add_words(self, words: tuple[str, ...], src: int, dst: int) -> None:
        if not words:
            self._network.empties[src].append((0.0, (), dst))
        for index, word in enumerate(words):
            following = dst if index == len(words) - 1 else self._network.state()
            self._network.words[src].append((word, following))
            src = following
