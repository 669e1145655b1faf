"""Accept, ask or reject: thresholds against the costs that they are meant to balance."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joblog.speech.accept import KNOWN_VOICE, NUMBER_WORDS, Stakes, decide
from joblog.speech.number_words import TEENS_TABLE, TENS_TABLE, UNITS_TABLE
from joblog.speech.types import Alternative, Verdict

PLAIN = ("drain", "plug", "out")
NUMBER = ("torque", "two", "seven", "foot", "pounds")
DIGITS = ("two", "seven", "oh", "four")
COSTS = st.floats(1.5, 1000.0)
SENTENCES = st.sampled_from([PLAIN, NUMBER, DIGITS])
SURE = st.floats(0.0, 1.0)


@given(COSTS, SURE)
def test_accepts_exactly_where_a_wrong_sentence_costs_less_than_asking(
    stake: float, confidence: float
) -> None:
    """Expected costs: accepting (1 - p) * stake, asking 1 [decision theory: C. K. Chow 1970]."""
    accepting = (1.0 - confidence) * stake
    if abs(accepting - 1.0) > 1e-9:
        threshold = Stakes(plain=stake).threshold(PLAIN)
        assert (confidence >= threshold) is (accepting < 1.0)


def test_numbers_cost_more_than_words_and_bare_digits_most() -> None:
    stakes = Stakes(plain=5.0, number=10.0, digits=25.0)
    assert stakes.threshold(PLAIN) == pytest.approx(0.80)
    assert stakes.threshold(NUMBER) == pytest.approx(0.90)
    assert stakes.threshold(DIGITS) == pytest.approx(0.96)
    assert stakes.threshold(("two",)) == pytest.approx(0.96)


def test_a_learnt_voice_must_be_surer_of_bare_digits_alone() -> None:
    assert KNOWN_VOICE.threshold(DIGITS) == pytest.approx(0.9875)
    assert KNOWN_VOICE.threshold(PLAIN) == Stakes().threshold(PLAIN)
    assert KNOWN_VOICE.threshold(NUMBER) == Stakes().threshold(NUMBER)


def test_shipped_stakes_keep_that_order() -> None:
    stakes = Stakes()
    in_order = [stakes.threshold(words) for words in (PLAIN, NUMBER, DIGITS)]
    assert in_order == sorted(set(in_order))
    assert stakes.reject < in_order[0]


@pytest.mark.parametrize("word", [*UNITS_TABLE, *TEENS_TABLE, *TENS_TABLE, "zero", "oh", "point"])
def test_every_spoken_figure_is_a_number(word: str) -> None:
    assert word in NUMBER_WORDS
    assert Stakes().threshold(("torque", word)) == Stakes().threshold(NUMBER)


def test_a_tag_overrides_and_the_dearest_of_several_counts() -> None:
    stakes = Stakes(by_tag={"step:drain": 2.0, "control:complete": 50.0})
    assert stakes.threshold(NUMBER, ["step:drain"]) == pytest.approx(0.5)
    both = ["step:drain", "control:complete"]
    assert stakes.threshold(PLAIN, both) == pytest.approx(0.98)
    assert stakes.threshold(PLAIN, reversed(both)) == pytest.approx(0.98)
    assert stakes.threshold(NUMBER, ["unheard of"]) == Stakes().threshold(NUMBER)


@pytest.mark.parametrize(
    ("words", "confidence", "verdict"),
    [
        (PLAIN, 0.85, Verdict.ACCEPT),
        (NUMBER, 0.85, Verdict.ASK),
        (NUMBER, 0.93, Verdict.ACCEPT),
        (DIGITS, 0.97, Verdict.ASK),
        (DIGITS, 0.985, Verdict.ACCEPT),
    ],
)
def test_the_same_confidence_is_enough_for_words_and_not_for_numbers(
    words: tuple[str, ...], confidence: float, verdict: Verdict
) -> None:
    assert decide(words, confidence, (), Stakes())[0] is verdict


def test_thresholds_are_met_by_reaching_them() -> None:
    stakes = Stakes()
    assert decide(NUMBER, stakes.threshold(NUMBER), (), stakes)[0] is Verdict.ACCEPT
    assert decide(NUMBER, stakes.threshold(NUMBER) - 1e-9, (), stakes)[0] is Verdict.ASK
    assert decide(PLAIN, stakes.reject, (), stakes)[0] is Verdict.ASK
    assert decide(PLAIN, stakes.reject - 1e-9, (), stakes)[0] is Verdict.REJECT


def test_tags_reach_the_decision() -> None:
    stakes = Stakes(by_tag={"control:complete": 50.0})
    assert decide(PLAIN, 0.95, (), stakes)[0] is Verdict.ACCEPT
    assert decide(PLAIN, 0.95, (), stakes, ["control:complete"])[0] is Verdict.ASK


def test_question_names_the_two_best_readings() -> None:
    others = (
        Alternative("torque two eleven foot pounds", 0.3),
        Alternative("torque two foot pounds", 0.1),
    )
    verdict, why = decide(NUMBER, 0.5, others, Stakes())
    assert verdict is Verdict.ASK
    assert why == "Was it 'torque two seven foot pounds' or 'torque two eleven foot pounds'?"


@pytest.mark.parametrize("others", [(), (Alternative("torque two eleven foot pounds", 0.01),)])
def test_question_leaves_out_a_reading_that_nobody_believes(
    others: tuple[Alternative, ...],
) -> None:
    assert decide(NUMBER, 0.5, others, Stakes()) == (
        Verdict.ASK,
        "Was it 'torque two seven foot pounds'?",
    )


def test_rejection_says_so_and_offers_nothing_to_confirm() -> None:
    verdict, why = decide(NUMBER, 0.05, (Alternative("engine off", 0.04),), Stakes())
    assert verdict is Verdict.REJECT
    assert why == (
        "Nothing that can be said here fits; nearest was 'torque two seven foot pounds'."
    )


@given(SENTENCES, SURE, SURE)
def test_more_confidence_never_makes_it_more_careful(
    words: tuple[str, ...], one: float, other: float
) -> None:
    order = [Verdict.REJECT, Verdict.ASK, Verdict.ACCEPT]
    low, high = (decide(words, sure, (), Stakes()) for sure in sorted((one, other)))
    assert order.index(low[0]) <= order.index(high[0])
    for verdict, why in (low, high):
        assert (why is None) is (verdict is Verdict.ACCEPT)
