"""Phrase grammars: JSGF text compiled to a word graph, and sentences parsed against it.

The graph serves the decoder; the parser serves whoever wants to know what the words meant: which
tags they carry, and which rule matched which words. Both read the same tree, so they accept the
same sentences.

Weights: of alternatives with weights the likeliest costs nothing and the others the logarithm of
how much less likely they are; without weights, and in optionals and repeats, nothing costs
anything. So a grammar that states no preference has none.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from joblog.errors import GrammarError
from joblog.speech.compiling import word_graph
from joblog.speech.graph import Arc, WordGraph
from joblog.speech.linking import Linked, beside, decode_file, link, with_room
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
    def for_reading(text: str, *, source: str = "grammar") -> Grammar:
        """Read JSGF text; the graph is compiled when it is first asked for, by who decodes sound.

        For text that a program wrote: mistakes that the graph alone shows are told only then.
        """
        return _read(text, source, None)

    @staticmethod
    def from_file(path: str | Path) -> Grammar:
        """Compile a JSGF file; imported grammars are looked for in its folder."""
        path = Path(path)
        return _compile(decode_file(path), str(path), beside(path))

    @cached_property
    def graph(self) -> WordGraph:
        """What may be said, from any public rule."""
        graph = with_room(lambda: word_graph(self._linked), self._linked.frames, self.source)
        if not graph.arc_count:
            raise GrammarError(f"{self.source}: no sentence can be said with this grammar.")
        return graph

    @property
    def vocabulary(self) -> frozenset[str]:
        """All words of the graph."""
        return self.graph.vocabulary

    @property
    def rule_names(self) -> frozenset[str]:
        """The names of all rules that a sentence may use, as its spans carry them."""
        return frozenset(rule.name for rule in self._linked.rules.values())

    def parse(self, words: Sequence[str] | str) -> Parse | None:
        """Return the parse of highest weight of a whole sentence, None where there is none."""
        given = words.split() if isinstance(words, str) else words
        lowered = tuple(unicodedata.normalize("NFC", word).lower() for word in given)
        graph: WordGraph | None = self.__dict__.get("graph")
        if graph is not None and not graph.accepts(lowered):
            return None  # quicker told than by trying
        return best_parse(self._linked, lowered)

    def sentences(self, limit: int) -> Iterator[tuple[str, ...]]:
        """Yield up to ``limit`` sentences, shortest first."""
        return self.graph.sentences(limit)


def _read(text: str, source: str, imports: Callable[[str], str] | None) -> Grammar:
    linked = link(text, source, imports)
    return Grammar(linked.main.name, text, source, linked)


def _compile(text: str, source: str, imports: Callable[[str], str] | None) -> Grammar:
    grammar = _read(text, source, imports)
    _ = grammar.graph  # tells what is wrong with it
    return grammar


@lru_cache(maxsize=32)
def _compiled(text: str, source: str) -> Grammar:
    return _compile(text, source, None)
