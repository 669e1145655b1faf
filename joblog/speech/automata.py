"""From a rule to its smallest deterministic automaton, weights and tags kept.

Steps, each a function: close over empty edges, determinise, drop dead ends, move weights and tags
forward to where they are first certain, merge states that can't be told apart. Where two readings
of the same words differ in weight or tags, the one with the higher weight stays (the first written
on a tie).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

Tags = tuple[str, ...]
Way = tuple[float, Tags]  # weight, tags
Edge = tuple[float, Tags, int]  # weight, tags, next state

# Beyond this many states determinising would cost more than it saves; no grammar that people can
# speak has come near it.
MAX_STATES = 60_000
MAX_OWED_TAGS = 24


class TooManyStates(Exception):  # noqa: N818 - a signal inside this room, not an error for users
    """Determinising does not pay for this automaton."""


@dataclass
class Network:
    """Automaton with empty edges: ``words[state]`` holds (word, next), ``empties[state]`` Edges."""

    words: list[list[tuple[str, int]]] = field(default_factory=list)
    empties: list[list[Edge]] = field(default_factory=list)

    def state(self) -> int:
        """Add a state."""
        self.words.append([])
        self.empties.append([])
        return len(self.words) - 1


@dataclass
class Automaton:
    """Deterministic, start 0: ``edges[state]`` maps a word to its Edge; ``ends`` holds the ends.

    ``edges`` of an automaton that could not be determinised hold the words with a number behind a
    zero byte (see :func:`word_of`), so that two edges of one word can live side by side.
    """

    edges: list[dict[str, Edge]]
    ends: dict[int, Way]
    deterministic: bool = True


def word_of(key: str) -> str:
    """Return the word of an edge's key."""
    return key.partition("\0")[0]


def reduced(network: Network, start: int, final: int) -> Automaton:
    """Return the smallest automaton for what leads from ``start`` to ``final``."""
    flat, ends, first = _without_empties(network, start, final)
    try:
        automaton = _determinised(flat, ends, first)
    except TooManyStates:
        automaton = _kept_as_is(flat, ends, first)
    automaton = _trimmed(automaton)
    order, loops = _backwards(automaton)
    _push_weights(automaton, order, loops)
    _push_tags(automaton, order, loops)
    return _minimised(automaton, order, loops)


def _closure(network: Network, start: int) -> dict[int, Way]:
    """Best way from ``start`` to every state that needs no word; first found stays on ties."""
    best: dict[int, Way] = {start: (0.0, ())}
    queue = deque([start])
    while queue:
        state = queue.popleft()
        weight, tags = best[state]
        for more, new, target in network.empties[state]:
            total = weight + more
            if target not in best or total > best[target][0] + 1e-12:
                best[target] = (total, tags + new)
                queue.append(target)
    return best


Flat = dict[int, list[tuple[str, float, Tags, int]]]


def _without_empties(network: Network, start: int, final: int) -> tuple[Flat, dict[int, Way], int]:
    flat: Flat = {}
    ends: dict[int, Way] = {}
    queue = [start]
    while queue:
        state = queue.pop()
        if state in flat:
            continue
        flat[state] = []
        if not network.empties[state] and state != final:  # most states
            flat[state] = [(word, 0.0, (), target) for word, target in network.words[state]]
            queue.extend(target for _, target in network.words[state])
            continue
        for via, (weight, tags) in _closure(network, state).items():
            if via == final:
                ends[state] = (weight, tags)
            for word, target in network.words[via]:
                flat[state].append((word, weight, tags, target))
                queue.append(target)
    return flat, ends, start


def _common(all_tags: Iterable[Tags]) -> Tags:
    """Longest common beginning."""
    shared: Tags | None = None
    for tags in all_tags:
        if shared is None:
            shared = tags
        while shared != tags[: len(shared)]:
            shared = shared[:-1]
        if not shared:
            break
    return shared or ()


Subset = tuple[tuple[int, float, Tags], ...]  # state, weight still owed, tags still owed


