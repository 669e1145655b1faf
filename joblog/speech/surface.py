"""Word graphs rewritten into what a model trained on written text may write for them.

Every arc of the result carries a piece of text, with its leading blank, and the spoken words that
it stands for (none for a comma or a full stop). Two paths may write the same text for different
words ('three six' and 'thirty six' are both '36'): the words differ, the value does not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from joblog.speech.graph import Arc, PackedArcs, WordGraph
from joblog.speech.written import Form, Mode, hyphenated, phrase_forms, word_forms


@dataclass(frozen=True, slots=True)
class SurfaceArc:
    """Text ``text`` (with its leading blank) for the words ``spoken``; as Arc otherwise."""

    text: str
    next: int
    spoken: tuple[str, ...]
    weight: float = 0.0
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class SurfaceGraph:
    """States 0..n-1 with the arcs that leave each."""

    start: int
    finals: Mapping[int, float]
    arcs: tuple[tuple[SurfaceArc, ...], ...]
    final_tags: Mapping[int, tuple[str, ...]]

    @property
    def arc_count(self) -> int:
        """Number of arcs."""
        return sum(map(len, self.arcs))

    def spoken(self, text: str) -> set[tuple[str, ...]]:
        """Return all word sequences of whole sentences that may be written as ``text``."""
        found: set[tuple[str, ...]] = set()
        todo: list[tuple[int, int, tuple[str, ...]]] = [(self.start, 0, ())]
        while todo:
            state, at, words = todo.pop()
            if at == len(text) and state in self.finals:
                found.add(words)
            for arc in self.arcs[state]:
                if text.startswith(arc.text, at):
                    todo.append((arc.next, at + len(arc.text), words + arc.spoken))
        return found


def surface_variants(words: tuple[str, ...]) -> tuple[str, ...]:
    """Return the ways to write a short run of words on its own, the plain one first, no blank."""
    graph = WordGraph(
        0,
        {len(words): 0.0},
        PackedArcs([*((Arc(word, index + 1),) for index, word in enumerate(words)), ()]),
    )
    surfaces = expand_surfaces(graph, punctuation=False)
    texts: dict[str, None] = {" ".join(words): None}

    def walk(state: int, text: str) -> None:
        if state in surfaces.finals:
            texts.setdefault(text.strip())
        for arc in surfaces.arcs[state]:
            walk(arc.next, text + arc.text)

    walk(surfaces.start, "")
    return tuple(texts)


def expand_surfaces(
    graph: WordGraph, *, numerals: bool = True, capitals: bool = True, punctuation: bool = True
) -> SurfaceGraph:
    """Return the whole graph of what may be written for ``graph``; for the options see Surfaces."""
    surfaces = Surfaces(graph, numerals=numerals, capitals=capitals, punctuation=punctuation)
    arcs: list[tuple[SurfaceArc, ...]] = []
    while len(arcs) < surfaces.known:  # arcs lead to states that nobody knew
        arcs.append(surfaces.arcs(len(arcs)))
    states = range(len(arcs))
    finals = {n: weight for n in states if (weight := surfaces.final(n)) is not None}
    final_tags = {n: tags for n in states if (tags := surfaces.final_tags(n))}
    return SurfaceGraph(surfaces.start, finals, tuple(arcs), final_tags)


@lru_cache(maxsize=1)
def _beginnings() -> frozenset[tuple[str, ...]]:
    """Proper beginnings of all runs that have spellings of their own."""
    runs = phrase_forms()
    return frozenset(run[:length] for run in runs for length in range(1, len(run)))


# After these no comma or full stop can stand.
_UNMARKED = (Mode.START, Mode.COMMA, Mode.GLUE, Mode.OWED)


class Surfaces:
    """Everything that may be written for the sentences of ``graph``, worked out state by state.

    ``numerals`` allows figures and abbreviated units, ``capitals`` a capital where a sentence
    starts, ``punctuation`` a comma or a sentence's end after any word. Of a job's grammar all of it
    would take seven times the room of the words, and a recogniser sees little of it.
    """

    def __init__(
        self,
        graph: WordGraph,
        *,
        numerals: bool = True,
        capitals: bool = True,
        punctuation: bool = True,
    ) -> None:
        self._graph = graph
        self._numerals = numerals
        self._first = Mode.START if capitals else Mode.PLAIN
        self._punctuation = punctuation
        self._numbers: dict[tuple[int, Mode], int] = {}
        self._states: list[tuple[int, Mode]] = []
        self.start = self._number(graph.start, self._first)

    @property
    def known(self) -> int:
        """How many states have been met: 0 to that less one."""
        return len(self._states)

    def arcs(self, number: int) -> tuple[SurfaceArc, ...]:
        """Return what may be written next at a state."""
        state, mode = self._states[number]
        leaving = {
            SurfaceArc(form.text, self._number(end, form.then), words, weight, tags): None
            for words, end, weight, tags in self._runs(state)
            for form in self._forms(words)
            if mode in form.after
        }
        if self._punctuation and (state != self._graph.start):
            for mark in self._marks(state, mode):
                leaving.setdefault(mark)
        return tuple(leaving)

    def final(self, number: int) -> float | None:
        """Return the weight of ending at a state, None where no sentence ends."""
        state, mode = self._states[number]
        return None if mode in (Mode.GLUE, Mode.OWED) else self._graph.finals.get(state)

    def final_tags(self, number: int) -> tuple[str, ...]:
        """Return the tags that a sentence which ends at a state still owes."""
        return self._graph.final_tags.get(self._states[number][0], ())

    def _number(self, state: int, mode: Mode) -> int:
        key = (state, mode)
        if key not in self._numbers:
            self._numbers[key] = len(self._states)
            self._states.append(key)
        return self._numbers[key]

    def _marks(self, state: int, mode: Mode) -> Iterator[SurfaceArc]:
        """A comma, then plain text; a sentence's end, then a capital if anything follows."""
        if mode not in _UNMARKED:
            if self._graph.arcs[state]:
                yield SurfaceArc(",", self._number(state, Mode.COMMA), ())
            for mark in (".", "?", "!"):
                yield SurfaceArc(mark, self._number(state, self._first), ())

    def _runs(self, state: int) -> Iterator[tuple[tuple[str, ...], int, float, tuple[str, ...]]]:
        """Yield single words and the runs that have spellings of their own, from ``state``."""
        todo: list[tuple[tuple[str, ...], int, float, tuple[str, ...]]] = [((), state, 0.0, ())]
        beginnings = _beginnings() if self._numerals else frozenset()
        while todo:
            words, at, weight, tags = todo.pop()
            for arc in self._graph.arcs[at]:
                run = (*words, arc.word)
                reached = (run, arc.next, weight + arc.weight, tags + arc.tags)
                yield reached
                if run in beginnings:
                    todo.append(reached)

    def _forms(self, words: tuple[str, ...]) -> tuple[Form, ...]:
        forms = word_forms(words[0]) if len(words) == 1 else hyphenated(words)
        return forms + (phrase_forms().get(words, ()) if self._numerals else ())
