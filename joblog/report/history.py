"""Several services of one unit: the table of earlier ones, and a one-page service history."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.report.context import Context
from joblog.report.language import Language
from joblog.report.model import Service
from joblog.report.numbers import as_decimal
from joblog.report.past import Past
from joblog.report.text import clean


def services(c: Context, past: tuple[Past, ...]) -> tuple[Service, ...]:
    """Return the services, latest first."""
    return tuple(_service(c, p) for p in reversed(past))


def _service(c: Context, past: Past) -> Service:
    return Service(
        date=c.t.date(past.at) if past.at else "",
        title=c.t.sheet(past.title),
        odometer=odometer(c, past.odometer, past.odometer_unit),
        facts=tuple(_facts(c, past)),
        order=clean(past.order),
        hash=past.hash,
    )


def odometer(c: Context, value: str, unit: str) -> str:
    """Return an odometer or hour meter as its dial shows it, '' where it wasn't read."""
    number = as_decimal(value or None)
    return "" if number is None else c.meter(number, unit)


def _facts(c: Context, past: Past) -> list[str]:
    t: Language = c.t
    facts = []
    if past.closed == "aborted":
        facts.append(t.say("stopped before it was done"))
    filled = Fraction(past.filled or 0)
    if filled:
        facts.append(t.say("{amount} of new fluid", amount=c.quantity(filled, past.unit)))
    longest, film = as_decimal(past.longest_mm or None), as_decimal(past.film or None)
    if past.plug:
        size = c.millimetres(longest) if longest is not None else t.say("none")
        facts.append(t.say("longest flake found: {size}", size=size))
    if film is not None:
        facts.append(t.say("fine film on {share} of the magnet", share=t.percent(film)))
    level: Decimal | None = as_decimal(past.level or None)
    if level is not None:
        facts.append(t.say("level {share}", share=t.percent(level)))
    return facts
