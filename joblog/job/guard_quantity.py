"""Quantities: filled against specified, drained against filled."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, FluidState, JobState, StepStatus
from joblog.job.values import converted, pour_step
from joblog.job.wording import capital, said, shown
from joblog.sheet.model import Fluid, Step

DEFAULT_TOLERANCE = Fraction(5, 100)  # of the amount, where the sheet gives none; our own choice


def quantity_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Fills that differ from the sheet or from what was drained, once filling is done."""
    for fluid, sums in zip(state.sheet.fluids, state.fluids, strict=True):
        step = pour_step(state.sheet, fluid.key, "in")
        if step is None or sums.poured_in == 0:
            continue
        entry = _last_entry(history, fluid.key)
        if _overfilled(sums, fluid):
            yield _against_spec(fluid, sums, step, entry)
            continue
        if not _filling_over(state, step):
            continue
        if step_drains(state, fluid.key) and sums.poured_out > 0:
            if abs(sums.poured_in - sums.poured_out) > tolerance(fluid, sums.poured_out, sums.unit):
                yield _against_drained(fluid, sums, step, entry)
        elif sums.specified is not None and not _in_spec(sums, fluid):
            yield _against_spec(fluid, sums, step, entry)


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


def _filling_over(state: JobState, step: Step) -> bool:
    found = state.step(step.key)
    return found is not None and found.status is not StepStatus.OPEN


def _last_entry(history: History, fluid: str) -> str | None:
    ids = [e.entry.id for e in history.of("quantity") if e.entry.body.get("fluid") == fluid]
    return ids[-1] if ids else None


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


def _against_drained(fluid: Fluid, sums: FluidState, step: Step, entry: str | None) -> Finding:
    gone, added = shown(sums.poured_out, sums.unit), shown(sums.poured_in, sums.unit)
    difference = sums.poured_in - sums.poured_out
    way = "more" if difference > 0 else "less"
    return Finding(
        key=f"drained:{fluid.key}:{way}",
        kind=FindingKind.MISMATCH,
        text=f"{capital(fluid.name)}: {added} in, {gone} out: {shown(abs(difference), sums.unit)} "
        f"{way} than came out.",
        spoken=f"{said(sums.poured_in, sums.unit)} in, {said(sums.poured_out, sums.unit)} out. "
        f"{capital(said(abs(difference), sums.unit))} {way} than came out.",
        step=step.key,
        entry=entry,
        customer=f"{gone} of {fluid.name} came out and {added} went in.",
    )
