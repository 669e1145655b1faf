"""Service history: trends over the jobs of one unit, on one page."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pikepdf
import pytest

from joblog.errors import InputError, RecordError
from joblog.report.attached import record_from_pdf
from joblog.report.history_report import build_history
from joblog.report.html import render_html
from joblog.report.model import Report
from joblog.report.pdf import render_pdf


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
