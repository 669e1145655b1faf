"""Which sentences count together, against what the job makes of them.

The rule: sentences may be one to the ear only where they are one to the job.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from joblog.job.grammar import grammar_for_sheet
from joblog.job.meaning import meaning_of
from joblog.job.value_rules import VALUE_RULES
from joblog.sheet.load import library, load_sheet
from joblog.sheet.model import Sheet
from joblog.speech.grammar import Grammar
from joblog.speech.meaning import grouped, meaning

LIBRARY = library()
TRANSAXLE = load_sheet(LIBRARY["transaxle-drain-fill"])
SAMPLES = 300


def _meaning(sentence: str, sheet: Sheet = TRANSAXLE) -> Hashable:
    grammar = grammar_for_sheet(sheet)
    assert grammar.parse(sentence) is not None, f"'{sentence}' can't be said on this sheet"
    return meaning(tuple(sentence.split()), grammar)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("torqued two seven foot pounds", "torque twenty seven foot pounds"),
        ("torqued to two seven foot pounds", "torque is twenty seven foot pounds"),
        ("point six quarts added", "zero point six quarts added"),
        ("half a quart in", "added half quart"),
        ("drain plug out", "drain plug removed"),
        ("engine off", "engine off done"),
    ],
)
def test_different_words_for_the_same_thing_are_one(one: str, other: str) -> None:
    assert _meaning(one) == _meaning(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("torque two seven foot pounds", "torque two eight foot pounds"),
        ("torque two seven foot pounds", "torque two seven newton meters"),
        ("torque two seven foot pounds", "torque two seven"),
        ("drained one quart", "added one quart"),
        ("one quart in", "one liter in"),
        ("fill plug in", "fill plug loose"),
        ("torque two seven foot pounds", "correction torque two seven foot pounds"),
        ("photo fluid", "photo plug"),
        # 'thirty' is asked back as 13; 'three zero' cannot be mistaken so
        ("torque thirty foot pounds", "torque three zero foot pounds"),
    ],
)
def test_what_the_job_tells_apart_is_two(one: str, other: str) -> None:
    assert _meaning(one) != _meaning(other)


@pytest.mark.parametrize("other", ["one two five oh", "one thousand two hundred fifty", "twelve"])
def test_a_number_that_can_be_read_in_two_ways_stays_alone(other: str) -> None:
    """'twelve fifty' is 1250 or 12.50: nobody may settle that by adding up chances."""
    grammar = Grammar.from_text(
        "#JSGF V1.0; grammar t; public <s> = torque {T} <torque-value>;"
        "<torque-value> = twelve fifty | one two five oh | one thousand two hundred fifty | twelve"
        " | twelve point five;"
    )
    unsure = meaning(("torque", "twelve", "fifty"), grammar)
    assert unsure != meaning(("torque", *other.split()), grammar)
    assert unsure != meaning(("torque", "twelve", "point", "five"), grammar)


UNTAGGED = Grammar.from_text(
    "#JSGF V1.0; grammar t; public <s> ="
    " [can i have | i would like | please give me] (a | the | two) (light | dark) roast [please];"
)


def test_without_tags_only_polite_words_make_no_difference() -> None:
    def of(sentence: str) -> Hashable:
        assert UNTAGGED.parse(sentence) is not None
        return meaning(tuple(sentence.split()), UNTAGGED)

    assert of("can i have a light roast please") == of("the light roast")
    assert of("i would like a dark roast") == of("please give me the dark roast please")
    assert of("a light roast") != of("a dark roast")
    assert of("a light roast") != of("two light roast")


def test_without_a_grammar_words_count_in_their_order() -> None:
    assert meaning(("please", "drain", "the", "oil"), None) == meaning(("drain", "oil"), None)
    assert meaning(("oil", "drain"), None) != meaning(("drain", "oil"), None)


@pytest.mark.parametrize("name", LIBRARY)
def test_one_to_the_ear_is_one_to_the_job(name: str) -> None:
    sheet = load_sheet(LIBRARY[name])
    grammar = grammar_for_sheet(sheet)
    said = {" ".join(words) for words in grammar.graph.sample(SAMPLES, seed=len(name))}
    said |= {other for sentence in sorted(said)[::12] for other in _reworded(sentence, grammar)}
    gists: dict[Hashable, dict[Hashable, str]] = defaultdict(dict)
    for sentence in sorted(said):
        understood = meaning_of(sentence, sheet)
        assert understood is not None
        gists[meaning(tuple(sentence.split()), grammar)].setdefault(understood.gist, sentence)
    assert [list(apart.values()) for apart in gists.values() if len(apart) > 1] == []
    assert len(gists) < len(said), "no two sentences were merged: the test compares nothing"


NUMBERS = (
    "thirty", "three zero", "three oh", "thirteen", "one three", "twenty seven", "two seven",
    "seven", "point six", "zero point six", "one half", "a half", "half a", "one point five",
    "one and a half", "one fifty", "one hundred fifty", "one five zero", "a quarter of a",
)  # fmt: skip
UNITS = (
    "foot pounds", "inch pounds", "pounds", "newton meters", "quarts", "quart", "liters", "liter",
    "pints", "milliliters", "c c", "degrees", "degrees fahrenheit", "celsius", "p s i", "bar",
    "percent",
)  # fmt: skip


def _reworded(sentence: str, grammar: Grammar) -> list[str]:
    """The same sentence with other values that the grammar allows at its place.

    Random walks alone seldom say one value twice.
    """
    parse = grammar.parse(sentence)
    assert parse is not None
    span = next((s for s in parse.spans if s.rule in VALUE_RULES), None)
    if span is None:
        return []
    before, after = parse.words[: span.start], parse.words[span.end :]
    values = [(*number.split(), *unit.split()) for number in NUMBERS for unit in ("", *UNITS)]
    sentences = ((*before, *value, *after) for value in values)
    return [" ".join(words) for words in sentences if grammar.graph.accepts(words)]


MERITS = st.lists(st.tuples(st.floats(-50, 0), st.sampled_from("abcd")), min_size=1, max_size=12)


@given(MERITS)
def test_chances_of_one_meaning_add_up(sentences: list[tuple[float, str]]) -> None:
    merits = np.array([merit for merit, _ in sentences])
    meanings = [name for _, name in sentences]
    groups = grouped(merits, meanings)
    assert {meanings[group.best] for group in groups} == set(meanings)
    assert len(groups) == len(set(meanings))
    assert [g.merit for g in groups] == sorted((g.merit for g in groups), reverse=True)
    for group in groups:
        mine = [merit for merit, name in sentences if name == meanings[group.best]]
        assert merits[group.best] == max(mine)
        assert math.exp(group.merit) == pytest.approx(sum(map(math.exp, mine)), rel=1e-9)


def test_two_ways_to_say_it_together_beat_one_better_rival() -> None:
    merits = np.log([0.4, 0.35, 0.25])
    groups = grouped(merits, ["28", "27", "27"])
    assert [group.best for group in groups] == [1, 0]
    assert math.exp(groups[0].merit) == pytest.approx(0.6)
