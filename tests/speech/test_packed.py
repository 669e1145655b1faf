"""Graphs in little room: packed arcs, and spellings of which only a part is kept."""

from __future__ import annotations

import pytest

from joblog.speech.grammar import Grammar
from joblog.speech.graph import Arc, PackedArcs, WordGraph
from joblog.speech.surface import Surfaces, expand_surfaces
from joblog.speech.whisper import tokens
from joblog.speech.whisper.tokens import Place, Spelling, TokenGraph

STATES = (
    (Arc("torque", 1, -0.25, ("torque:here",)), Arc("note", 2), Arc("torque", 2, -1.5)),
    (Arc("nine", 2, 0.1),),
    (),
)
TEXT = (
    "#JSGF V1.0;\ngrammar t;\npublic <r> = (torque <n> {torque} | <n> quarts in {in}) [done];\n"
    "<n> = (one | two | three | thirty | forty) [point (one | two | six)];\n"
)


def _letters(text: str) -> tuple[int, ...]:
    return tuple(map(ord, text))


def _all(spelling: Spelling) -> dict[Place, object]:
    """Return what may come at every place that can be reached."""
    found: dict[Place, object] = {}
    todo = [spelling.start]
    while todo:
        place = todo.pop()
        if place not in found:
            found[place] = {t: list(ways) for t, ways in spelling.turns(place).items()}
            todo += [way.place for ways in spelling.turns(place).values() for way in ways]
    return found


def test_packed_arcs_are_the_arcs_that_were_packed() -> None:
    packed = PackedArcs(STATES)
    assert tuple(packed) == STATES
    assert packed[-3] == STATES[0]
    assert packed[1:] == STATES[1:]
    assert (len(packed), packed.size, set(packed.words)) == (3, 4, {"torque", "note", "nine"})
    with pytest.raises(IndexError):
        packed[3]


def test_packed_arcs_are_found_by_their_word() -> None:
    packed = PackedArcs(STATES)
    assert packed.by_word(0, "torque") == (STATES[0][0], STATES[0][2])
    assert packed.by_word(1, "torque") == packed.by_word(0, "never said") == ()
    graph = WordGraph(0, {2: -0.5}, packed)
    assert graph.score(["torque"]) == -2.0  # not the better arc, which doesn't end
    assert graph.score(["torque", "nine"]) == pytest.approx(-0.65)
    assert graph.score(["nine"]) is None


def test_surfaces_are_worked_out_only_where_somebody_looks() -> None:
    graph = Grammar.from_text(TEXT).graph
    surfaces = Surfaces(graph, punctuation=False)
    assert surfaces.known == 1
    surfaces.arcs(surfaces.start)
    assert 1 < surfaces.known < len(expand_surfaces(graph, punctuation=False).arcs)


def test_what_was_dropped_is_spelt_alike_again(monkeypatch: pytest.MonkeyPatch) -> None:
    graph = Grammar.from_text(TEXT).graph
    whole = Spelling(graph, _letters)
    everything = _all(whole)
    monkeypatch.setattr(tokens, "KEPT_TURNS", 60)
    tight = Spelling(graph, _letters)
    first = tight.turns(tight.start)
    for _ in range(2):
        met = _all(tight)
        # States are numbered as they are met, so the places alike are those of one walk.
        assert met == everything
    assert tight.kept <= 60 < whole.kept
    assert tight.turns(tight.start) is first


def test_what_is_expected_needs_no_graph_of_its_own() -> None:
    spelling = Spelling(Grammar.from_text(TEXT).graph, _letters)
    plain, expecting = TokenGraph(spelling), TokenGraph(spelling, {"torque": 0.5})
    assert plain.turns(plain.start) is expecting.turns(expecting.start)
    gains = set()
    for place in _all(spelling):
        for ways in plain.turns(place).values():
            gains |= {(way.tags, expecting.weight(way) - plain.weight(way)) for way in ways}
        assert plain.ending(place) == expecting.ending(place)
    assert {gain for tags, gain in gains if "torque" in tags} == {0.5}
    assert {gain for tags, gain in gains if "torque" not in tags} == {0.0}
