"""Trends over the services of one unit, from what each later report remembers of them."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from joblog.report.charts.trend import Point, trend_chart
from joblog.report.context import Context
from joblog.report.model import Chart
from joblog.report.numbers import as_decimal
from joblog.report.past import Past, plugs_alike
from joblog.report.quantity import figure, reader_units, sign


def trends(c: Context, services: tuple[Past, ...]) -> list[Chart]:
    """Return a chart for each figure that at least two services measured."""
    t, accent = c.t, c.settings.accent
    charts = []
    plugs = tuple(plugs_alike(services))
    longest = _points(c, plugs, _longest, lambda v: f"{t.number(v, 1)}\u00a0mm")
    if longest:
        charts.append(trend_chart(t, "trend-flake", t.say("Longest flake found"), longest, accent))
    film = _points(c, plugs, lambda p: p.film, t.percent)
    if film:
        charts.append(trend_chart(t, "trend-film", t.say("Fine film on the magnet"), film, accent))
    level = _points(c, services, lambda p: p.level, t.percent)
    if level:
        title = t.say("Fluid level at the end, between the marks")
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
    title = c.t.say("New fluid put in")
    return [trend_chart(c.t, "trend-filled", title, points, c.settings.accent)] if points else []


def _longest(past: Past) -> str:
    return past.longest_mm or ("0" if past.plug else "")


def _points(
    c: Context,
    services: tuple[Past, ...],
    value: Callable[[Past], str],
    printed: Callable[[Fraction], str],
) -> list[Point]:
    points = []
    for past in services:
        text = value(past)
        number = Fraction(text) if "/" in text else as_decimal(text or None)
        if number is not None:
            exact = Fraction(number)
            points.append(Point(c.t.short_date(past.at), float(exact), printed(exact)))
    return points if len(points) > 1 else []
