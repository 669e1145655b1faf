"""Service history: trends over the jobs of one unit, on one page."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pikepdf
import pytest

from joblog.errors import InputError, RecordError
from joblog.report.attached import record_from_pdf
from joblog.report.context import Context
from joblog.report.history_report import build_history
from joblog.report.html import render_html
from joblog.report.language import Language
from joblog.report.model import Chart, Report
from joblog.report.past import Past, past_of
from joblog.report.pdf import render_pdf
from joblog.report.settings import ShopSettings
from joblog.report.trends import trends
from joblog.report.visuals import debris


def test_the_history_is_one_page_with_every_service(full: Any, earlier: list[Any]) -> None:
    history = build_history([full.state(), *earlier])
    assert history.front.verdict == "3 services since October 20, 2025."
    assert [s.date for s in history.history] == [
        "November 24, 2026",
        "May 8, 2026",
        "October 20, 2025",
    ]
    assert {c.key for c in history.charts} == {
        "debris",
        "trend-flake",
        "trend-film",
        "trend-level",
        "trend-filled",
    }
    pdf = pikepdf.open(io.BytesIO(render_pdf(history)))
    assert len(pdf.pages) == 1
    assert "November 24, 2026" in render_html(history)


def test_trends_stand_in_the_order_of_time(full: Any, earlier: list[Any]) -> None:
    history = build_history([full.state(), *reversed(earlier)])
    flake = next(c for c in history.charts if c.key == "trend-flake")
    assert flake.text.replace("\u00a0", " ") == (
        "Oct 20, 2025: 0.4 mm, May 8, 2026: 0.9 mm, and Nov 24, 2026: 1.2 mm."
    )


def trend_of(full: Any, key: str, services: list[Past]) -> Chart:
    c = Context(full.state(), Language.find("en"), "us", ShopSettings())
    return next(chart for chart in trends(c, tuple(services)) if chart.key == key)


def test_a_trend_says_what_was_not_measured_and_what_was_not_found(full: Any) -> None:
    now = past_of(full.state())
    refused = replace(now, at="2026-08-02T10:00:00Z", film="", longest_mm="", flakes={}, plug=False)
    clean = replace(now, at="2026-09-02T10:00:00Z", longest_mm="", flakes={})
    other = replace(refused, at="2026-10-02T10:00:00Z", sheet="coolant")  # wants no plug
    services = [replace(now, at="2026-05-02T10:00:00Z"), refused, clean, other, now]
    assert trend_of(full, "trend-flake", services).text.replace("\u00a0", " ") == (
        "May 2, 2026: 1.2 mm, Aug 2, 2026: not measured, Sep 2, 2026: none found, "
        "and Nov 24, 2026: 1.2 mm."
    )


def test_services_of_one_day_are_told_apart_by_their_time(full: Any) -> None:
    now = past_of(full.state())
    again = replace(now, at="2026-11-24T15:30:00Z", longest_mm="0.5")
    text = trend_of(full, "trend-flake", [now, again]).text.replace("\u00a0", " ")
    assert text == "Nov 24, 2026 09:12: 1.2 mm and Nov 24, 2026 15:30: 0.5 mm."
    few = [replace(one, flakes={"G": 1}) for one in (now, again)]
    c = Context(full.state(), Language.find("en"), "us", ShopSettings())
    told = debris(c, tuple(few)).text
    assert "Nov 24, 2026 09:12: 1" in told
    assert "Nov 24, 2026 15:30: 1" in told


def test_a_trend_of_many_services_says_that_it_shows_the_last(full: Any) -> None:
    now = past_of(full.state())
    many = [replace(now, at=f"2026-{month:02}-02T10:00:00Z") for month in range(1, 11)]
    title = "Longest flake found (the last 6 of 10 services)"
    assert trend_of(full, "trend-flake", many).title == title
    assert trend_of(full, "trend-flake", many[:6]).title == "Longest flake found"


def test_a_report_quotes_earlier_services_with_their_hash(
    full: Any, make: Callable[..., Report], earlier: list[Any]
) -> None:
    report = make(full, history=[*earlier, full.state()])  # the job itself is no earlier one
    assert [s.hash for s in report.history] == [j.final_hash for j in reversed(earlier)]


def test_a_history_carries_no_record_and_says_so(full: Any, earlier: list[Any]) -> None:
    pdf = render_pdf(build_history([full.state(), *earlier]))
    with pytest.raises(RecordError, match="this is a service history"):
        record_from_pdf(pdf)


def test_jobs_of_two_vehicles_are_refused(new_script: Any, full: Any) -> None:
    jobs = []
    for number, vin in ((40, "1M8GDM9AXKP042788"), (41, "11111111111111111")):
        s = new_script(number=number)
        s.open(unit={"vin": vin})
        jobs.append(s.state())
    with pytest.raises(InputError, match="different units"):
        build_history(jobs)
    with pytest.raises(InputError, match="no job"):
        build_history([])
