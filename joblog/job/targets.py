"""What 'torque', 'one quart in' and 'correction' refer to when nothing is named."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal

from joblog.job.order import ready
from joblog.job.said_units import fluid_unit
from joblog.job.types import JobState, StepState, StepStatus, Value
from joblog.job.values import pour_steps, step_named
from joblog.measure.units import UNITS, unit_of
from joblog.sheet.model import Amount, Sheet, Step, Torque


def corrected_at(state: JobState, kind: str, steps: Iterable[Step], which: str = "") -> Step | None:
    """Return that of ``steps`` whose value a correction is about: the one told last, if any was.

    ``which`` is the number of the one of several, '' for any. Never a step that still wants its
    value: "correction" would report it as done.
    """
    keys = {step.key for step in steps}
    told = [v.entry for v in state.values if v.entry.kind == kind and v.step in keys]
    same = [entry for entry in told if entry.body.get("which") == which] or told
    last = max(same, key=lambda entry: entry.seq, default=None)
    return step_named(state.sheet, last.body.get("step")) if last else None


def torque_corrected(
    state: JobState, named: Step | None, which: str, fits: Callable[[Torque], bool]
) -> Step | None:
    """Return the step of the torque that a correction is about, of the fastener ``named`` if any.

    Said without a stage it is the stage that the value fits, else the one told last.
    """
    steps = [s.step for s in state.steps if s.step.torque]
    if named is None or named.torque is None:
        return corrected_at(state, "torque", steps, which)
    steps = [s for s in steps if s.torque and s.torque.fastener == named.torque.fastener]
    if named.torque.stage > 1:
        steps = [s for s in steps if _fastener(s) == _fastener(named)]
    fitting = [s for s in steps if s.torque and fits(s.torque)]
    return corrected_at(state, "torque", fitting, which) or corrected_at(
        state, "torque", steps, which
    )


def stage_at_hand(state: JobState, step: Step, fits: Callable[[Torque], bool]) -> Step:
    """Return the later stage of the fastener that is being tightened, where the value is its own.

    Said without its stage ("head bolt 60") it would be the first stage's, far too much.
    """
    now = state.step(step.key)
    if step.torque is None or now is None or _lacks_torque(now) or fits(step.torque):
        return step
    for other in state.steps:
        later = other.step.torque
        if later is None or later.fastener != step.torque.fastener or not _lacks_torque(other):
            continue
        turn = other.status is StepStatus.INCOMPLETE or ready(
            state.sheet, other.step, state.settled
        )
        if later.stage > step.torque.stage and turn and fits(later):
            return other.step
    return step


def _fastener(step: Step) -> tuple[str, int] | None:
    return (step.torque.fastener, step.torque.stage) if step.torque else None


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
    alike = [s for s in state.steps if _fastener(s.step) == _fastener(step)]
    lacking = [
        s.step
        for s in alike
        if _lacks_torque(s)
        and (s.status is StepStatus.INCOMPLETE or ready(state.sheet, s.step, state.settled))
    ]
    lacking = _left_out_last(state, lacking)
    just = _just_reported(state)
    if just is not None and just.step in lacking:
        return just.step
    return lacking[0] if len(alike) > 1 and lacking else step


def _left_out_last(state: JobState, steps: list[Step]) -> list[Step]:
    """Return the steps in their order, those confirmed as missing after all others."""
    left_out = state.left_out
    return sorted(steps, key=lambda step: step.key in left_out)


def _lacks_torque(step: StepState) -> bool:
    return any(what.startswith("torque") for what in step.missing)


def _just_reported(state: JobState) -> StepState | None:
    return state.step(state.marks[-1].step) if state.marks else None


def _lacks_amount(step: StepState) -> bool:
    return any(what.startswith("quantity") for what in step.missing)


def fluid_told_last(state: JobState, direction: str) -> str | None:
    """Return the fluid of the amount told last, which a correction or 'another' is about."""
    told = [v.entry for v in state.values if v.entry.kind == "quantity"]
    poured = [entry for entry in told if entry.body.get("direction") == direction]
    last = max(poured, key=lambda entry: entry.seq, default=None)
    return str(last.body.get("fluid")) if last else None


def fluid_just_reported(state: JobState, direction: str) -> str | None:
    """Return the fluid of the step that was just reported, where that waits for its amount."""
    just = _just_reported(state)
    pour = just.step.pour if just else None
    if just is None or pour is None or pour.direction != direction:
        return None
    return pour.fluid if _lacks_amount(just) else None


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

    The one that was just reported and waits for its amount goes before it. Where none is left,
    what is poured still belongs to the one done last.
    """
    steps = pour_steps(state.sheet, fluid, direction)
    just = _just_reported(state)
    if just is not None and just.step in steps and _lacks_amount(just):
        return just.step
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


def reading_step(state: JobState, key: str, *, correction: bool = False) -> Step | None:
    """Return the step of a reading; of several steps that want the same one, the one at hand.

    That is the step done last, one that is waiting for it, the next whose turn has come; where
    none of them lacks it, the one done last of those that want it. A correction is about the one
    told last.
    """
    step = step_named(state.sheet, key)
    if step is None or step.reading is None:
        return step
    alike = [s for s in state.steps if s.step.reading and s.step.reading.name == step.reading.name]
    corrected = corrected_at(state, "reading", [s.step for s in alike]) if correction else None
    if corrected is not None or len(alike) < 2:
        return corrected or step
    done = [mark.step for mark in state.marks]
    lacking = [s for s in alike if not s.values and ready(state.sheet, s.step, state.settled)]
    turn = [s for s in lacking if s.status is not StepStatus.DONE or s.step.key in done[-1:]]
    if turn:
        return min(turn, key=lambda s: _turn(state, s, done)).step
    last = next((key for key in reversed(done) if key in {s.step.key for s in alike}), key)
    return step_named(state.sheet, last)


def _turn(state: JobState, step: StepState, done: list[str]) -> tuple[bool, bool, bool]:
    """Rank a step that lacks its reading: the lowest is meant."""
    key = step.step.key
    return key in state.left_out, key not in done[-1:], step.status is not StepStatus.INCOMPLETE


def last_value(state: JobState, units: list[str]) -> Value | None:
    """Return the value recorded last, of the dimension of ``units`` where one was said."""
    dimensions = {unit_of(unit).dimension for unit in units}
    for value in sorted(state.values, key=lambda v: v.entry.seq, reverse=True):
        known = UNITS.get(value.unit)
        if not dimensions or (known and known.dimension in dimensions):
            return value
    return None
