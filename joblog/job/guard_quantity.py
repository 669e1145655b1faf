"""Quantities: filled against specified, drained against filled."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, FluidState, JobState, StepStatus
from joblog.job.values import converted, pour_step, pour_steps
from joblog.job.wording import capital, said, shown
from joblog.measure.units import Quantity
from joblog.measure.volume import Balance, balance
from joblog.sheet.model import Fluid, Step

DEFAULT_TOLERANCE = Fraction(5, 100)  # of the amount, where the sheet gives none; our own choice


def quantity_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Fills that differ from the sheet or from what was drained, once filling is done."""
    for fluid, sums in zip(state.sheet.fluids, state.fluids, strict=True):
        yield from _drained_unlike_sheet(state, fluid, sums)
        steps = pour_steps(state.sheet, fluid.key, "in")
        if not steps or sums.poured_in == 0:
            continue
        step = steps[-1]
        entry = _last_entry(history, fluid.key)
        if _overfilled(sums, fluid):
            yield _against_spec(fluid, sums, step, _last_entry(history, fluid.key, "in"))
            continue
        if not _filling_over(state, steps):
            continue
        if step_drains(state, fluid.key) and sums.poured_out > 0:
            compared = balance_of(state, fluid, sums)
            if compared is not None and not compared.agrees:
                yield _against_drained(fluid, sums, compared, step, entry)
        elif sums.specified is not None and not _in_spec(sums, fluid):
            yield _against_spec(fluid, sums, step, entry)


def _drained_unlike_sheet(state: JobState, fluid: Fluid, sums: FluidState) -> Iterator[Finding]:
    """Much less or more came out than a service should bring: worth knowing, nobody's mistake."""
    step = pour_step(state.sheet, fluid.key, "out")
    if step is None or sums.poured_out == 0 or sums.specified is None:
        return
    difference = sums.poured_out - Fraction(sums.specified)
    if abs(difference) <= 2 * tolerance(fluid, Fraction(sums.specified), sums.unit):
        return
    way = "more" if difference > 0 else "less"
    gone, usual = shown(sums.poured_out, sums.unit), shown(sums.specified, sums.unit)
    meaning = "too full" if difference > 0 else "low"
    yield Finding(
        key=f"came-out:{fluid.key}:{way}",
        kind=FindingKind.OBSERVATION,
        text=f"{gone} of {fluid.name} came out, {way} than the sheet's {usual}.",
        spoken=f"That is {way} than the sheet says.",
        step=step.key,
        customer=f"{gone} of {fluid.name} came out; a service usually brings {usual}. The unit may "
        f"have been {meaning}.",
    )


def step_drains(state: JobState, fluid: str) -> bool:
    """Say whether the sheet measures what comes out of ``fluid``."""
    return pour_step(state.sheet, fluid, "out") is not None


def tolerance(fluid: Fluid, amount: Fraction, unit: str) -> Fraction:
    """Return how far an amount of ``fluid`` may differ, in ``unit``."""
    if fluid.tolerance:
        exact = converted(fluid.tolerance.value, fluid.tolerance.unit, unit)
        if exact is not None:
            return exact
    return amount * DEFAULT_TOLERANCE


def _in_spec(sums: FluidState, fluid: Fluid) -> bool:
    specified = Fraction(sums.specified or 0)
    return abs(sums.poured_in - specified) <= tolerance(fluid, specified, sums.unit)


def _overfilled(sums: FluidState, fluid: Fluid) -> bool:
    """More went in than the sheet allows, whatever came out."""
    ceiling = max(Fraction(sums.specified or 0), sums.poured_out)
    if ceiling == 0:
        return False
    return sums.poured_in > ceiling + tolerance(fluid, ceiling, sums.unit)


def _filling_over(state: JobState, steps: Sequence[Step]) -> bool:
    """Say whether the last of the steps at which it goes in is done; optional ones may be left."""
    wanted = [step for step in steps if not step.optional] or list(steps)
    return all(
        found is not None and found.status is not StepStatus.OPEN
        for found in (state.step(step.key) for step in wanted)
    )


def _last_entry(history: History, fluid: str, direction: str = "") -> str | None:
    """Return the id of the last quantity of ``fluid`` that was recorded or corrected."""
    bodies = ((e.entry, e.entry.body) for e in history.of("quantity"))
    mine = [
        entry
        for entry, body in bodies
        if body.get("fluid") == fluid and direction in ("", body.get("direction"))
    ]
    return max(mine, key=lambda entry: entry.seq).id if mine else None


