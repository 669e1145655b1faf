"""Units against a reference library, exactness as a property, and bad input."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joblog.errors import InputError
from joblog.measure import (
    UNITS,
    Quantity,
    convert,
    convert_difference,
    exact,
    format_quantity,
    rounded,
    same,
    to_decimal,
    total,
)
from joblog.measure.units import _ELSEWHERE, _SPELT, unit_of

PINT_NAMES = {
    "N.m": "newton*meter", "lbf.ft": "force_pound*foot", "lbf.in": "force_pound*inch",
    "kgf.m": "force_kilogram*meter", "N": "newton", "lbf": "force_pound", "L": "liter",
    "mL": "milliliter", "qt_us": "quart", "pt_us": "pint", "gal_us": "gallon",
    "floz_us": "fluid_ounce", "qt_imp": "imperial_quart", "gal_imp": "imperial_gallon",
    "kPa": "kilopascal", "bar": "bar", "psi": "psi", "degC": "degC", "degF": "degF",
    "um": "micrometer", "mm": "millimeter", "in": "inch", "km": "kilometer", "mi": "mile",
    "s": "second", "min": "minute", "h": "hour", "rpm": "revolutions_per_minute", "deg": "degree",
    "V": "volt", "A": "ampere", "percent": "percent",
}  # fmt: skip

decimals = st.decimals("-1000000", "1000000", places=4)
codes = st.sampled_from([code for code in UNITS if UNITS[code].dimension != "temperature"])


def of_same_dimension(code: str) -> list[str]:
    return [u.code for u in UNITS.values() if u.dimension == UNITS[code].dimension]


@pytest.mark.parametrize("code", UNITS)
def test_every_unit_agrees_with_pint(code: str) -> None:
    # [library: pint==0.25.3]
    pint = pytest.importorskip("pint", reason="pint is in the dev extra")
    registry: Any = pint.UnitRegistry(non_int_type=Decimal)
    for other in of_same_dimension(code):
        theirs = registry.Quantity(Decimal("12.5"), PINT_NAMES[code]).to(PINT_NAMES[other])
        ours = to_decimal(convert(Quantity.of("12.5", code), other).value)
        assert abs(theirs.magnitude - ours) <= abs(ours) * Decimal("1e-15")


@given(decimals, codes, st.data())
def test_there_and_back_is_exactly_the_same(value: Decimal, code: str, data: st.DataObject) -> None:
    other = data.draw(st.sampled_from(of_same_dimension(code)))
    start = Quantity(value, code)
    assert convert(convert(start, other), code).exact == start.exact
    assert same(start, convert(start, other))


@given(st.lists(st.tuples(decimals, st.sampled_from(of_same_dimension("L"))), max_size=12))
def test_a_sum_in_mixed_units_does_not_depend_on_order(parts: list[tuple[Decimal, str]]) -> None:
    quantities = [Quantity(value, unit) for value, unit in parts]
    forward, backward = total(quantities, "qt_us"), total(reversed(quantities), "gal_imp")
    assert convert(backward, "qt_us").exact == forward.exact


def test_thirds_of_a_bottle_are_exact() -> None:
    third = Quantity.of("1/3", "qt_us")
    assert total([third, third, third], "qt_us").exact == 1
    assert same(total([Quantity.of(1, "gal_us")], "qt_us"), Quantity.of(4, "qt_us"))


@given(st.fractions(-1000, 1000, max_denominator=10**6), st.integers(0, 6))
def test_rounding_is_nearest_with_halves_away_from_zero(value: Fraction, places: int) -> None:
    found = Fraction(rounded(value, places))
    step = Fraction(1, 10**places)
    assert abs(found - value) <= step / 2
    if abs(found - value) == step / 2:
        assert abs(found) > abs(value)


@pytest.mark.parametrize(
    ("value", "unit", "places", "text"),
    [
        ("3.3", "qt_us", None, "3.3 US qt"),
        ("1/3", "qt_us", None, "0.333 US qt"),
        ("48.809446", "N.m", 1, "48.8 N·m"),
        ("0.25", "in", 1, "0.3 in"),
        ("-0.25", "degC", 1, "-0.3 °C"),
        ("43.42", "percent", 1, "43.4%"),
        (100, "km", None, "100 km"),
        ("1000000", "mi", 0, "1000000 mi"),
    ],
)
def test_format(value: str, unit: str, places: int | None, text: str) -> None:
    assert format_quantity(Quantity.of(value, unit), places) == text


def test_format_in_words() -> None:
    assert format_quantity(Quantity.of(1, "qt_us"), words=True) == "1 quart"
    assert format_quantity(Quantity.of("3.3", "qt_us"), words=True) == "3.3 quarts"


@pytest.mark.parametrize(
    "value", [3.3, True, float("nan"), "three", "1e9", "1/0", "", "٣", Decimal("NaN"), None]
)
def test_inexact_or_absurd_numbers_are_refused(value: Any) -> None:
    with pytest.raises(InputError):
        exact(value)


def test_a_huge_exponent_is_refused_at_once() -> None:
    with pytest.raises(InputError, match="no measurement"):
        exact(Decimal("1e999999999"))


def test_an_unknown_unit_names_the_right_one() -> None:
    with pytest.raises(InputError, match=r"'ft-lb' is unknown; write 'lbf\.ft'"):
        Quantity.of(36, "ft-lb")  # common practice, no source
    with pytest.raises(InputError, match=r"write one of N\.m, lbf\.ft"):
        Quantity.of(1, "smoot")


def test_a_torque_in_litres_is_refused() -> None:
    with pytest.raises(InputError, match=r"30 N·m is a torque .* L, which is a volume"):
        convert(Quantity.of(30, "N.m"), "L")
    with pytest.raises(InputError):
        Quantity.of(30, "N.m") + Quantity.of(1, "L")
    with pytest.raises(InputError):
        convert_difference(1, "degC", "L")


def test_below_absolute_zero_is_refused() -> None:
    Quantity.of("-273.15", "degC")
    with pytest.raises(InputError, match="below absolute zero"):
        Quantity.of("-273.16", "degC")
    with pytest.raises(InputError, match="below absolute zero"):
        Quantity.of("-459.68", "degF")


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("PSI", "write 'psi'"),
        ("ft lbs", "write 'lbf.ft'"),
        ("in-lbs", "write 'lbf.in'"),
        ("Volt", "write 'V'"),
        ("mbar", "write it in kPa (1 mbar is 0.1 kPa)"),
        ("hPa", "write it in kPa (1 hPa is 0.1 kPa)"),
        ("inHg", "write it in kPa (1 inHg is 3.386 kPa)"),
        ("mmHg", "write it in kPa (1 mmHg is 0.1333 kPa)"),
        ("lb", "write one of N.m, "),
        ("furlong", "write one of N.m, "),
    ],
)
def test_no_other_unit_is_offered_because_it_is_spelled_alike(written: str, hint: str) -> None:
    with pytest.raises(InputError) as told:
        unit_of(written)
    assert hint in str(told.value)


def test_every_spelling_that_is_offered_is_a_unit() -> None:
    assert set(_SPELT.values()) == set(UNITS)
    assert {text.partition(" ")[0] for text in _ELSEWHERE.values()} <= set(UNITS)
