"""From the job to its charts."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.types import ClockState, FluidState
from joblog.measure.units import Quantity, convert
from joblog.measure.volume import renewal_curve
from joblog.report.charts.debris import Sizes, debris_chart
from joblog.report.charts.fluid import Volumes, renewed_chart, volume_chart
from joblog.report.charts.timeline import Moments, Wait, timeline_chart
from joblog.report.context import Context
from joblog.report.findings import noticed
from joblog.report.language import Number
from joblog.report.model import Chart
from joblog.report.numbers import as_decimal
from joblog.report.past import Past, classes, past_of, plugs_alike
from joblog.report.quantity import reader_units
from joblog.report.sums import fluid_limits
from joblog.report.trends import dated, trends
from joblog.report.windows import seconds_shown, seconds_text, window_readings
from joblog.sheet.model import Window

_SERVICES_FORETOLD = 3
_EARLIER_SHOWN = 3
_WORTH_BINNING = 3  # flakes of one service; fewer are told in words


def charts(c: Context) -> tuple[Chart, ...]:
    """Return the charts that the job has something to show in."""
    drawn: list[Chart | None] = [_timeline(c)]
    for fluid in c.state.fluids:
        drawn += [_volumes(c, fluid), _renewed(c, fluid)]
    services = (*c.earlier, past_of(c.state))
    drawn += [debris(c, services), *trends(c, services)]
    return tuple(chart for chart in drawn if chart is not None)


def _timeline(c: Context) -> Chart | None:
    entries = c.state.entries
    if len(entries) < 2 or not c.done:
        return None
    start = entries[0].at

    def since(at: str) -> float:
        return (datetime.fromisoformat(at) - datetime.fromisoformat(start)).total_seconds()

    found = [since(at) for f in c.state.findings if (at := noticed(c, f))]
    moments = Moments(
        length=max(since(entries[-1].at), 1.0),
        steps=[(i, since(s.at)) for i, s in enumerate(c.done, 1) if s.at],
        photos=[since(p.entry.at) for p in c.state.photos],
        findings=found,
        waits=[_wait(c, clock, since(clock.started_at)) for clock in c.state.clocks],
    )
    clock = [c.when(at, seconds=False) for at in (start, entries[-1].at)]
    return timeline_chart(c.t, "timeline", moments, clock, c.settings.accent)


def _wait(c: Context, clock: ClockState, start: float) -> Wait:
    state = next((s for s in c.state.steps if s.step.key == clock.step), None)
    read = window_readings(c, state) if state else []
    window = state.step.window if state else None
    taken = [_taken(c, one.seconds, window) for one in read if window]
    return Wait(
        name=c.step_title(clock.step),
        start=start,
        opens=start + float(clock.opens),
        closes=None if clock.closes is None else start + float(clock.closes),
        readings=tuple(start + float(one.seconds) for one in read),
        taken=c.t.listing(list(dict.fromkeys(taken))),
    )


def _taken(c: Context, seconds: Decimal, window: Window) -> str:
    """Return when a reading was taken, as the tables have it; whole seconds in minutes, too."""
    shown = seconds_shown(seconds, window)
    return c.t.span(shown) if shown == int(shown) else seconds_text(c, seconds, window)


def _volumes(c: Context, fluid: FluidState) -> Chart | None:
    if not fluid.poured_in or not fluid.poured_out or fluid.again:
        return None
    low, high = fluid_limits(c, fluid)
    limits = c.between(low, high, fluid.unit)
    unit = reader_units(fluid.unit, c.units)[0]
    volumes = Volumes(
        fluid=c.t.sheet(fluid.name),
        drained=_converted(fluid.poured_out, fluid.unit, unit),
        filled=_converted(fluid.poured_in, fluid.unit, unit),
        drained_text=c.quantity(fluid.poured_out, fluid.unit),
        filled_text=c.quantity(fluid.poured_in, fluid.unit),
        low=_rounded(low, fluid.unit, unit),
        high=_rounded(high, fluid.unit, unit),
        specified_text=c.t.say("specified: {limits}", limits=limits) if limits else "",
    )
    return volume_chart(c.t, f"volume-{fluid.key}", volumes, c.settings.accent)


def _converted(value: Fraction, unit: str, to: str) -> Fraction:
    return convert(Quantity.of(value, unit), to).exact if unit != to else value


def _rounded(value: Number | None, unit: str, to: str) -> Decimal | None:
    if value is None:
        return None
    exact = _converted(Fraction(value), unit, to)
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def _renewed(c: Context, fluid: FluidState) -> Chart | None:
    if fluid.renewed is None or fluid.again or not fluid.total or not c.worked_out(fluid.key):
        return None
    drained = fluid.poured_out or fluid.poured_in
    try:
        curve = renewal_curve(
            Quantity.of(drained, fluid.unit),
            Quantity.of(fluid.total, fluid.unit),
            _SERVICES_FORETOLD + 1,
        )
    except InputError:
        return None
    shares = [Fraction(fluid.renewed), *curve[1:]]
    name = c.t.sheet(fluid.name)
    return renewed_chart(c.t, f"renewed-{fluid.key}", name, shares, c.settings.accent)


def debris(c: Context, services: tuple[Past, ...]) -> Chart | None:
    """Return the flakes by size class, a few of them in words; None where no plug was measured."""
    seen = plugs_alike(services)[-_EARLIER_SHOWN - 1 :]
    if not seen:
        return None
    days = dated(c, seen)
    if max(sum(p.flakes.values()) for p in seen) < _WORTH_BINNING:
        told = " ".join(_flakes_told(c, day, p) for day, p in zip(days, seen, strict=True))
        return Chart("debris", c.t.say("Flakes found on the plug"), told, "")
    known = classes()
    finest = next(
        (i for i, (letter, _, _) in enumerate(known) if any(p.flakes.get(letter) for p in seen)), 2
    )
    shown = [(letter, _range(c, low, high)) for letter, low, high in known[min(finest, 2) :]]
    sizes = [Sizes(day, p.flakes) for day, p in zip(days, seen, strict=True)]
    return debris_chart(c.t, "debris", shown, sizes, c.settings.accent)


def _flakes_told(c: Context, when: str, service: Past) -> str:
    """Return what one service found, in a sentence: size classes say nothing of a flake or two."""
    t, count, longest = c.t, sum(service.flakes.values()), as_decimal(service.longest_mm)
    if not count or longest is None:
        return t.say("{when}: {what}.", when=when, what=t.say("no flakes found"))
    return t.count(
        "{when}: {n} flake found, {size} long.",
        "{when}: {n} flakes found, the longest {size}.",
        count,
        when=when,
        size=c.millimetres(longest),
    )


def _range(c: Context, low: int, high: int | None) -> str:
    def mm(micrometres: int) -> str:
        return c.t.number(Fraction(micrometres, 1000))

    if high is None:
        return c.t.say("{low} and more", low=mm(low))
    return f"{mm(low)}–{mm(high)}"
