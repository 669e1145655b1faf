"""Trends over the services of one unit, from what each later report remembers of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from joblog.report.charts.trend import MOST, Point, trend_chart
from joblog.report.context import Context
from joblog.report.model import Chart
from joblog.report.numbers import as_decimal
from joblog.report.past import Past, plugs_alike
from joblog.report.quantity import figure, reader_units, sign


def trends(c: Context, services: tuple[Past, ...]) -> list[Chart]:
    """Return a chart for each figure that at least two services measured."""
    t, accent = c.t, c.settings.accent
    charts = []
    plugs = tuple(plugs_alike(services, unmeasured=True))
    none = t.say("none found")
    longest = _points(c, plugs, _longest, lambda v: f"{t.number(v, 1)}\u00a0mm" if v else none)
    if longest:
        title = _title(c, t.say("Longest flake found"), longest)
        charts.append(trend_chart(t, "trend-flake", title, longest, accent))
    film = _points(c, plugs, lambda p: p.film, t.percent)
    if film:
        title = _title(c, t.say("Fine film on the magnet"), film)
        charts.append(trend_chart(t, "trend-film", title, film, accent))
    level = _points(c, services, lambda p: p.level, t.percent)
    if level:
        title = _title(c, t.say("Fluid level at the end, between the marks"), level)
        charts.append(trend_chart(t, "trend-level", title, level, accent, band=(0.0, 1.0)))
    return charts


def filled_trend(c: Context, services: tuple[Past, ...]) -> list[Chart]:
    """Return the chart of how much new fluid went in, where all used one unit."""
    if len({p.unit for p in services if p.filled not in ("", "0")}) != 1:
        return []
    filled = [p for p in services if p.filled not in ("", "0")]
    unit = filled[0].unit
    shown = reader_units(unit, c.units)[0]
    points = _points(
        c,
        services,
        lambda p: p.filled if p.filled != "0" else "",
        lambda v: f"{figure(c.t, v, unit, shown)}\u00a0{sign(shown)}",
    )
    title = _title(c, c.t.say("New fluid put in"), points)
    return [trend_chart(c.t, "trend-filled", title, points, c.settings.accent)] if points else []


def _title(c: Context, title: str, points: list[Point]) -> str:
    """Return a chart's title, with how many services it shows where that isn't all."""
    if len(points) <= MOST:
        return title
    return c.t.say("{title} (the last {n} of {all} services)", title=title, n=MOST, all=len(points))


def _longest(past: Past) -> str:
    return past.longest_mm or ("0" if past.plug else "")


def _points(
    c: Context,
    services: tuple[Past, ...],
    value: Callable[[Past], str],
    printed: Callable[[Fraction], str],
) -> list[Point]:
    """Return a point for each service; () where fewer than two were measured.

    One on the sheet of the last that was measured, and not measured itself, is shown as a gap.
    """
    values = [_number(value(past)) for past in services]
    known = [past for past, number in zip(services, values, strict=True) if number is not None]
    if len(known) < 2:
        return []
    dates, points = dated(c, services), []
    for past, number, date in zip(services, values, dates, strict=True):
        if number is not None:
            points.append(Point(date, float(number), printed(number)))
        elif past.sheet == known[-1].sheet:
            points.append(Point(date, None, c.t.say("not measured")))
    return points


def _number(text: str) -> Fraction | None:
    number = Fraction(text) if "/" in text else as_decimal(text or None)
    return None if number is None else Fraction(number)


def dated(c: Context, services: Sequence[Past]) -> list[str]:
    """Return the day of each service, with the time of those that share one."""
    days = [c.t.short_date(past.at) for past in services]
    return [
        f"{day} {c.t.time(past.at)}" if days.count(day) > 1 else day
        for day, past in zip(days, services, strict=True)
    ]
