"""What went out and in of each fluid: the sums, what is allowed, and what they are made of."""

from __future__ import annotations

from fractions import Fraction

from joblog.job.guard_quantity import balance_of, step_drains, tolerance
from joblog.job.types import FluidState, Value
from joblog.job.values import pour_steps, value_of
from joblog.report.charts.gauge import gauge
from joblog.report.context import Context, how_known, value_name
from joblog.report.language import Number
from joblog.report.model import Measured
from joblog.report.telling import entry_value, struck, value_said, verdict


def filling_over(c: Context, key: str) -> bool:
    """Return whether the steps at which a fluid goes in are done; optional ones may be left."""
    into = pour_steps(c.state.sheet, key, "in")
    wanted = [s for s in into if not s.optional] or into
    done = {s.step.key for s in c.done}
    return all(s.key in done for s in wanted)


def by_what_came_out(c: Context, fluid: FluidState) -> bool:
    """Return whether what goes in is judged by what came out, as the guard does."""
    too_full = any(f.key.startswith(f"quantity:{fluid.key}:") for f in c.state.findings)
    return step_drains(c.state, fluid.key) and fluid.poured_out > 0 and not too_full


def fluid_limits(c: Context, fluid: FluidState) -> tuple[Number | None, Number | None]:
    """Return how much of ``fluid`` may go in, in its unit: what the guard allows.

    That is as much as came out where that is measured, else the sheet's amount.
    """
    wanted = c.fluid(fluid.key)
    if wanted is None:
        return None, None
    middle = None if fluid.specified is None else Fraction(fluid.specified)
    room = None if middle is None else tolerance(wanted, middle, fluid.unit)
    if by_what_came_out(c, fluid):
        compared = balance_of(c.state, wanted, fluid)
        room = tolerance(wanted, fluid.poured_out, fluid.unit)
        middle = fluid.poured_out if compared is None else compared.corrected.exact
    if middle is None or room is None:
        return None, None
    return max(middle - room, Fraction(0)), middle + room


def sums(c: Context) -> list[tuple[int, Measured]]:
    """Return what went out and in of each fluid: the sum, with what it is made of beneath."""
    rows = []
    for fluid in c.state.fluids:
        for direction in ("out", "in"):
            pours = [
                v
                for v in c.state.values
                if v.entry.kind == "quantity"
                and v.entry.body.get("fluid") == fluid.key
                and v.entry.body.get("direction") == direction
            ]
            if pours:
                rows.append((pours[-1].entry.seq, _sum(c, fluid, pours, direction)))
    return rows


def _sum(c: Context, fluid: FluidState, pours: list[Value], direction: str) -> Measured:
    into = direction == "in"
    total = fluid.poured_in if into else fluid.poured_out
    low, high = fluid_limits(c, fluid) if into else (None, None)
    inside, said = _sum_verdict(c, fluid, total, low, high)
    name, last = value_name(c, pours[-1]), pours[-1]
    counted = [pour for pour in pours if not pour.undone]
    text = c.t.say("{name}: {verdict}", name=name, verdict=said)
    how, sure = how_known(c, last.entry)
    several = len(pours) > 1 or not counted
    if len(counted) > 1:
        how, sure = c.t.say("sum of {n} amounts", n=c.t.number(len(counted))), ""
    specified = c.between(low, high, fluid.unit)
    if into and specified and by_what_came_out(c, fluid):
        specified = c.t.say("{limits} (by what came out)", limits=specified)
    return Measured(
        what=name,
        value=c.quantity(total, fluid.unit),
        specified=specified,
        verdict=said,
        inside=inside,
        gauge=gauge(f"s{last.entry.seq}", total, low, high, text),
        gauge_text=text,
        how=how,
        sure=sure,
        at=c.when(last.entry.at),
        struck=() if several else tuple(struck(c, old) for old in last.corrected_from),
        parts=tuple(_pour(c, pour) for pour in pours) if several else (),
    )


def _sum_verdict(
    c: Context, fluid: FluidState, total: Fraction, low: Number | None, high: Number | None
) -> tuple[bool | None, str]:
    """Return whether a sum is inside, and in words: below its limits nothing is said too early."""
    if low is None or high is None:
        return None, verdict(c, None)
    if total < low and not filling_over(c, fluid.key):
        return None, c.t.say("filling not finished")
    return low <= total <= high, verdict(c, low <= total <= high)


def _pour(c: Context, pour: Value) -> str:
    """Return one amount of a sum as it was recorded, with what it was before a correction.

    Amounts that are each rounded to another unit would not add up to their rounded sum.
    """
    how, sure = how_known(c, pour.entry)
    amount, at = value_said(c, pour), c.when(pour.entry.at)
    for old in pour.corrected_from:
        was, before = value_of(c.state.sheet, old), c.when(old.at)
        said = value_said(c, was) if was else entry_value(c, old)
        amount = c.t.say("{amount} (was {old}, {at})", amount=amount, old=said, at=before)
    undone = c.t.say("undone later") if pour.undone else ""
    return ", ".join(x for x in (amount, at, how, sure, undone) if x)
