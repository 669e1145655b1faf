"""Sums after the work: what was renewed, whether in and out agree, what is due next.

All are functions of the job's state; nothing here is stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.guard_quantity import balance_of
from joblog.job.meters import meter_of
from joblog.job.types import FluidState, JobState
from joblog.job.wording import shown
from joblog.measure.due import Due, Interval, Reading, next_due
from joblog.measure.level import growth
from joblog.measure.units import Quantity
from joblog.measure.volume import Balance, renewal_curve, services_to_reach
from joblog.record.times import parse_time

CURVE = 5  # services that the curve of renewal shows
MOSTLY = Fraction(9, 10)  # the share that counts as 'mostly new' in the sentence; our own choice


@dataclass(frozen=True)
class Renewal:
    """How much of a fluid is new after this service, and after further ones like it.

    ``curve`` holds the share (0..1) after 1, 2, ... equal drain-and-fills; ``to_mostly`` is how
    many it takes to 90 %, None where that can't be reached.
    """

    fluid: str
    share: Fraction
    curve: tuple[Fraction, ...]
    to_mostly: int | None

    @property
    def sentence(self) -> str:
        """In the customer's words."""
        text = f"{_percent(self.share)} of the {self.fluid} is now new"
        if len(self.curve) > 1:
            text += f"; a second such service would make it {_percent(self.curve[1])}"
        if self.to_mostly is not None and self.to_mostly > 1:
            text += f", and {self.to_mostly} in all would pass {_percent(MOSTLY)}"
        return f"{text}."


def _percent(share: Fraction) -> str:
    return f"{float(share) * 100:.0f} %"


def renewal_of(state: JobState, fluid: str) -> Renewal | None:
    """Return how much of ``fluid`` was renewed, None where its amounts aren't known.

    Mixing formula: 1 - (1 - V/V_total)^n [handbook: perfect-mixing dilution], with the amount that
    went in (the sheet's own before anything was poured).
    """
    sums = next((f for f in state.fluids if f.key == fluid), None)
    if sums is None or sums.total is None:
        return None
    poured = sums.poured_in or (Fraction(sums.specified) if sums.specified is not None else None)
    if not poured or poured > Fraction(sums.total):
        return None
    drain, total = Quantity(poured, sums.unit), Quantity(sums.total, sums.unit)
    curve = renewal_curve(drain, total, CURVE)
    try:
        count: int | None = services_to_reach(drain, total, MOSTLY)
    except InputError:
        count = None
    return Renewal(sums.name, curve[0], curve, count)


def fluid_balance(state: JobState, fluid: str, *, by_thumb: bool = False) -> Balance | None:
    """Return drained against filled, thermally corrected where temperatures are known, or None.

    ``by_thumb`` corrects by the rule of thumb even where the sheet gives a density, to be shown
    beside the formula.
    """
    found = next((f for f in state.sheet.fluids if f.key == fluid), None)
    sums = next((f for f in state.fluids if f.key == fluid), None)
    return (
        None if found is None or sums is None else balance_of(state, found, sums, by_thumb=by_thumb)
    )


def level_growth(state: JobState, fluid: str, celsius: Decimal, to: Decimal) -> Quantity | None:
    """Return how much the unit's whole fill grows from ``celsius`` to ``to`` °C, or None.

    API MPMS 11.1, lubricating oils; needs the sheet's total amount and density.
    """
    found = next((f for f in state.sheet.fluids if f.key == fluid), None)
    if found is None or found.total is None or found.density is None:
        return None
    return growth(Quantity(found.total.value, found.total.unit), celsius, to, found.density)


def due_next(state: JobState) -> Due | None:
    """Return when the service is due again, from the sheet's interval and the job's odometer."""
    wanted = state.sheet.sheet.next_due
    if wanted is None or not (wanted.distance or wanted.hours or wanted.months):
        return None
    interval = Interval(
        distance=Quantity(wanted.distance.value, wanted.distance.unit) if wanted.distance else None,
        hours=Quantity(wanted.hours, "h") if wanted.hours else None,
        months=wanted.months,
    )
    return next_due(reading_at(state), interval)


def reading_at(state: JobState) -> Reading:
    """Return day, odometer and hour meter of the job, as told at its opening."""
    told = meter_of(state.opened.get("unit") or {})
    hours = told is not None and told.unit == "h"
    return Reading(
        day=day_of(state), distance=None if hours else told, hours=told if hours else None
    )


def day_of(state: JobState) -> date | None:
    """Return the day (UTC) on which the job was opened."""
    return parse_time(state.opened_at).date() if state.opened_at else None


def fluid_line(sums: FluidState) -> str:
    """Return one line on a fluid: what came out, what went in, what the sheet says."""
    parts = []
    if sums.poured_out:
        parts.append(f"{shown(sums.poured_out, sums.unit)} out")
    parts.append(f"{shown(sums.poured_in, sums.unit)} in")
    if sums.specified is not None:
        parts.append(f"specified {shown(sums.specified, sums.unit)}")
    return f"{sums.name}: {', '.join(parts)}"
