"""What 'torque', 'one quart in' and 'correction' refer to when nothing is named."""

from __future__ import annotations

from decimal import Decimal

from joblog.job.fluids import fluid_unit
from joblog.job.order import ready
from joblog.job.types import JobState, StepState, StepStatus, Value
from joblog.job.values import pour_steps, step_named
from joblog.measure.units import UNITS, unit_of
from joblog.sheet.model import Amount, Sheet, Step


def torque_at_hand(state: JobState) -> Step | None:
    """Return the step whose torque is meant.

    The last one done that lacks it, else the next to come, else the one tightened last.
    """
    for mark in reversed(state.marks):
        done = state.step(mark.step)
        if done and done.step.torque and _lacks_torque(done):
            return done.step
    following = state.next_step
    if following and following.step.torque:
        return following.step
    settled = state.settled
    open_steps = [s.step for s in state.steps if s.step.torque and s.step.key not in settled]
    able = [step for step in open_steps if ready(state.sheet, step, settled)]
    if len(able) == 1:
        return able[0]
    if len(able) > 1:
        return None
    marked = [step_named(state.sheet, mark.step) for mark in state.marks]
    tightened = [step for step in marked if step and step.torque]
    return tightened[-1] if tightened else None


def torque_step(state: JobState, key: str) -> Step | None:
    """Return the step of a named fastener; of several steps that tighten it, the one at hand."""
    step = step_named(state.sheet, key)
    if step is None or step.torque is None:
        return None
    wanted = (step.torque.fastener, step.torque.stage)
    alike = [
        s
        for s in state.steps
        if s.step.torque and (s.step.torque.fastener, s.step.torque.stage) == wanted
    ]
    lacking = [
        s.step
        for s in alike
        if _lacks_torque(s)
        and (s.status is StepStatus.INCOMPLETE or ready(state.sheet, s.step, state.settled))
    ]
    lacking = _left_out_last(state, lacking)
    return lacking[0] if len(alike) > 1 and lacking else step


def _left_out_last(state: JobState, steps: list[Step]) -> list[Step]:
    """Return the steps in their order, those confirmed as missing after all others."""
    left_out = state.left_out
    return sorted(steps, key=lambda step: step.key in left_out)


def _lacks_torque(step: StepState) -> bool:
    return any(what.startswith("torque") for what in step.missing)


def fluid_at_hand(state: JobState, direction: str) -> str | None:
    """Return the fluid that is being poured ``direction``, or None where it can't be told."""
    pours = [s for s in state.steps if s.step.pour and s.step.pour.direction == direction]
    fluids = list(dict.fromkeys(s.step.pour.fluid for s in pours if s.step.pour))
    if len(fluids) == 1:
        return fluids[0]
    able = [
        s.step.pour.fluid
        for s in pours
        if s.step.pour and _awaited(s, state.left_out) and ready(state.sheet, s.step, state.settled)
    ]
    return able[0] if len(set(able)) == 1 else None


def pour_at_hand(state: JobState, fluid: str, direction: str) -> Step | None:
    """Return the step at which ``fluid`` is being poured: the first not done whose turn it is.

    Where none is left, what is poured still belongs to the one done last.
    """
    steps = pour_steps(state.sheet, fluid, direction)
    for step in steps:
        found = state.step(step.key)
        waiting = found is not None and _awaited(found, state.left_out)
        if waiting and ready(state.sheet, step, state.settled):
            return step
    done = [step for step in steps if step.key in state.done]
    return done[-1] if done else next(iter(steps), None)


def _awaited(step: StepState, left_out: frozenset[str]) -> bool:
    return step.status is not StepStatus.DONE and step.step.key not in left_out


def part_step(state: JobState, part: str) -> Step | None:
    """Return the step at which ``part`` is fitted: the last one done, else the first to come."""
    steps = [s for s in state.sheet.steps if part in s.parts]
    done = [mark.step for mark in state.marks]
    fitted = [step for step in steps if step.key in done]
    latest = max(fitted, key=lambda step: len(done) - done[::-1].index(step.key), default=None)
    return latest or next(iter(steps), None)


def container_of(sheet: Sheet, fluid: str) -> Amount:
    """Return the container in which ``fluid`` comes; one unit of it where the sheet has none."""
    found = next(f for f in sheet.fluids if f.key == fluid)
    return found.container or Amount(value=Decimal(1), unit=fluid_unit(found))


def reading_step(state: JobState, key: str) -> Step | None:
    """Return the step of a reading; of several steps that want the same one, the one at hand."""
    step = step_named(state.sheet, key)
    if step is None or step.reading is None:
        return step
    alike = [s for s in state.steps if s.step.reading and s.step.reading.name == step.reading.name]
    lacking = [s.step for s in alike if not s.values and ready(state.sheet, s.step, state.settled)]
    lacking = _left_out_last(state, lacking)
    return lacking[0] if len(alike) > 1 and lacking else step


def last_value(state: JobState, units: list[str]) -> Value | None:
    """Return the value recorded last, of the dimension of ``units`` where one was said."""
    dimensions = {unit_of(unit).dimension for unit in units}
    for value in sorted(state.values, key=lambda v: v.entry.seq, reverse=True):
        known = UNITS.get(value.unit)
        if not dimensions or (known and known.dimension in dimensions):
            return value
    return None
