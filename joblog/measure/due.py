"""What is due next, by distance, hours or date, whichever comes first."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.units import Quantity, convert, format_quantity


def add_months(day: date, months: int) -> date:
    """Return the same day ``months`` later, or that month's last day where it has no such day."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    try:
        last = calendar.monthrange(year, month + 1)[1]
        return date(year, month + 1, min(day.day, last))
    except (ValueError, IndexError, OverflowError) as error:
        raise InputError(f"{months} months after {day} is no date; check the interval") from error


@dataclass(frozen=True)
class Reading:
    """What the machine shows: odometer, hour meter, and the day; what isn't known is None."""

    day: date | None = None
    distance: Quantity | None = None
    hours: Quantity | None = None


@dataclass(frozen=True)
class Interval:
    """How long a service lasts; raises InputError unless something is given and all is positive."""

    distance: Quantity | None = None
    hours: Quantity | None = None
    months: int | None = None

    def __post_init__(self) -> None:
        given = [q.exact for q in (self.distance, self.hours) if q is not None]
        given += [] if self.months is None else [Fraction(self.months)]
        if not given or min(given) <= 0:
            raise InputError("a service interval needs a positive distance, hours or months")


@dataclass(frozen=True)
class Due:
    """When the next service is due; ``unknown`` names what the interval has and nobody read."""

    distance: Quantity | None = None
    hours: Quantity | None = None
    day: date | None = None
    unknown: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """Such as 'Due at 66412 mi or on 2027-05-25, whichever comes first'."""
        parts = [f"at {format_quantity(q)}" for q in (self.distance, self.hours) if q is not None]
        parts += [] if self.day is None else [f"on {self.day.isoformat()}"]
        if not parts:
            return f"Due, but from what isn't known: {', '.join(self.unknown)} was not read"
        first = ", whichever comes first" if len(parts) > 1 else ""
        return f"Due {' or '.join(parts)}{first}"


def next_due(at: Reading, interval: Interval) -> Due:
    """Return when the service done at ``at`` is due again, in the reading's own units."""
    unknown: list[str] = []
    distance = _sum("the odometer", at.distance, interval.distance, unknown)
    hours = _sum("the hour meter", at.hours, interval.hours, unknown)
    day = None
    if interval.months is not None:
        if at.day is None:
            unknown.append("the date")
        else:
            day = add_months(at.day, interval.months)
    return Due(distance, hours, day, tuple(unknown))


def _sum(
    what: str, reading: Quantity | None, interval: Quantity | None, unknown: list[str]
) -> Quantity | None:
    if interval is None:
        return None
    if reading is None:
        unknown.append(what)
        return None
    if reading.exact < 0:
        raise InputError(f"{what} can't show {format_quantity(reading)}; read it again")
    return reading + interval


def reached(due: Due, now: Reading) -> tuple[str, ...]:
    """Return which of 'distance', 'hours', 'date' are due now; empty where none is."""
    found: list[str] = []
    if due.distance and now.distance and _at_least(now.distance, due.distance):
        found.append("distance")
    if due.hours and now.hours and _at_least(now.hours, due.hours):
        found.append("hours")
    if due.day and now.day and now.day >= due.day:
        found.append("date")
    return tuple(found)


def _at_least(value: Quantity, limit: Quantity) -> bool:
    return convert(value, limit.unit).exact >= limit.exact
