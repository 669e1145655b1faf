"""When the next service is due, and what page 1 says of work that wasn't done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from joblog.report.model import Report

RUNNING = "after 2,000 h of running"
MACHINE = {"type": "HP-60", "make": "Example", "model": "Pack"}


def plain(texts: tuple[str, ...]) -> list[str]:
    return [text.replace("\u00a0", " ") for text in texts]


def whole_job(new_script: Any, unit: dict[str, str], key: str = "hydraulic-pack") -> Any:
    """Return a script of ``key`` on which every step was marked and the job closed."""
    s = new_script(sheet_key=key, number=60)
    s.open(unit=unit)
    for step in s.sheet.steps:
        s.step(step.key)
    s.add("job-closed", {"how": "finished", "reason": ""})
    return s


@pytest.mark.parametrize(
    ("meter", "wanted"),
    [
        # The sheet says 2000 h or 12 months; the job was opened on 24 November 2026.
        ({}, [RUNNING, "November 2027"]),
        ({"odometer": "88412", "odometer_unit": "km"}, [RUNNING, "November 2027"]),
        # 450.5 h + 2000 h
        ({"odometer": "450.5", "odometer_unit": "h"}, ["2,450.5 h", "November 2027"]),
        # a meter that can't be read takes nothing else with it
        ({"odometer": "7", "odometer_unit": "parsec"}, [RUNNING, "November 2027"]),
    ],
)  # fmt: skip
def test_hours_until_the_next_service_are_told_with_and_without_an_hour_meter(
    meter: dict[str, str], wanted: list[str], new_script: Any, make: Callable[..., Report]
) -> None:
    due = make(whole_job(new_script, MACHINE | meter)).front.due
    assert due is not None
    assert plain(due.figures) == wanted
    assert due.note == "whichever comes first"
    assert due.watch


def test_hours_of_running_are_told_in_the_readers_language(
    new_script: Any, make: Callable[..., Report]
) -> None:
    due = make(whole_job(new_script, MACHINE), language="es").front.due
    assert due is not None
    assert "funcionamiento" in due.figures[0]


def test_a_distance_without_an_odometer_is_told_as_before(
    new_script: Any, make: Callable[..., Report]
) -> None:
    due = make(whole_job(new_script, {"type": "KT-6F"}, "transaxle-drain-fill")).front.due
    assert due is not None
    assert plain(due.figures) == ["in 40,000 mi", "November 2030"]


def test_a_dial_in_kilometres_is_told_in_whole_ones(
    new_script: Any, make: Callable[..., Report]
) -> None:
    unit = {"type": "KT-6F", "odometer": "120350", "odometer_unit": "km"}
    script = whole_job(new_script, unit, "transaxle-drain-fill")
    due = make(script, units="metric").front.due
    assert due is not None
    assert plain(due.figures)[0] == "184,724 km"  # 120,350 + 40,000 mi of 1.609344 km


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_was_planned_is_not_told_as_done(
    language: str, new_script: Any, make: Callable[..., Report]
) -> None:
    """The wheels were never torqued: nothing on page 1 may say that they were."""
    s = new_script(sheet_key="wheel-refit", number=61)
    s.open(unit={"make": "Kestrel"}, complaint="")
    s.step("on-stands")
    s.add("job-closed", {"how": "finished", "reason": ""})
    f = make(s, language=language).front
    (planned,) = f.came_for
    start = {"en": "What was planned: ", "es": "Lo previsto: "}[language]
    assert planned.startswith(start)
    assert "were fitted" not in planned
    assert "se montaron" not in planned
    counted = {"en": "1 step of the work was done;", "es": "Se hizo 1 paso del trabajo;"}
    assert [line.startswith(counted[language]) for line in f.done] == [True]
