"""From a grammar's tree to its word graph: an automaton for each rule, then all together."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Callable
from functools import partial

from joblog.speech import jsgf
from joblog.speech.automata import Automaton, Network, reduced, word_of
from joblog.speech.graph import Arc, PackedArcs, WordGraph
from joblog.speech.linking import Linked

# A rule with more edges than this is first carried along closed, as if it were a single word, and
# opened at the end. Sixty phrases that end in a number then share one copy of the number's graph
# before it is ever written out: a job's grammar compiles about ten times faster.
OPEN_EDGES = 40
CLOSED = "\1"  # no word starts with it
KEPT_EDGES = 60_000  # of rules that were worked out before; some 15 MB


def word_graph(linked: Linked) -> WordGraph:
    """Return the smallest deterministic graph of all public rules."""
    rules = _Rules(linked)
    network = Network()
    start, final = network.state(), network.state()
    for name in linked.public:
        _embed(network, rules.closed(name), start, final)
    whole = rules.opened(reduced(network, start, final), whole=True)
    arcs = PackedArcs(
        [
            Arc(word_of(key), target, min(weight, 0.0), tags)
            for key, (weight, tags, target) in edges.items()
        ]
        for edges in whole.edges
    )
    finals = {state: weight for state, (weight, _) in sorted(whole.ends.items())}
    final_tags = {state: tags for state, (_, tags) in sorted(whole.ends.items()) if tags}
    return WordGraph(0, finals, arcs, final_tags, whole.deterministic)


class _Shelf:
    """Automata of rules, by what the rules say: the grammars of a shop's jobs share most of them.

    Emptied when it is full.
    """

    def __init__(self) -> None:
        self._kept: dict[str, Automaton] = {}
        self._edges = 0

    def get(self, key: str, make: Callable[[], Automaton]) -> Automaton:
        """Return the automaton that stands under ``key``; made where there is none."""
        found = self._kept.get(key)
        if found is None:
            found = make()
            self._edges += sum(map(len, found.edges))
            if self._edges > KEPT_EDGES:
                self._kept, self._edges = {}, 0
            self._kept[key] = found
        return found


_CLOSED_RULES, _OPEN_RULES = _Shelf(), _Shelf()


class _Rules:
    """The automata of a grammar's rules; each is known by what it says."""

    def __init__(self, linked: Linked) -> None:
        self._parts: dict[str, Automaton] = {}
        self._keys: dict[str, str] = {}
        for members, _ in linked.groups:
            keys = _keys(linked, self._keys, members)
            builder = _Builder(linked, self, members)
            for name, key in keys.items():
                self._parts[key] = _CLOSED_RULES.get(key, partial(builder.automaton, name))
            self._keys.update(keys)

    def key(self, name: str) -> str:
        """Return what stands for all that a rule says."""
        return self._keys[name]

    def closed(self, name: str) -> Automaton:
        """Return the automaton of a rule; large rules in it are closed."""
        return self._parts[self._keys[name]]

    def opened(self, automaton: Automaton, whole: bool = False) -> Automaton:
        """Return ``automaton`` with nothing closed in it; ``whole`` says that it is the last."""
        words = Counter(word_of(key) for edges in automaton.edges for key in edges)
        used = {word[len(CLOSED) :]: n for word, n in words.items() if word.startswith(CLOSED)}
        if not used:
            return automaton
        network = Network()
        start, final = network.state(), network.state()

        def rule(key: str) -> Automaton:
            if whole and used.get(key) == 1:
                return self._parts[key]  # made small together with the rest, not twice
            return _OPEN_RULES.get(key, lambda: self.opened(self._parts[key]))

        _embed(network, automaton, start, final, rule)
        return reduced(network, start, final)


def _keys(linked: Linked, known: dict[str, str], members: frozenset[str]) -> dict[str, str]:
    """Return a key for each of the rules that call each other, made from all that they say."""
    bodies = {name: _said(linked, known, linked.rules[name].body) for name in sorted(members)}
    together = bodies if len(bodies) > 1 else None
    return {
        name: hashlib.blake2b(repr((body, name if together else "", together)).encode()).hexdigest()
        for name, body in bodies.items()
    }


def _said(linked: Linked, known: dict[str, str], body: jsgf.Node) -> list[object]:
    """Return all that a rule's body says; ``known`` holds the keys of the rules that it calls."""
    said: list[object] = []
    todo: list[object] = [body]
    while todo:
        part = todo.pop()
        if isinstance(part, jsgf.Reference):
            target = linked.targets[id(part)]
            said.append(("rule", known.get(target, target)))
        elif isinstance(part, jsgf.Node):
            said.append(type(part).__name__)
            todo.extend(vars(part).values())
        elif isinstance(part, tuple):
            said.append(len(part))
            todo.extend(part)
        else:
            said.append(part)  # a word, a tag or a weight
    return said


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
            word = key if part.deterministic else word_of(key)
            if open_rule and word.startswith(CLOSED):
                rule = open_rule(word[len(CLOSED) :])
                _embed(network, rule, before, states[target], open_rule)
            else:
                network.words[before].append((word, states[target]))
    for index, (weight, tags) in part.ends.items():
        network.empties[states[index]].append((weight, tags, dst))


class _Builder:
    """Networks for rules that call each other (mostly a single one).

    No part ever adds an edge into the state it starts from or out of the one it ends in, so
    neighbours can share states.
    """

    def __init__(self, linked: Linked, rules: _Rules, members: frozenset[str]) -> None:
        self._linked = linked
        self._rules = rules
        self._network = Network()
        self._final = self._network.state()
        self._starts = {name: self._network.state() for name in sorted(members)}
        self._built = False

    def automaton(self, name: str) -> Automaton:
        """Return the smallest automaton of a member."""
        if not self._built:
            for member, start in self._starts.items():
                self._add(self._linked.rules[member].body, start, self._final, ())
            self._built = True
        return reduced(self._network, self._starts[name], self._final)

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
            elif sum(map(len, self._rules.closed(target).edges)) > OPEN_EDGES:
                network.words[src].append((CLOSED + self._rules.key(target), dst))
            else:
                _embed(network, self._rules.closed(target), src, dst)
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