def _determinised(flat: Flat, ends: dict[int, Way], first: int) -> Automaton:
    start: Subset = ((first, 0.0, ()),)
    numbers = {start: 0}
    todo = [start]
    result = Automaton([], {})
    for subset in todo:  # the list grows while it is walked
        best_end: Way | None = None
        moves: dict[str, dict[int, Way]] = {}
        for state, owed, owed_tags in subset:
            if state in ends:
                weight, tags = ends[state]
                if best_end is None or owed + weight > best_end[0] + 1e-12:
                    best_end = (owed + weight, owed_tags + tags)
            for word, weight, tags, target in flat[state]:
                total = owed + weight
                ways = moves.get(word)
                if ways is None:
                    moves[word] = {target: (total, owed_tags + tags)}
                elif target not in ways or total > ways[target][0] + 1e-12:
                    ways[target] = (total, owed_tags + tags)
        leaving: dict[str, Edge] = {}
        for word, ways in moves.items():
            weight, tags, rest = _settled(ways)
            if rest not in numbers:
                numbers[rest] = len(todo)
                todo.append(rest)
                owing = max(len(owed) for _, _, owed in rest)
                if len(todo) > MAX_STATES or owing > MAX_OWED_TAGS:
                    raise TooManyStates
            leaving[word] = (weight, tags, numbers[rest])
        result.edges.append(leaving)
        if best_end is not None:
            result.ends[len(result.edges) - 1] = best_end
    return result


def _settled(ways: dict[int, Way]) -> tuple[float, Tags, Subset]:
    """Return the weight and tags that all ways of one word share, and what each still owes."""
    if len(ways) == 1:
        ((target, (weight, tags)),) = ways.items()
        return weight, tags, ((target, 0.0, ()),)
    weight = max(way[0] for way in ways.values())
    tags = _common(way[1] for way in ways.values())
    rest = tuple(
        (target, round(total - weight, 9), owed[len(tags) :])
        for target, (total, owed) in sorted(ways.items())
    )
    return weight, tags, rest


def _kept_as_is(flat: Flat, ends: dict[int, Way], first: int) -> Automaton:
    order = [first, *(state for state in flat if state != first)]
    number = {state: index for index, state in enumerate(order)}
    edges = []
    for state in order:
        keyed: dict[str, Edge] = {}
        for index, (word, weight, tags, target) in enumerate(flat[state]):
            keyed[f"{word}\0{index}"] = (weight, tags, number[target])
        edges.append(keyed)
    return Automaton(edges, {number[state]: way for state, way in ends.items()}, False)


def _trimmed(automaton: Automaton) -> Automaton:
    """Drop states from which no end can be reached; the start stays."""
    before: list[list[int]] = [[] for _ in automaton.edges]
    for state, edges in enumerate(automaton.edges):
        for _, _, target in edges.values():
            before[target].append(state)
    alive = set(automaton.ends)
    wave = list(alive)
    for state in wave:
        new = [previous for previous in before[state] if previous not in alive]
        alive.update(new)
        wave.extend(new)
    if len(alive) == len(before):
        return automaton
    kept = [0, *(state for state in range(1, len(before)) if state in alive)]
    number = {state: index for index, state in enumerate(kept)}
    kept_edges = [
        {
            word: (weight, tags, number[target])
            for word, (weight, tags, target) in automaton.edges[state].items()
            if target in alive
        }
        for state in kept
    ]
    ends = {number[state]: way for state, way in automaton.ends.items()}
    return Automaton(kept_edges, ends, automaton.deterministic)


def _backwards(automaton: Automaton) -> tuple[list[int], bool]:
    """Return the states, followers first where no loop forbids it; and whether there is a loop."""
    place = [-1] * len(automaton.edges)
    seen = [False] * len(automaton.edges)
    order: list[int] = []
    loops = False
    stack: list[tuple[int, bool]] = [(0, False)]
    while stack:
        state, done = stack.pop()
        if done:
            loops = loops or any(place[edge[2]] < 0 for edge in automaton.edges[state].values())
            place[state] = len(order)
            order.append(state)
        elif not seen[state]:
            seen[state] = True
            stack.append((state, True))
            stack.extend([(edge[2], False) for edge in automaton.edges[state].values()])
    return order, loops


