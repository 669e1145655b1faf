"""The one-page service history of a unit: every service in a table, and the trends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from joblog.errors import InputError
from joblog.job.types import JobState
from joblog.report.build import Options, assemble
from joblog.report.context import Context
from joblog.report.history import services
from joblog.report.language import Language
from joblog.report.model import Chart, Front, Report
from joblog.report.past import Past, past_of
from joblog.report.quantity import Paper, Units
from joblog.report.settings import ShopSettings
from joblog.report.trends import filled_trend, trends
from joblog.report.visuals import debris

_NO_FRONT = Front("", (), (), (), (), None, (), (), ())


def build_history(
    jobs: Sequence[JobState],
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "a4",
    settings: ShopSettings | None = None,
) -> Report:
    """Return the service history of one unit from its ``jobs`` (any order).

    Raises InputError where there is no job, or two of them name different units by their VIN.
    """
    started = sorted((j for j in jobs if j.entries), key=lambda j: (j.opened_at, j.job))
    if not started:
        raise InputError("there is no job to make a service history of; name at least one")
    _one_unit(started)
    options = Options(language, units, paper, settings or ShopSettings())
    last, past = started[-1], tuple(past_of(job) for job in started)
    t = Language.find(language, options.settings.time_zone)
    c = Context(last, t, units, options.settings)
    front = replace(_NO_FRONT, verdict=_verdict(c, past))
    return replace(
        assemble(last, {}, options),
        kind="history",
        kicker=t.say("Service history"),
        subtitle=_subtitle(c, past),
        order="",
        front=front,
        charts=_charts(c, past),
        history=services(c, past),
        record=(),
        times="",
    )


def _one_unit(jobs: list[JobState]) -> None:
    names = {str((job.opened.get("unit") or {}).get("vin") or "").strip().upper() for job in jobs}
    known = sorted(names - {""})
    if len(known) > 1:
        raise InputError(
            f"these jobs are of different units ({known[0]} and {known[1]}); "
            "a service history is of one"
        )


def _verdict(c: Context, past: tuple[Past, ...]) -> str:
    done = sum(p.closed == "finished" for p in past)
    since = c.t.date(past[0].at)
    return c.t.count("{n} service since {since}.", "{n} services since {since}.", done, since=since)


def _subtitle(c: Context, past: tuple[Past, ...]) -> str:
    titles = list(dict.fromkeys(c.t.sheet(p.title) for p in past))
    return c.t.listing(titles[:3])


def _charts(c: Context, past: tuple[Past, ...]) -> tuple[Chart, ...]:
    flakes = debris(c, past)
    drawn = [flakes] if flakes else []
    return tuple(drawn + trends(c, past) + filled_trend(c, past))
