"""One list of phrases: grammar, parser and help card agree with it."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joblog.errors import SheetError
from joblog.job.explaining import explained
from joblog.job.grammar import grammar_for_sheet, grammar_text
from joblog.job.meaning import meaning_of
from joblog.job.misunderstood import why_not_understood
from joblog.job.numbers import number, number_text, with_floats, without_floats
from joblog.job.phrases import help_card, phrases_of
from joblog.job.typed import typed_words
from joblog.sheet.fragments import expansions, spoken_form
from joblog.sheet.load import library, load_sheet
from joblog.speech.numbers import parse_quantity

SHEETS = {key: load_sheet(path) for key, path in library().items()}
TRANSAXLE = load_sheet(Path(__file__).parent / "data" / "transaxle-drain-fill.toml")


@pytest.mark.parametrize("key", sorted(SHEETS))
def test_every_example_on_the_help_card_means_what_the_card_says(key):
    sheet = SHEETS[key]
    for phrase in phrases_of(sheet):
        meaning = meaning_of(phrase.example, sheet)
        assert meaning is not None, phrase
        same_thing = {phrase.tag, phrase.tag.rpartition(":")[0] + ":here"}
        assert meaning.tag in same_thing, phrase


@pytest.mark.parametrize("key", sorted(SHEETS))
def test_every_form_of_a_step_s_phrases_marks_that_step(key):
    sheet = SHEETS[key]
    for step in sheet.steps:
        for fragment in step.say:
            for sentence in expansions(fragment):
                for ending in ("", " done", " is complete", " okay"):
                    meaning = meaning_of(sentence + ending, sheet)
                    assert meaning is not None
                    assert meaning.tag == f"step:{step.key}", sentence


@pytest.mark.parametrize("key", sorted(SHEETS))
def test_tags_of_phrases_are_distinct(key):
    tags = [phrase.tag for phrase in phrases_of(SHEETS[key])]
    assert len(tags) == len(set(tags))


@settings(max_examples=60)
@given(st.data())
def test_any_sentence_of_the_grammar_means_something(data):
    grammar = grammar_for_sheet(TRANSAXLE)
    state, words = grammar.graph.start, []
    while True:  # a random walk through the word graph, never longer than forty words
        arcs = grammar.graph.arcs[state]
        may_stop = state in grammar.graph.finals
        if may_stop and (not arcs or len(words) > 40 or data.draw(st.booleans())):
            break
        arc = data.draw(st.sampled_from(arcs))
        words.append(arc.word)
        state = arc.next
    meaning = meaning_of(" ".join(words), TRANSAXLE)
    assert meaning is not None
    wants_value = meaning.act in ("torque", "in", "out", "share", "reading", "bare")
    two_units = meaning.act in ("reading", "bare") and range_in_two_units(meaning.text)
    assert bool(meaning.values) or not wants_value or two_units, meaning


def range_in_two_units(text):
    """Whether two numbers of different units stand around 'to': said to be one, never guessed."""
    words = text.split()
    for at, word in enumerate(words):
        if word == "to":
            starts = (parse_quantity(words[start:at]) for start in range(at))
            ends = (parse_quantity(words[at + 1 : end]) for end in range(len(words), at + 1, -1))
            first, last = next(filter(None, starts), None), next(filter(None, ends), None)
            if first and last and first.units and last.units and first.units != last.units:
                return True
    return False


def test_the_card_has_everything_under_a_heading():
    card = help_card(TRANSAXLE)
    assert list(card)[:3] == ["Steps", "Values", "Photos"]
    assert sum(map(len, card.values())) == len(phrases_of(TRANSAXLE))


def test_the_grammar_is_plain_jsgf_and_prints():
    text = grammar_text(TRANSAXLE)
    assert text.startswith("#JSGF V1.0 UTF-8 en;\ngrammar ")
    assert "{step:fill-plug-loose}" in text


@pytest.mark.parametrize(
    ("sentence", "tag", "value", "unit"),
    [
        ("drain plug torqued to thirty six foot pounds", "torque:drain-plug-in", "36", "lbf.ft"),
        ("torque fill plug three two foot pounds", "torque:fill-plug-in", "32", "lbf.ft"),
        ("torque thirty six foot pounds", "torque:here", "36", "lbf.ft"),
        ("drained three point three quarts", "out:here", "3.3", "qt_us"),
        ("a half quart in", "in:here", "1/2", "qt_us"),
        ("a quart and a half in", "in:here", "3/2", "qt_us"),
        ("three and a third quarts out", "out:here", "10/3", "qt_us"),
        ("another half quart", "more:here", "1/2", "qt_us"),
        ("two thirds of this bottle", "share:here", "2/3", ""),
        ("fluid temperature eight zero celsius", "reading:warmed-up", "80", "degC"),
        ("fluid temperature minus five degrees celsius", "reading:warmed-up", "-5", "degC"),
        ("correction torque drain plug three four", "torque:drain-plug-in", "34", ""),
        ("correction point six quarts in", "in:here", "0.6", "qt_us"),
    ],
)  # values in part common practice, no source
def test_values_are_exact(sentence, tag, value, unit):
    meaning = meaning_of(sentence, TRANSAXLE)
    assert meaning is not None
    assert meaning.tag == tag
    assert meaning.value == Fraction(value)
    assert meaning.unit == unit
    assert meaning.correction == sentence.startswith("correction")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("Drain plug torqued to 41 lbf·ft.", "drain plug torqued to four one foot pounds"),
        ("drained 3.5 qt", "drained three point five quarts"),
        ("torque, 36 N·m!", "torque three six newton meters"),
        ("fluid temperature -5 °C", "fluid temperature minus five celsius"),
        ("Fluid temperature 75 ºC", "fluid temperature seven five celsius"),
        ("What's next?", "what's next"),
        ("drained 3.5qt", "drained three point five quarts"),
        ("Two and three quarter quarts in", "two and three quarters quarts in"),
        ("drain plug torqued to 41 ft lb", "drain plug torqued to four one foot pounds"),
        ("torque 41 lbf ft", "torque four one foot pounds"),
        ("1 qt in", "one quarts in"),
        ("torque 41 ft. lb.", "torque four one foot pounds"),
        ("torque 41 ft*lb", "torque four one foot pounds"),
        ("torque 41ft-lbs.", "torque four one foot pounds"),
        ("torque 41 lbs. ft.", "torque four one foot pounds"),
        ("torque 36 N*m", "torque three six newton meters"),
        ("torque 36 N m", "torque three six newton meters"),
        ("4.25 US qt in", "four point two five us quarts in"),
        ("8 fl. oz. in", "eight fluid ounces in"),
    ],
)
def test_typed_figures_and_symbols_become_the_grammar_s_words(typed, words):
    assert typed_words(typed) == words
    assert meaning_of(typed_words(typed), TRANSAXLE) is not None


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("drain plug torqued to 41 ft lb", "Records the torque: drain plug: 41 lbf·ft"),
        ("correction torque 41 ft lb", "Corrects, and records the torque of the step at hand: 41"),
        ("photo plug after", "Takes a photo: Plug, afterwards"),
        ("a third of this one", "container: the fluid at hand: 1/3"),
        ("confirm because no tool", "with your reason, because the tool was not available"),
        ("fill plug loosened", "Marks: Loosen the fill plug first"),
    ],
)
def test_what_a_phrase_does_is_told_without_tags(typed, told):
    meaning = meaning_of(typed_words(typed), TRANSAXLE)
    assert meaning is not None
    line = explained(meaning, TRANSAXLE)
    assert told in line
    assert meaning.tag not in line


def test_what_is_not_understood_is_said_why():
    assert "'fish'" in why_not_understood("fish out", TRANSAXLE)
    assert "volume" in why_not_understood("torque four one liters", TRANSAXLE)
    assert "drain plug out" in why_not_understood("drain out plug", TRANSAXLE)
    assert why_not_understood("", TRANSAXLE) == "Nothing was said."


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        # what was typed is named, not what became of it, and a unit with those that the job has
        (
            "500 ml in",
            "No phrase of this job has the unit 'ml'; it has quarts, pints, gallons, "
            "fluid ounces, liters.",
        ),
        (
            "drained a gallon and a half quart",  # quarts are a unit of volume, which belongs here
            "'drained a gallon and a half quart' is no phrase of this job. "
            "Did you mean 'drained ... quarts'?",
        ),
        # the same fastener, one's own number, each phrase once
        (
            "drain plug torqed to 41 ft lb",
            "No phrase of this job has the word 'torqed'. Did you mean 'drain plug torqued to four "
            "one foot pounds' or 'drain plug in torqued to four one foot pounds'?",
        ),
        (
            "drained perhaps 3.6 quarts",
            "No phrase of this job has the word 'perhaps'. "
            "Did you mean 'drained three point six quarts'?",
        ),
        (
            "fill plug tightend",
            "No phrase of this job has the word 'tightend'. "
            "Did you mean 'fill plug in' or 'fill plug loose'?",
        ),
        # what goes in is no hint for what comes out
        (
            "out 3.6 quarts",
            "'out 3.6 quarts' is no phrase of this job. Did you mean 'drained three point six "
            "quarts'?",
        ),
    ],
)
def test_a_hint_is_of_the_same_fastener_and_holds_no_number_but_one_s_own(typed, told):
    assert why_not_understood(typed, TRANSAXLE) == told


@pytest.mark.parametrize(
    "typed",
    [
        "drained 3 lt",  # not three quarts
        "drain plug torqed to 41 in lb",  # not 41 foot-pounds
        "drain plug torqued to 41 kg m",
        "fill plug torqued to 41 ft lb 2",  # which of the two is meant?
        "drained four and a third quart",
    ],
)
def test_a_hint_makes_no_other_value_of_one_s_own(typed):
    told = why_not_understood(typed, TRANSAXLE)
    hints = re.findall(r"'([^']*)'", told.partition("Did you mean")[2])
    assert hints
    meant = [meaning_of(hint, TRANSAXLE) for hint in hints]
    assert not any(meaning.values for meaning in meant if meaning), told


@pytest.mark.parametrize(
    ("typed", "value"),
    [("4 1/3 qt", "13/3"), ("1/3 qt", "1/3"), ("⅔ l", "2/3"), ("1/3 qt.", "1/3")],
)
def test_a_unit_is_understood_behind_a_third(typed, value):
    meaning = meaning_of(typed_words(f"drained {typed}"), TRANSAXLE)
    assert meaning is not None
    assert meaning.values[0].value == Fraction(value)


def test_fragments():
    assert expansions("(no | zero) leaks [at all]") == [
        "no leaks",
        "no leaks at all",
        "zero leaks",
        "zero leaks at all",
    ]
    assert spoken_form("[the] plug (out | removed)") == "plug out"
    with pytest.raises(SheetError, match="never closes"):
        expansions("plug (out")
    with pytest.raises(SheetError, match="bracket too many"):
        expansions("plug) out")


@given(st.fractions(max_denominator=10**4))
def test_numbers_of_a_body_are_exact(value):
    assert Fraction(number(number_text(value))) == value


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_measurements_keep_their_floats(value):
    kept = without_floats({"level": value, "why": None, "many": [value], "text": "plain"})
    assert with_floats(kept) == {"level": value, "why": None, "many": [value], "text": "plain"}


@given(st.from_regex(r"-?[0-9]{1,20}(\.[0-9]{1,5})?(e[0-9])?", fullmatch=True))
def test_the_text_of_a_bar_code_stays_a_text_whatever_its_signs(text):
    label = {"text": text, "outline_px": [[1.5, 2.0]]}
    measured = {"labels": [label], "codes": [text], "vin": text, "level": 0.5}
    assert with_floats(without_floats(measured)) == measured
