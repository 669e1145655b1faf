"""A sheet in use takes little room: a shop has several, and one process hears them all."""

from __future__ import annotations

import gc
import tracemalloc

from joblog.job.grammar import _compiled, grammar_text
from joblog.sheet.load import library, load_sheet
from joblog.speech.grammar import Grammar
from joblog.speech.whisper.tokens import Place, Spelling


def _walked(grammar: Grammar) -> Spelling:
    """Return the grammar spelt as far as much hearing would get."""
    spelling = Spelling(grammar.graph, lambda text: tuple(text.encode()))
    for state in range(300):
        spelling.turns(Place(state))
    return spelling


def test_a_grammar_with_its_spelling_stays_below_8_mb() -> None:
    text = grammar_text(load_sheet(library()["transaxle-drain-fill"]))
    _walked(Grammar.for_reading(text))  # what all sheets share is there now
    gc.collect()
    tracemalloc.start()
    try:
        grammar = Grammar.for_reading(text, source="once more")
        spelling = _walked(grammar)
        gc.collect()
        used = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert spelling.kept
    assert grammar.graph.arc_count > 10_000
    assert used < 8_000_000


def test_the_grammars_of_all_shipped_sheets_are_kept() -> None:
    """One that is dropped takes seconds to be made anew, in the middle of a job."""
    most = _compiled.cache_parameters()["maxsize"]
    assert most is not None
    assert most >= 4 * len(library())
