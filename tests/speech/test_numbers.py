"""Spoken numbers: every way of saying one means that one, exactly, or is reported as unsure."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joblog.speech.grammar import Grammar
from joblog.speech.numbers import (
    JSGF_NUMBER_RULES,
    parse_number,
    parse_quantity,
    parse_range,
    read_back,
    spoken_forms,
)
from joblog.speech.units_spoken import DIMENSIONS, SPOKEN_UNITS, spoken_names, unit_codes

HEAD = "#JSGF V1.0;\ngrammar t;\n"

# Common practice, no source: they follow from plain English.
QUANTITIES = [
    ("thirty six foot pounds", "36", "lbf.ft"),
    ("three six foot pounds", "36", "lbf.ft"),
    ("one twenty inch pounds", "120", "lbf.in"),
    ("one hundred and twenty inch pounds", "120", "lbf.in"),
    ("one oh five foot pounds", "105", "lbf.ft"),
    ("twenty two point five newton meters", "22.5", "N.m"),
    ("three point three quarts", "3.3", "qt_us"),
    ("three and a third quarts", "10/3", "qt_us"),
    ("three and one third quarts", "10/3", "qt_us"),
    ("a half quart", "1/2", "qt_us"),
    ("half a quart", "1/2", "qt_us"),
    ("a quart and a half", "3/2", "qt_us"),
    ("two and a half quarts", "5/2", "qt_us"),
    ("two and three quarters quarts", "11/4", "qt_us"),
    ("point five quarts", "0.5", "qt_us"),
    ("oh point five quarts", "0.5", "qt_us"),
    ("four point seven five liters", "4.75", "L"),
    ("four point seventy five liters", "4.75", "L"),
    ("niner point fife liters", "9.5", "L"),
    ("twelve fluid ounces", "12", "floz_us"),
    ("sixty six thousand four hundred twelve miles", "66412", "mi"),
    ("minus ten celsius", "-10", "degC"),
    ("quarter of a quart", "1/4", "qt_us"),
    ("three quarters of a quart", "3/4", "qt_us"),
    ("two quarts and a quarter", "9/4", "qt_us"),
    ("an hour and a half", "3/2", "h"),
    ("half an hour", "1/2", "h"),
    ("two minutes thirty seconds", "150", "s"),
    ("two minutes thirty", "150", "s"),
    ("a minute thirty", "90", "s"),
    ("an hour thirty", "90", "min"),
    ("two and three quarter quarts", "11/4", "qt_us"),
    ("one hour and ten minutes", "70", "min"),
    ("a hundred and eighty degrees fahrenheit", "180", "degF"),
    ("thirty-six foot-pounds", "36", "lbf.ft"),
    ("five eighths inch", "5/8", "in"),
    ("thirty five thou", "0.035", "in"),
    ("two thousandths of an inch", "0.002", "in"),
    ("twelve hundred r p m", "1200", "rpm"),
    ("two imperial quarts", "2", "qt_imp"),
]


@pytest.mark.parametrize(("said", "value", "unit"), QUANTITIES)
def test_quantities(said: str, value: str, unit: str) -> None:
    quantity = parse_quantity(said)
    assert quantity is not None
    assert (quantity.value, quantity.unit) == (Fraction(value), unit)
    assert isinstance(quantity.value, Fraction)


# Common practice, no source.
UNSURE = [
    ("three quarters", "3/4", {("3", "qt_us")}),
    ("twelve fifty", "1250", {("12.5", None)}),
    ("one twenty", "120", {("1.2", None)}),
    ("two twenty five", "225", {("2.25", None)}),
    ("twelve oh five foot pounds", "1205", {("12.05", "lbf.ft")}),
    ("oh five", "5", {("0.5", None)}),
]


@pytest.mark.parametrize(("said", "value", "others"), UNSURE)
def test_two_meanings_are_both_reported(
    said: str, value: str, others: set[tuple[str, str | None]]
) -> None:
    quantity = parse_quantity(said)
    assert quantity is not None
    assert quantity.value == Fraction(value)
    assert set(quantity.ambiguous) == {(Fraction(other), unit) for other, unit in others}
    assert quantity.must_confirm
    assert quantity.why


# Teen/ty pairs and how they read back: common practice, no source.
PAIRS = [
    ("thirteen", "thirty", "one three", "three zero"),
    ("fourteen", "forty", "one four", "four zero"),
    ("fifteen", "fifty", "one five", "five zero"),
    ("sixteen", "sixty", "one six", "six zero"),
    ("seventeen", "seventy", "one seven", "seven zero"),
    ("eighteen", "eighty", "one eight", "eight zero"),
    ("nineteen", "ninety", "one nine", "nine zero"),
]


@pytest.mark.parametrize(("teen", "ty", "teen_back", "ty_back"), PAIRS)
def test_teens_and_tens_sound_alike(teen: str, ty: str, teen_back: str, ty_back: str) -> None:
    low, high = parse_number(teen), parse_number(ty)
    assert low is not None
    assert high is not None
    assert low.soundalikes == (high.value,)
    assert high.soundalikes == (low.value,)
    assert low.must_confirm
    assert high.must_confirm
    assert (read_back(low.value), read_back(high.value)) == (teen_back, ty_back)
    joined = parse_number(f"one hundred {ty} point five")
    assert joined is not None
    assert joined.soundalikes == (100 + low.value + Fraction(1, 2),)
    sure = parse_number(f"{ty} six")
    assert sure is not None
    assert not sure.must_confirm


def test_a_unit_that_may_be_two_must_be_asked_for() -> None:
    # Common practice, no source: 'pounds' on a wrench, 'degrees' anywhere.
    pounds = parse_quantity("thirty six pounds")
    assert pounds is not None
    assert (pounds.unit, pounds.units) == (None, ("lbf.ft", "lbf.in"))
    assert pounds.why == "the unit may be foot-pounds or inch-pounds"
    degrees = parse_quantity("sixty one degrees")
    assert degrees is not None
    assert set(degrees.units) == {"degC", "degF", "deg"}
    none = parse_quantity("thirty six")
    assert none is not None
    assert (none.unit, none.units, none.must_confirm) == (None, (), False)


def test_ranges_are_never_sure() -> None:
    # Common practice, no source: 'forty to fifty' may be 'forty two, fifty'.
    said = parse_range("forty to fifty p s i")
    assert said is not None
    assert (said.low, said.high, said.unit) == (40, 50, "psi")
    assert said.why
    assert parse_range("between two and three minutes") is not None
    for text in ("from forty to fifty p s i", "forty foot pounds to fifty foot pounds"):
        found = parse_range(text)
        assert found is not None
        assert (found.low, found.high) == (40, 50)
    assert parse_range("forty quarts to fifty foot pounds") is None
    assert parse_range("two minutes to two and a half") is not None
    for text in ("two minutes to two thirty", "two to two thirty minutes", "one to one ten hours"):
        assert parse_range(text) is None  # 2.3 minutes, or two minutes thirty
    assert parse_quantity("two minutes three") is None
    assert parse_range("forty two fifty") is None
    assert parse_range("fifty to forty") is None
    cold = parse_range("minus thirty to minus thirty five degrees celsius")
    assert cold is not None
    assert (cold.low, cold.high, cold.unit) == (-35, -30, "degC")


@pytest.mark.parametrize(
    "said",
    ["", "point", "three point", "and a half", "thirty thirteen hundred", "six thirty six hundred",
     "quart", "three and", "minus", "twenty hundred", "a", "two halves", "pounds",
     "one hundred hundred", "three point three point three", "half past three", "oh one point two",
     "four, one"],
)  # fmt: skip
def test_what_is_no_number_is_none(said: str) -> None:
    assert parse_number(said) is None
    assert parse_quantity(said) is None


VALUES = st.one_of(
    st.integers(0, 999_999).map(Fraction),
    st.integers(0, 999).map(Fraction),
    st.tuples(st.integers(0, 9999), st.integers(1, 999)).map(lambda p: p[0] + Fraction(p[1], 1000)),
    st.tuples(st.integers(0, 99), st.integers(1, 7), st.sampled_from([2, 3, 4, 8])).map(
        lambda p: p[0] + Fraction(p[1] % p[2] or 1, p[2])
    ),
)


@settings(max_examples=300)
@given(VALUES, st.booleans())
def test_every_way_of_saying_a_value_means_it(value: Fraction, negative: bool) -> None:
    value = -value if negative else value
    for form in spoken_forms(value):
        reading = parse_number(form)
        assert reading is not None, form
        assert value in (reading.value, *reading.ambiguous), form
        if reading.value != value:
            assert reading.must_confirm


@settings(max_examples=200)
@given(VALUES.filter(lambda v: v < 10_000))
def test_the_grammar_accepts_every_way(value: Fraction) -> None:
    compiled = Grammar.from_text(HEAD + "public <s> = <number>;\n" + JSGF_NUMBER_RULES)
    for form in spoken_forms(value):
        assert compiled.parse(form) is not None, form


def test_everything_that_the_rules_accept_is_understood() -> None:
    number = Grammar.from_text(HEAD + "public <s> = <number>;\n" + JSGF_NUMBER_RULES)
    for words in [*number.sentences(1500), *number.graph.sample(1500)]:
        reading = parse_number(words)
        assert reading is not None, words
        if not reading.must_confirm and reading.value >= 0 and reading.value.denominator < 9:
            assert reading.value in _values_said_as(words, reading.value)


def _values_said_as(words: tuple[str, ...], value: Fraction) -> set[Fraction]:
    """The value again, through saying it and reading that."""
    again = {parse_number(form) for form in spoken_forms(value)}
    return {reading.value for reading in again if reading is not None}


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_every_quantity_that_the_rules_accept_is_understood(dimension: str) -> None:
    rules = HEAD + f"public <s> = <{dimension}_quantity>;\n" + JSGF_NUMBER_RULES
    compiled = Grammar.from_text(rules)
    for words in [*compiled.sentences(150), *compiled.graph.sample(250, seed=1)]:
        quantity = parse_quantity(words)
        assert quantity is not None, words
        if quantity.unit is not None:
            units = (quantity.unit, *quantity.units)
            # 'degrees' of a temperature may as well be an angle, and is then asked for
            assert any(SPOKEN_UNITS[unit].dimension == dimension for unit in units)


def test_unit_names_lead_to_their_codes() -> None:
    for code in SPOKEN_UNITS:
        for name in spoken_names(code):
            assert code in unit_codes(name)
    assert unit_codes("foot-pounds") == ("lbf.ft",)
    assert unit_codes("pound feet") == ("lbf.ft",)
    assert unit_codes("furlongs") == ()


@settings(max_examples=150)
@given(st.integers(0, 999_999))
def test_whole_numbers_of_another_library(number: int) -> None:
    num2words = pytest.importorskip("num2words").num2words
    said = num2words(number)
    reading = parse_number(said)
    assert reading is not None
    assert reading.value == number
    assert not reading.ambiguous


@settings(max_examples=150)
@given(st.integers(0, 99_999), st.integers(1, 4))
def test_decimals_of_another_library(scaled: int, places: int) -> None:
    num2words = pytest.importorskip("num2words").num2words
    value = Decimal(scaled).scaleb(-places)
    said = num2words(value)
    reading = parse_number(said)
    assert reading is not None, said
    assert reading.value == Fraction(value)


@settings(max_examples=100)
@given(st.integers(0, 999_999))
def test_another_library_reads_what_we_say(number: int) -> None:
    text_to_num = pytest.importorskip("text_to_num")
    assert text_to_num.text2num(spoken_forms(number)[0], "en") == number


def test_known_defect_of_another_library() -> None:
    # text2num 3.1.0 splits 'one twenty' [library: text2num==3.1.0]; we read 120 or 1.20.
    text_to_num = pytest.importorskip("text_to_num")
    assert text_to_num.alpha2digit("one twenty", "en") != "120"
    reading = parse_number("one twenty")
    assert reading is not None
    assert (reading.value, reading.ambiguous) == (120, (Fraction(6, 5),))


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        ("36", "lbf.ft", "three six foot-pounds"),
        ("1", "lbf.ft", "one foot-pound"),
        ("3.30", "qt_us", "three point three quarts"),
        ("10/3", "qt_us", "three and one third quarts"),
        ("1/2", "qt_us", "zero point five quarts"),
        ("2/3", None, "two thirds"),
        ("-10", "degC", "minus one zero degrees celsius"),
        ("66412", "mi", "six six four one two miles"),
        ("100", "percent", "one zero zero percent"),
        ("5/7", "mm", "five over seven millimeters"),
    ],
)
def test_read_back_digit_by_digit(value: str, unit: str | None, said: str) -> None:
    # Digit by digit [standard: ICAO Annex 10 vol. II, 5.2.1.4]; 'point' is common practice.
    assert read_back(Fraction(value), unit) == said


@settings(max_examples=200)
@given(VALUES, st.sampled_from(sorted(SPOKEN_UNITS)))
def test_what_is_read_back_means_the_value(value: Fraction, unit: str) -> None:
    said = read_back(value, unit)
    if " over " in said:
        return
    quantity = parse_quantity(said)
    assert quantity is not None, said
    assert quantity.value == value
    assert unit in (quantity.unit, *quantity.units)
    # Read-back must leave no doubt, save where a zero before the other digits is said.
    assert quantity.soundalikes == ()


@pytest.mark.parametrize(
    ("said", "value", "unit"),
    [
        ("one quart four ounces", 36, "floz_us"),
        ("a quart and four fluid ounces", 36, "floz_us"),
        ("two gallons one quart", 9, "qt_us"),
        ("one quart forty ounces", 72, "floz_us"),
        ("one liter two hundred milliliters", 1200, "mL"),
    ],
)
def test_an_amount_in_two_units_is_read_in_the_smaller(said: str, value: int, unit: str) -> None:
    quantity = parse_quantity(said)
    assert quantity is not None
    assert (quantity.value, quantity.unit) == (value, unit)


@pytest.mark.parametrize("said", ["one quart one quart", "one pint one quart", "one quart twelve"])
def test_two_units_that_do_not_go_together_are_no_amount(said: str) -> None:
    assert parse_quantity(said) is None
