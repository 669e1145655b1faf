"""Windows, waits and estimates that can't be; minutes written where seconds belong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from joblog.sheet.complaints import Complaint, Found, plain
from joblog.sheet.model import Sheet, Step

SHORTEST_WINDOW = 5  # seconds in which something can still be read and said; our own choice
LONGEST_WINDOW = 48 * 3600
LONGEST_JOB = 30 * 24 * 60  # minutes
FARTHEST = {"km": 1_000_000, "mi": 1_000_000}

_NUMBERS = dict(
    zip(
        "one two three four five six seven eight nine ten fifteen twenty thirty sixty".split(),  # noqa: SIM905 - legible
        (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 15, 20, 30, 60),
        strict=True,
    )
)
_DURATION = re.compile(
    rf"\b(\d+(?:\.\d+)?|{'|'.join(_NUMBERS)})[ -]?(s|secs?|seconds?|min|mins?|minutes?|h|hours?)\b",
    re.IGNORECASE,
)


def _windows(sheet: Sheet) -> Found:
    for i, step in enumerate(sheet.steps):
        window = step.window
        if window is None:
            continue
        path = ("steps", i, "window")
        if window.closes is not None and window.closes <= window.opens:
            yield Complaint(
                path,
                f"the window closes at {window.closes} s, before it opens at {window.opens} s; "
                "write the later time as 'closes'",
            )
        elif window.closes is not None and window.closes - window.opens < SHORTEST_WINDOW:
            yield Complaint(
                path,
                f"nobody can read anything between {window.opens} and {window.closes} s; windows "
                f"are in seconds: write opens = {plain(window.opens * 60)}, "
                f"closes = {plain(window.closes * 60)} if minutes were meant",
            )
        elif max(window.opens, window.closes or Decimal(0)) > LONGEST_WINDOW:
            yield Complaint(
                path, "the window lies more than two days after its start; write it in seconds"
            )
        else:
            yield from _as_told(path, step)


def _as_told(path: tuple[str, int, str], step: Step) -> Found:
    """Compare with what the step's own words say: 'within two minutes' and closes = 2."""
    assert step.window is not None
    limits = {n: v for n in ("opens", "closes") if (v := getattr(step.window, n))}
    for number, unit, seconds in _durations(
        " ".join((step.title, step.why or "", step.customer or ""))
    ):
        if seconds in limits.values():
            continue
        for name, limit in limits.items():
            if limit == number:
                yield Complaint(
                    (*path, name),
                    f"the step's words say {plain(number)} {unit}, but '{name}' is {limit} "
                    f"seconds; write {plain(seconds)}",
                )


def _durations(text: str) -> Iterator[tuple[Decimal, str, Decimal]]:
    for figure, unit in _DURATION.findall(text):
        number = Decimal(_NUMBERS.get(figure.lower(), 0) or figure)
        times = {"s": 1, "m": 60, "h": 3600}[unit[0].lower()]
        yield number, unit, number * times


def _estimates(sheet: Sheet) -> Found:
    whole = sheet.sheet.minutes
    for i, step in enumerate(sheet.steps):
        if step.minutes is not None and not 0 < step.minutes <= LONGEST_JOB:
            yield Complaint(
                ("steps", i, "minutes"), f"{step.minutes} minutes can't be; write minutes above 0"
            )
    if whole is not None and whole > LONGEST_JOB:
        yield Complaint(("sheet", "minutes"), f"{whole} minutes are over a month; write minutes")
    parts = sum((s.minutes for s in sheet.steps if s.minutes is not None), Decimal(0))
    if whole is not None and parts > whole:
        yield Complaint(
            ("sheet", "minutes"),
            f"the steps take {plain(parts)} minutes together, but the job {whole}; "
            f"write minutes = {-(-parts // 1)}, or mend the steps (they are in minutes, too)",
            True,
        )


def _due(sheet: Sheet) -> Found:
    due = sheet.sheet.next_due
    if due is None:
        return
    path = ("sheet", "next_due")
    if due.distance is None and due.hours is None and due.months is None and not due.watch:
        yield Complaint(path, "nothing is said here; write distance, hours, months or watch")
    for name, most in (("months", 600), ("hours", 200_000)):
        value = getattr(due, name)
        if value is not None and not 0 < value <= most:
            yield Complaint(
                (*path, name), f"{value} {name} can't be; write a number above 0, or leave it out"
            )
    if due.distance and due.distance.unit in ("mm", "in", "um"):
        yield Complaint(
            (*path, "distance", "unit"),
            f"nobody drives {due.distance.value} {due.distance.unit}; write km or mi",
        )
    elif due.distance and not 0 < due.distance.value <= FARTHEST.get(due.distance.unit, 10**9):
        yield Complaint(
            (*path, "distance", "value"),
            f"{due.distance.value} {due.distance.unit} can't be; write a distance above 0",
        )


TIME_RULES = (_windows, _estimates, _due)
