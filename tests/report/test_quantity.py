"""Values in the reader's units."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from joblog.report.language import Language
from joblog.report.quantity import between, quantity

EN, ES = Language.find("en"), Language.find("es")

# Converted by the factors of NIST SP 811 (2008), App. B: 1 ft-lbf = 1.355 817 9 N·m,
# 1 US qt = 0.946 352 946 L, 1 mi = 1.609 344 km, t/°C = (t/°F - 32)/1.8.
CASES = [
    ("40", "lbf.ft", "metric", "54.2 N·m"),
    ("40", "lbf.ft", "us", "40 lbf·ft"),
    ("40", "lbf.ft", "both", "40 lbf·ft (54.2 N·m)"),
    ("3.7", "qt_us", "metric", "3.50 L"),
    ("5", "L", "us", "5.28 US qt"),
    ("80", "degC", "us", "176 °F"),
    ("88412", "mi", "metric", "142,285 km"),
    ("62", "s", "both", "62 s"),
]


@pytest.mark.parametrize(("value", "unit", "units", "wanted"), CASES)
def test_values_are_shown_in_the_readers_units(
    value: str, unit: str, units: str, wanted: str
) -> None:
    shown = quantity(EN, Decimal(value), unit, units)  # type: ignore[arg-type]
    assert shown.replace("\u00a0", " ") == wanted


def test_a_third_is_not_shown_with_endless_digits() -> None:
    assert quantity(EN, Fraction(10, 3), "qt_us", "us") == "3.33\u00a0US\u00a0qt"


def test_what_was_recorded_keeps_its_digits() -> None:
    assert quantity(EN, Decimal("2.875"), "qt_us", "us") == "2.875\u00a0US\u00a0qt"


def test_ranges_say_their_open_end() -> None:
    low, high = Decimal(25), Decimal(31)
    assert between(EN, low, high, "lbf.ft", "us") == "25 to 31 lbf·ft"
    assert between(EN, low, None, "lbf.ft", "us") == "at least 25 lbf·ft"
    assert between(ES, None, high, "lbf.ft", "us") == "como mucho 31 lbf·ft"
    assert between(EN, None, None, "lbf.ft", "both") == ""


def test_an_unknown_unit_is_printed_as_it_was_recorded() -> None:
    assert quantity(EN, Decimal(3), "furlong", "both") == "3\u00a0furlong"
