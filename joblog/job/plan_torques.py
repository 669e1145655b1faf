"""Torques and the angles behind them: which fastener is meant, and what is recorded of it."""

from __future__ import annotations

from dataclasses import replace

from joblog.job.clocks import last_start
from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.meaning import Meaning
from joblog.job.numbers import number_text
from joblog.job.plausible import torque_fits, torque_plausible
from joblog.job.retold import told_anew
from joblog.job.run_together import number_apart, number_question
from joblog.job.said_units import SaidValue, in_unit_of_sheet
from joblog.job.settling import Wanted, corrected_id, in_corrected_unit, settled, wrong_kind
from joblog.job.targets import (
    corrected_at,
    stage_at_hand,
    torque_at_hand,
    torque_corrected,
    torque_step,
)
from joblog.job.torques import (
    angle_limits,
    angle_name,
    angle_plausible,
    lacking,
    next_angle,
    next_number,
    torque_entries,
)
from joblog.job.types import JobState, Value
from joblog.job.values import step_named
from joblog.job.wrenches import at_fastener, wrench_meant
from joblog.sheet.model import Step, Torque


def plan_torque(state: JobState, meaning: Meaning) -> Plan:
    """Return what a spoken torque leads to."""
    meaning = told_anew(state, meaning, "torque")
    step = _torque_step(state, meaning)
    if step is None or step.torque is None:
        return refusal(
            "Which one? Say it with its name.", "Which one? Say the fastener with its name."
        )
    wanted = step.torque
    if meaning.which.isdigit() and int(meaning.which) > wanted.count:
        return refusal(
            "Which one? Say it with its name.",
            f"There is no {wanted.fastener} number {meaning.which}: say it with its name.",
        )
    old = corrected_id(state, meaning, "torque", step.key)
    values = in_corrected_unit(state, in_unit_of_sheet(meaning.values, wanted.unit), old)
    wrong = wrong_kind(values, "torque", wanted.unit)
    if wrong:
        return wrong
    wrench = wrench_meant(state, step, meaning.wrench, old)

    def gets(value: SaidValue) -> SaidValue:
        """Return what the fastener gets where the wrench shows ``value``."""
        exact = at_fastener(state.sheet, step, value.value, value.unit or wanted.unit, wrench)
        return value if exact is None else replace(value, value=exact, unit=wanted.unit)

    def draft(meant: Meaning, value: SaidValue) -> Draft:
        return _torque_draft(state, step, wanted, meant, value)

    def plausible(value: SaidValue) -> bool:
        return torque_plausible(gets(value), wanted)

    apart = number_apart(meaning, wanted.count, wanted.unit)
    name = f"torque {wanted.fastener}"
    asked = number_question(meaning, apart, draft, plausible, wanted.unit, name=name)
    return asked or settled(
        meaning.with_values(values),
        Wanted(
            name=name,
            unit=wanted.unit,
            draft=lambda v: draft(meaning, v),
            fits=lambda v: torque_fits(gets(v), wanted),
            plausible=plausible,
            always_ask=True,
        ),
    )


def _torque_draft(
    state: JobState, step: Step, wanted: Torque, meant: Meaning, value: SaidValue
) -> Draft:
    """Return the entry of a torque, with its wrench and the number of its fastener where known."""
    body = {"step": step.key, "value": number_text(value.value), "unit": value.unit or wanted.unit}
    old = corrected_id(state, meant, "torque", step.key)
    wrench = wrench_meant(state, step, meant.wrench, old)
    if wrench:
        body["wrench"] = wrench
    if wanted.count > 1:
        body["which"] = meant.which or _which(state, step, wanted, old)
    return Draft("torque", body, old)


