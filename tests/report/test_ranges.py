"""Readings that are a range, in both languages and both systems of units."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from joblog.report.attached import data_from_pdf, verify_report_pdf
from joblog.report.build import core
from joblog.report.charts.gauge import gauge
from joblog.report.html import render_html
from joblog.report.language import Language
from joblog.report.model import Report
from joblog.report.pdf import render_pdf
from joblog.report.quantity import quantity, ranged

EN, ES = Language.find("en"), Language.find("es")
SVG = "{http://www.w3.org/2000/svg}"


def fluid(low: str, high: str) -> dict[str, Any]:
    return {
        "step": "warmed-up", "name": "fluid temperature", "low": low, "high": high, "unit": "degC",
    }  # fmt: skip


@pytest.fixture
def warm(new_script: Callable[..., Any]) -> Any:
    """A job on which the temperature was read as 50 to 60 °C, then corrected to 85 to 95 °C."""
    s = new_script(number=31)
    s.open()
    s.step("unit-checked")
    first = s.say("fluid temperature fifty to sixty celsius", "reading", fluid("50", "60"))
    said = "correction fluid temperature eighty five to ninety five celsius"
    s.say(said, "reading", fluid("85", "95"), supersedes=first)
    s.step("warmed-up")
    s.add("job-closed", {"how": "aborted", "reason": "no time"})
    return s


@pytest.mark.parametrize(
    ("language", "units", "value", "sentence"),
    [
        ("en", "metric", "85 to 95 °C", "85 to 95 °C was reported; specified is 40 to 90 °C"),
        ("en", "us", "185 to 203 °F", "185 to 203 °F was reported; specified is 104 to 194 °F"),
        ("en", "both", "85 to 95 °C (185 to 203 °F)", "85 to 95 °C (185 to 203 °F) was reported"),
        ("es", "metric", "85 a 95 °C", "85 a 95 °C"),
        ("es", "us", "185 a 203 °F", "185 a 203 °F"),
    ],
)
def test_both_ends_stand_in_the_table_and_in_the_finding(  # noqa: PLR0917 - pytest's fixtures and cases
    warm: Any, make: Callable[..., Report], language: str, units: str, value: str, sentence: str
) -> None:
    report = make(warm, language=language, units=units)
    (row,) = [m for m in report.measured if "°" in m.value]
    assert row.value == value
    assert row.inside is False
    assert row.gauge.count("<path") == 1  # 95 is outside, 85 is not
    (struck,) = row.struck
    assert struck.value.startswith(("50 ", "122 "))
    assert value.split(" ")[1] in struck.value  # 'to', or 'a'
    html = render_html(report).replace("\u00a0", " ")
    assert sentence in html
    if units == "us":
        kept = "recorded as 85 to 95 °C" if language == "en" else "85 a 95 °C"
        assert kept in html


def test_the_pdf_holds_the_range_and_verifies(warm: Any, make: Callable[..., Report]) -> None:
    report = make(warm)
    pdf = render_pdf(report, warm.record())
    assert verify_report_pdf(pdf).agree
    assert '["85", "95"]' in json.dumps(data_from_pdf(pdf))


def test_one_number_is_in_the_data_as_it_always_was(warm: Any, full: Any) -> None:
    assert [value[1] for value in core(warm.state())["values"]] == [["85", "95"]]
    assert all(isinstance(value[1], str) for value in core(full.state())["values"])


def test_two_ends_stay_two_in_other_units() -> None:
    def told(low: str, high: str, unit: str, units: Any, limit: str = "") -> str:
        limits = [None, Decimal(limit)] if limit else []
        return ranged(EN, (Decimal(low), Decimal(high)), unit, units, limits).replace("\u00a0", " ")

    assert told("40", "41", "psi", "metric") == "276 to 283 kPa"
    assert told("60.1", "60.2", "degC", "us") == "140.2 to 140.4 °F"
    assert ranged(ES, (Decimal(40), Decimal(41)), "psi", "us") == "40 a 41 psi"
    # 90 °C are 194 °F: an end over the limit is not rounded onto it.
    assert told("70", "90.1", "degC", "us", "90") == "158 to 194.2 °F"
    # 28.78 N are 6.47 lbf: whole it is not 7, as 6.504 is, but with a decimal it is 6.5, too.
    assert told("28.93", "31.74", "N", "us", "28.78") == "6.50 to 7.1 lbf"


def test_what_is_converted_is_shown_in_the_unit_of_its_limits() -> None:
    def told(unit: str, units: Any, limits_in: str) -> str:
        both = (Decimal(140), Decimal(145))
        shown = (
            ranged(EN, both, unit, units, [], limits_in=limits_in),
            quantity(EN, both[0], unit, units, limits_in=limits_in),
        )
        return " / ".join(shown).replace("\u00a0", " ")

    # 1 psi is 6.894757 kPa (NIST SP 811, appendix B.8), 1 bar 100 kPa
    assert told("psi", "metric", "bar") == "9.65 to 10.00 bar / 9.65 bar"
    assert told("psi", "metric", "kPa") == "965 to 1,000 kPa / 965 kPa"
    assert told("psi", "both", "bar") == "140 to 145 psi (9.65 to 10.00 bar) / 140 psi (9.65 bar)"
    assert told("psi", "us", "bar") == "140 to 145 psi / 140 psi"
    assert told("bar", "us", "kPa") == told("bar", "us", "psi") == told("bar", "us", "")
    assert told("psi", "metric", "L") == told("psi", "metric", "")


def test_a_minute_has_no_system() -> None:
    assert ranged(EN, (Decimal(2), Decimal(3)), "min", "both") == "2 to 3 min"


def lines(svg: str) -> list[tuple[float, float]]:
    found = [
        (float(x.get("x1", 0)), float(x.get("x2", 0)))
        for x in ET.fromstring(svg).iter(f"{SVG}line")
    ]
    return found


def test_the_gauge_marks_both_ends_and_what_lies_between() -> None:
    one = gauge("a", Decimal(50), Decimal(40), Decimal(90), "t")
    both = gauge("a", Decimal(50), Decimal(40), Decimal(90), "t", upper=Decimal(60))
    assert one.count("<path") == both.count("<path") == 0
    drawn = {line for line in lines(both) if line not in lines(one)}
    (joining,) = [line for line in drawn if line[0] != line[1]]
    (mark,) = [line for line in drawn if line[0] == line[1]]
    assert joining[1] == mark[0] > joining[0]
    out = gauge("a", Decimal(50), Decimal(40), Decimal(90), "t", upper=Decimal(95))
    assert out.count("<path") == 1  # the end outside is an open diamond