def _against_spec(fluid: Fluid, sums: FluidState, step: Step, entry: str | None) -> Finding:
    specified = sums.specified if sums.specified is not None else Fraction(sums.poured_out)
    side = "above" if sums.poured_in > specified else "below"
    total, wanted = shown(sums.poured_in, sums.unit), shown(specified, sums.unit)
    return Finding(
        key=f"quantity:{fluid.key}:{side}",
        kind=FindingKind.OUT_OF_SPEC,
        text=f"{fluid.name}: {total} in is {side} {wanted}.",
        spoken=f"{said(sums.poured_in, sums.unit)} in is {side} {said(specified, sums.unit)}.",
        step=step.key,
        entry=entry,
        customer=f"{total} of {fluid.name} went in; specified is {wanted}.",
    )


def balance_of(
    state: JobState, fluid: Fluid, sums: FluidState, *, by_thumb: bool = False
) -> Balance | None:
    """Return drained against filled, None before both are known.

    Where the temperatures of both are known, the drained amount is corrected to the other's
    temperature: by API MPMS 11.1 with the sheet's density, else by the rule of thumb; not at all
    where a temperature or the density lies outside what the formula covers.
    """
    if sums.poured_out <= 0 or sums.poured_in <= 0:
        return None
    hot, cold = temperatures(state)
    gone, added = Quantity(sums.poured_out, sums.unit), Quantity(sums.poured_in, sums.unit)
    allowed = Quantity(tolerance(fluid, sums.poured_out, sums.unit), sums.unit)
    if hot is None or cold is None:
        return balance(gone, added, allowed)
    try:
        return balance(
            gone,
            added,
            allowed,
            drained_celsius=hot,
            filled_celsius=cold,
            density15=None if by_thumb else fluid.density,
        )
    except InputError:
        return balance(gone, added, allowed)


def to_fill(state: JobState, key: str) -> Fraction | None:
    """Return how much of a fluid should go in, in its unit, as the guard judges it.

    That is as much as came out where it was measured, at the new fluid's temperature where both
    were read; None where nothing came out that counts, and the sheet's amount is meant.
    """
    pairs = zip(state.sheet.fluids, state.fluids, strict=True)
    fluid, sums = next((pair for pair in pairs if pair[0].key == key), (None, None))
    if fluid is None or sums is None or not step_drains(state, key) or sums.poured_out <= 0:
        return None
    if _overfilled(sums, fluid):
        return None
    compared = balance_of(state, fluid, sums)
    return sums.poured_out if compared is None else compared.corrected.exact


def temperatures(state: JobState) -> tuple[Fraction | None, Fraction | None]:
    """Return the temperatures (°C) of the drained and of the new fluid, None where not read.

    The new fluid's is a reading whose name says 'new' or 'shop' or 'room'; the drained fluid's the
    last other temperature. A range gives none: nobody read a number in the middle of it.
    """
    hot = cold = None
    for value in state.values:
        exact = converted(value.value, value.unit, "degC")
        if value.entry.kind != "reading" or exact is None:
            continue
        exact = exact if value.upper is None else None
        if set(value.name.lower().split()) & {"new", "shop", "room"}:
            cold = exact
        else:
            hot = exact
    return hot, cold


def _against_drained(
    fluid: Fluid, sums: FluidState, compared: Balance, step: Step, entry: str | None
) -> Finding:
    gone, added = shown(sums.poured_out, sums.unit), shown(sums.poured_in, sums.unit)
    difference = compared.difference.exact
    way = "more" if difference > 0 else "less"
    apart = abs(difference)
    corrected = compared.corrected.exact != sums.poured_out
    note = (
        f" (the drained fluid corrected for temperature: "
        f"{shown(compared.corrected.exact, sums.unit)}; {compared.method})"
        if corrected
        else ""
    )
    return Finding(
        key=f"drained:{fluid.key}:{way}",
        kind=FindingKind.MISMATCH,
        text=f"{capital(fluid.name)}: {added} in, {gone} out: {shown(apart, sums.unit)} {way} than "
        f"came out{note}.",
        spoken=f"{capital(said(apart, sums.unit))} {way} in than came out.",
        step=step.key,
        entry=entry,
        customer=f"{gone} of {fluid.name} came out and {added} went in{note}.",
    )