def _torque_step(state: JobState, meaning: Meaning) -> Step | None:
    def fits(wanted: Torque) -> bool:
        values = in_unit_of_sheet(meaning.values, wanted.unit)
        return bool(values) and torque_fits(values[0], wanted)

    if meaning.act == "torque-at":
        return step_named(state.sheet, meaning.target)
    if meaning.correction:
        named = step_named(state.sheet, meaning.target)
        corrected = torque_corrected(state, named, meaning.which, fits)
        if corrected is not None:
            return corrected
    if meaning.target == "here":
        return torque_at_hand(state)
    step = torque_step(state, meaning.target)
    return step if step is None else stage_at_hand(state, step, fits)


def _which(state: JobState, step: Step, wanted: Torque, old: str | None) -> str:
    """Return the number of the fastener meant: the corrected one's, else the next in turn."""
    corrected = _corrected_which(state, old)
    return corrected or str(
        next_number(wanted, torque_entries(_of_this_round(state, step), step.key))
    )


def _of_this_round(state: JobState, step: Step) -> list[Value]:
    """Return the values beside which another one of ``step`` counts.

    What was undone doesn't, nor what came too early once the window of the step has started.
    """
    now = state.step(step.key)
    counted = now.values if now else ()
    begun = last_start(state.marks, step.window) is not None
    early = (v for v in state.values if v.early and v.step == step.key and not begun)
    return list({v.entry.id: v for v in (*counted, *early)}.values())


def _corrected_which(state: JobState, old: str | None) -> str:
    return next((str(v.entry.body.get("which", "")) for v in state.values if v.entry.id == old), "")


def plan_angle(state: JobState, meaning: Meaning) -> Plan:
    """Return what the angle after a torque leads to: a reading of the step."""
    meaning = told_anew(state, meaning, "reading")
    step = _angle_step(state, meaning)
    if step is None or step.torque is None or step.torque.angle is None:
        return refusal("Which one? Say it with its name.")
    torque = step.torque
    values = in_unit_of_sheet(meaning.values, "deg")
    wrong = wrong_kind(values, "angle", "deg")
    if wrong:
        return wrong
    low, high = angle_limits(torque)

    def draft(meant: Meaning, value: SaidValue) -> Draft:
        body = {
            "step": step.key,
            "name": angle_name(torque),
            "value": number_text(value.value),
            "unit": value.unit or "deg",
        }
        old = corrected_id(state, meant, "reading", step.key)
        if torque.count > 1:
            which = meant.which or _corrected_which(state, old)
            body["which"] = which or str(next_angle(step, _of_this_round(state, step)))
        return Draft("reading", body, old)

    def plausible(value: SaidValue) -> bool:
        return angle_plausible(value.value, torque)

    apart = number_apart(meaning, torque.count, "deg")
    asked = number_question(meaning, apart, draft, plausible, "deg", name=angle_name(torque))
    return asked or settled(
        meaning.with_values(values),
        Wanted(
            name=angle_name(torque),
            unit="deg",
            draft=lambda v: draft(meaning, v),
            fits=lambda v: low <= v.value <= high,
            plausible=plausible,
        ),
    )


def _angle_step(state: JobState, meaning: Meaning) -> Step | None:
    """Return the step whose angle is meant: of those it could be, the last one that lacks it.

    Without a name these are the steps with an angle that have been tightened. A correction is
    about the angle told last.
    """
    named = step_named(state.sheet, meaning.target)
    turned = [s for s in state.steps if s.step.torque and s.step.torque.angle is not None]
    if named is not None and named.torque is not None:
        name = (named.torque.fastener, named.torque.stage)
        turned = [
            s
            for s in turned
            if s.step.torque and (s.step.torque.fastener, s.step.torque.stage) == name
        ]
    corrected = corrected_at(state, "reading", [s.step for s in turned])
    if meaning.correction and corrected is not None:
        return corrected
    tight = [s for s in turned if any(v.entry.kind == "torque" for v in s.values)]
    wanting = [s for s in tight if any(w.startswith("angle") for w in lacking(s.step, s.values))]
    found = (wanting or tight)[-1:]
    if found:
        return found[0].step
    return named or (turned[0].step if len(turned) == 1 else None)