def _push_weights(automaton: Automaton, order: list[int], loops: bool) -> None:
    if not any(edge[0] for edges in automaton.edges for edge in edges.values()) and not any(
        weight for weight, _ in automaton.ends.values()
    ):
        return
    best = [float("-inf")] * len(automaton.edges)
    changed = True
    while changed:
        changed = False
        for state in order:
            ways = [weight + best[target] for weight, _, target in automaton.edges[state].values()]
            if state in automaton.ends:
                ways.append(automaton.ends[state][0])
            value = max(ways, default=float("-inf"))
            if value > best[state] + 1e-12:
                best[state], changed = value, loops
    best[0] = 0.0  # what the start would hand on has nowhere to go but onto its own edges
    for state, edges in enumerate(automaton.edges):
        for word, (weight, tags, target) in edges.items():
            edges[word] = (round(weight + best[target] - best[state], 9), tags, target)
    for state, (weight, tags) in automaton.ends.items():
        automaton.ends[state] = (round(weight - best[state], 9), tags)


def _push_tags(automaton: Automaton, order: list[int], loops: bool) -> None:
    sure: list[Tags | None] = [None] * len(automaton.edges)
    changed = True
    while changed:
        changed = False
        for state in order:
            ways = [
                tags + after
                for _, tags, target in automaton.edges[state].values()
                if (after := sure[target]) is not None
            ]
            if state in automaton.ends:
                ways.append(automaton.ends[state][1])
            value = _common(ways) if ways else None
            if value != sure[state]:
                sure[state], changed = value, loops
    sure[0] = ()
    for state, edges in enumerate(automaton.edges):
        mine = len(sure[state] or ())
        for word, (weight, tags, target) in edges.items():
            edges[word] = (weight, (tags + (sure[target] or ()))[mine:], target)
        if state in automaton.ends:
            weight, tags = automaton.ends[state]
            automaton.ends[state] = (weight, tags[mine:])


def _minimised(automaton: Automaton, order: list[int], loops: bool) -> Automaton:
    """Merge alike states: bottom-up first, then by refining classes for what lies on loops."""
    merged = _merged_bottom_up(automaton, order)
    if not loops:
        return _quotient(automaton, merged)
    edges, ends = automaton.edges, automaton.ends
    states = sorted(set(merged))
    classes = dict(_numbered({s: ends.get(s) for s in states}))
    count = len(set(classes.values()))
    while True:
        signatures = {
            state: (
                classes[state],
                frozenset((k, w, t, classes[merged[n]]) for k, (w, t, n) in edges[state].items()),
            )
            for state in states
        }
        classes = dict(_numbered(signatures))
        if len(set(classes.values())) == count:
            break
        count = len(set(classes.values()))
    return _quotient(automaton, [classes[merged[state]] for state in range(len(edges))])


def _numbered(keys: Mapping[int, object]) -> Iterable[tuple[int, int]]:
    numbers: dict[object, int] = {}
    return [(state, numbers.setdefault(key, len(numbers))) for state, key in keys.items()]


def _merged_bottom_up(automaton: Automaton, order: list[int]) -> list[int]:
    representative = list(range(len(automaton.edges)))
    settled = [False] * len(automaton.edges)
    known: dict[object, int] = {}
    for state in order:
        edges = automaton.edges[state]
        if any(not settled[target] and target != state for _, _, target in edges.values()):
            settled[state] = True  # on a loop: left to the refinement
            continue
        settled[state] = True
        key = (
            automaton.ends.get(state),
            frozenset(
                (k, w, t, -1 if n == state else representative[n]) for k, (w, t, n) in edges.items()
            ),
        )
        representative[state] = known.setdefault(key, state)
    return representative


def _quotient(automaton: Automaton, classes: list[int]) -> Automaton:
    number = {classes[0]: 0}
    members = [0]
    for state in members:
        for _, _, target in automaton.edges[state].values():
            if classes[target] not in number:
                number[classes[target]] = len(members)
                members.append(target)
    edges = [
        {k: (w, t, number[classes[n]]) for k, (w, t, n) in automaton.edges[state].items()}
        for state in members
    ]
    ends = {
        index: automaton.ends[state]
        for index, state in enumerate(members)
        if state in automaton.ends
    }
    return Automaton(edges, ends, automaton.deterministic)
