"""Sums of the fluids, exact, in the unit of the sheet."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from joblog.job.history import History
from joblog.job.numbers import number
from joblog.job.said_units import fluid_unit
from joblog.job.types import FluidState
from joblog.job.values import converted
from joblog.record.entry import Entry
from joblog.sheet.model import Fluid, Sheet


def fluids_of(sheet: Sheet, history: History, undone: Mapping[str, int]) -> tuple[FluidState, ...]:
    """Return what went in and came out of every fluid of the sheet.

    ``undone`` says since where in the record a step counts: what was filled before the drain plug
    came out once more is not in the unit any longer.
    """
    told = sorted(history.of("quantity"), key=lambda event: event.root.seq)
    counted = {
        event.entry.id
        for event in told
        if event.root.seq > undone.get(str(event.entry.body.get("step")), -1)
    }
    return tuple(_fluid(fluid, [event.entry for event in told], counted) for fluid in sheet.fluids)


def _fluid(fluid: Fluid, told: Sequence[Entry], counted: Container[str]) -> FluidState:
    unit = fluid_unit(fluid)
    every = [entry for entry in told if entry.body.get("fluid") == fluid.key]
    entries = [entry for entry in every if entry.id in counted]
    poured_in, poured_out = (_sum(entries, direction, unit) for direction in ("in", "out"))
    all_in, all_out = (_sum(every, direction, unit) for direction in ("in", "out"))
    again = _sum(_behind_new(every), "out", unit)
    total = _in_unit(fluid.total.value, fluid.total.unit, unit) if fluid.total else None
    specified = fluid.service
    return FluidState(
        key=fluid.key,
        name=fluid.name,
        unit=unit,
        poured_in=poured_in,
        poured_out=poured_out,
        specified=specified.value if specified else None,
        total=total,
        renewed=renewed_share(all_in, all_out, total, again),
        all_in=all_in,
        all_out=all_out,
        again=again,
    )


def _behind_new(entries: list[Entry]) -> list[Entry]:
    """Return what was told once new fluid was in."""
    first = next((i for i, e in enumerate(entries) if e.body.get("direction") == "in"), None)
    return [] if first is None else entries[first:]


def _sum(entries: list[Entry], direction: str, unit: str) -> Fraction:
    total = Fraction(0)
    for entry in entries:
        if entry.body.get("direction") == direction:
            total += entry_amount(entry, unit) or 0
    return total


def entry_amount(entry: Entry, unit: str) -> Fraction | None:
    """Return the amount of a ``quantity`` entry in ``unit``, None where it can't be read."""
    try:
        value = number(str(entry.body["value"]))
    except (KeyError, ValueError, ZeroDivisionError):
        return None
    return converted(value, str(entry.body.get("unit", "")), unit)


def _in_unit(value: Decimal, unit: str, to: str) -> Decimal | None:
    exact = converted(value, unit, to)
    return None if exact is None else Decimal(exact.numerator) / Decimal(exact.denominator)


def renewed_share(
    poured_in: Fraction, poured_out: Fraction, total: Decimal | None, again: Fraction = Fraction(0)
) -> Decimal | None:
    """Return the share of new fluid (0..1, four places) once all has mixed, or None.

    New fluid over all fluid then in the unit: in / (total - out + in). Where nothing was measured
    coming out, as much is taken to have come out as went in. What came out ``again``, behind new
    fluid, may all have been new: the share is then the least that it can be.
    """
    new = poured_in - again
    if not total or new <= 0:
        return None
    out = poured_out or poured_in
    held = Fraction(total) - out + poured_in
    if held <= 0 or out - again > Fraction(total):
        return None
    share = min(new / held, Fraction(1))
    return (Decimal(share.numerator) / Decimal(share.denominator)).quantize(Decimal("0.0001"))
