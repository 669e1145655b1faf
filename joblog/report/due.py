"""When the service is due again: by distance, hours of running or date."""

from __future__ import annotations

from joblog.errors import InputError
from joblog.measure.due import Due as DueDate
from joblog.measure.due import Interval, Reading, next_due
from joblog.measure.units import Quantity
from joblog.report.context import Context
from joblog.report.model import Due
from joblog.report.numbers import as_decimal
from joblog.report.text import sentence


def due(c: Context) -> Due | None:
    """Return when a finished service is due again; None where the sheet doesn't say.

    What the sheet counts and nobody read is told from now on: "in 40,000 mi", "after 500 h of
    running".
    """
    wanted = c.state.sheet.sheet.next_due
    if wanted is None or c.state.closed != "finished":
        return None
    far = wanted.distance
    distance = None if far is None else Quantity.of(far.value, far.unit)
    hours = None if wanted.hours is None else Quantity.of(wanted.hours, "h")
    watch = tuple(sentence(c.t.sheet(x)) for x in wanted.watch)
    try:
        interval = Interval(distance, hours, wanted.months)
        found = next_due(_reading(c), interval)
    except InputError:
        return Due((), "", watch) if watch else None
    figures = _figures(c, interval, found)
    note = c.t.say("whichever comes first") if len(figures) > 1 else ""
    return Due(figures, note, watch)


def _figures(c: Context, interval: Interval, found: DueDate) -> tuple[str, ...]:
    figures = []
    if found.distance:
        whole = round(found.distance.exact)  # a dial shows no hundredths of a mile in kilometres
        figures.append(c.meter(whole, found.distance.unit))
    elif interval.distance:
        distance = c.quantity(interval.distance.value, interval.distance.unit)
        figures.append(c.t.say("in {distance}", distance=distance))
    if found.hours:
        figures.append(c.quantity(found.hours.value, found.hours.unit))
    elif interval.hours:
        hours = c.quantity(interval.hours.value, interval.hours.unit)
        figures.append(c.t.say("after {hours} of running", hours=hours))
    if found.day is not None:
        figures.append(c.t.month_of(found.day))
    return tuple(figures)


def _reading(c: Context) -> Reading:
    """Return the day and what the meter showed; a meter that can't be read is left out."""
    day = c.t.local(c.state.opened_at).date() if c.state.opened_at else None
    value = as_decimal(c.opened("unit", "odometer"))
    unit = c.opened("unit", "odometer_unit") or "km"
    if value is None or value < 0:
        return Reading(day)
    try:
        quantity = Quantity.of(value, unit)
    except InputError:
        return Reading(day)
    return Reading(day, None, quantity) if unit == "h" else Reading(day, quantity)
