"""Torques, quantities and readings: which one is meant, and whether it can be believed.

A number is recorded only where it has one meaning. A torque that can be read in two ways is always
asked; a quantity or reading only where more than one way makes sense on this sheet. A number beyond
reason is asked once; said again, it is recorded, and the guard has its say.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from joblog.job.clocks import last_start
from joblog.job.drafts import Draft, Plan, refusal, value_question
from joblog.job.meaning import Meaning, with_ranges
from joblog.job.numbers import Number, number_text
from joblog.job.phrases import fluid_words
from joblog.job.plausible import (
    quantity_plausible,
    reading_fits,
    reading_plausible,
    torque_fits,
    torque_plausible,
)
from joblog.job.ranges import ends, figures, may_range, said_ends, shown_ends, value_shown
from joblog.job.retold import told_anew, withdrawn_last
from joblog.job.run_together import number_apart, number_question
from joblog.job.said_units import SaidValue, in_unit_of_sheet
from joblog.job.settling import (
    Wanted,
    corrected_id,
    in_corrected_unit,
    in_unit,
    settled,
    settled_reading,
    wrong_kind,
)
from joblog.job.targets import (
    container_of,
    corrected_at,
    fluid_at_hand,
    fluid_just_reported,
    fluid_told_last,
    last_value,
    pour_at_hand,
    reading_step,
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
from joblog.job.types import FluidState, JobState, Value
from joblog.job.values import converted, step_named
from joblog.job.wording import capital, said, shown
from joblog.job.wrenches import at_fastener, wrench_meant
from joblog.measure.units import UNITS, unit_of
from joblog.sheet.model import Sheet, Step, Torque


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
    values = in_unit_of_sheet(meaning.values, wanted.unit)
    values = in_corrected_unit(state, values, corrected_id(state, meaning, "torque", step.key))
    wrong = wrong_kind(values, "torque", wanted.unit)
    if wrong:
        return wrong

    def gets(value: SaidValue) -> SaidValue:
        """Return what the fastener gets where the wrench shows ``value``."""
        old = corrected_id(state, meaning, "torque", step.key)
        wrench = wrench_meant(state, step, meaning.wrench, old)
        unit = value.unit or wanted.unit
        exact = at_fastener(state.sheet, step, value.value, unit, wrench)
        return value if exact is None else replace(value, value=exact, unit=wanted.unit)

    def draft(meant: Meaning, value: SaidValue) -> Draft:
        body = {
            "step": step.key,
            "value": number_text(value.value),
            "unit": value.unit or wanted.unit,
        }
        old = corrected_id(state, meant, "torque", step.key)
        wrench = wrench_meant(state, step, meant.wrench, old)
        if wrench:
            body["wrench"] = wrench
        if wanted.count > 1:
            body["which"] = meant.which or _which(state, step, wanted, old)
        return Draft("torque", body, old)

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


def plan_quantity(state: JobState, meaning: Meaning) -> Plan:
    """Return what a spoken quantity leads to: in, out, another, a share of this one."""
    meaning = told_anew(state, meaning, "quantity")
    direction = "out" if meaning.act == "out" else "in"
    fluid = meaning.target if meaning.target != "here" else _fluid(state, meaning, direction)
    sums = next((f for f in state.fluids if f.key == fluid), None)
    if fluid is None or sums is None:
        return refusal("Which fluid? Say it with its name.", _which_fluid(state.sheet, direction))
    amounts = _amounts(state, meaning, sums)
    corrects = corrected_id(state, meaning, "quantity", fluid, direction)
    amounts = in_corrected_unit(state, amounts, corrects)
    wrong = wrong_kind(amounts, "volume", sums.unit)
    if wrong:
        return wrong
    step = pour_at_hand(state, fluid, direction)

    def draft(value: SaidValue) -> Draft:
        before = next((v.step for v in state.values if v.entry.id == corrects), None)
        body = {
            "fluid": fluid,
            "direction": direction,
            "value": number_text(value.value),
            "unit": value.unit or sums.unit,
            "step": before or (step.key if step else None),
        }
        return Draft("quantity", body, corrects)

    unitless = not meaning.correction and not amounts[0].unit

    def plausible(value: SaidValue) -> bool:
        likely = quantity_plausible(value, sums, direction, meaning.correction)
        return likely and not unitless

    name = "out" if direction == "out" else "in"

    def doubt(value: SaidValue) -> tuple[str, str]:
        if meaning.correction:
            return "", ""
        own = _doubted_sum(value, sums, name)
        return own if own[0] or not unitless else _doubted_unit(value, sums, name)

    wanted = Wanted(name, sums.unit, draft, fits=plausible, plausible=plausible, doubt=doubt)
    return settled(meaning.with_values(amounts), wanted)


def _fluid(state: JobState, meaning: Meaning, direction: str) -> str | None:
    """Return the fluid that is meant where none is named: 'another' is of the one poured last."""
    if meaning.correction:
        return fluid_told_last(state, direction) or fluid_at_hand(state, direction)
    last = fluid_told_last(state, direction) if meaning.act in ("more", "share") else None
    return fluid_just_reported(state, direction) or last or fluid_at_hand(state, direction)


def _which_fluid(sheet: Sheet, direction: str) -> str:
    """Return the question which fluid was meant, with how each would be said."""
    poured = {s.pour.fluid for s in sheet.steps if s.pour and s.pour.direction == direction}
    names = [fluid_words(fluid)[0] for fluid in sheet.fluids if fluid.key in poured]
    ways = " or ".join(f"“... of {name} {direction}”" for name in names)
    return f"Which fluid? Say {ways}." if ways else "Which fluid? Say it with its name."


def _doubted_sum(value: SaidValue, sums: FluidState, way: str) -> tuple[str, str]:
    """Return the question about an amount that only makes too much with what went before."""
    unit = value.unit or sums.unit
    exact, before = converted(value.value, unit, sums.unit), _poured(sums, way)
    if exact is None or not before or not quantity_plausible(value, sums, way, correction=True):
        return "", ""
    total, limit = before + exact, sums.specified or sums.total
    holds = f"; the sheet expects {shown(limit, sums.unit)}" if limit else ""
    question = (
        f"{capital(said(total, sums.unit))} in all. Once more, {said(value.value, unit)} {way}?"
    )
    why = f"In all that makes {shown(total, sums.unit)} {way}{holds}."
    return f"{question} Affirm or negative.", f"{why} Another {shown(value.value, unit)}?"


def _doubted_unit(value: SaidValue, sums: FluidState, way: str) -> tuple[str, str]:
    """Return the question about an amount without a unit: the sheet's may be meant."""
    question = f"{capital(way)}, {said(value.value, sums.unit)}? Affirm or negative."
    return question, f"No unit was said. {shown(value.value, sums.unit)} {way}?"


def _poured(sums: FluidState, way: str) -> Fraction:
    return sums.poured_out if way == "out" else sums.poured_in


def _amounts(state: JobState, meaning: Meaning, sums: FluidState) -> tuple[SaidValue, ...]:
    """Return the amounts meant, where 'another' and 'of this one' count in containers."""
    container = container_of(state.sheet, sums.key)
    size = Fraction(container.value)
    if meaning.act == "more" and not meaning.values:
        return _another(state, sums, SaidValue(size, container.unit))
    if meaning.act in ("more", "share"):
        # 'three quarters of this one' can't be three quarts: only the plain reading counts.
        plain = meaning.values[:1]
        return tuple(v if v.unit else SaidValue(v.value * size, container.unit) for v in plain)
    return in_unit_of_sheet(meaning.values, sums.unit)


def _another(state: JobState, sums: FluidState, full: SaidValue) -> tuple[SaidValue, ...]:
    """Return what 'another' may mean: a full container, or as much as went in last."""
    went_in = [
        v
        for v in state.values
        if v.entry.kind == "quantity"
        and (v.entry.body.get("fluid"), v.entry.body.get("direction")) == (sums.key, "in")
    ]
    last = max(went_in, key=lambda v: v.entry.seq, default=None)
    if last is None or converted(last.value, last.unit, full.unit) in (None, full.value):
        return (full,)
    return (full, SaidValue(Fraction(last.value), last.unit, doubt="words"))


def plan_reading(state: JobState, meaning: Meaning) -> Plan:
    """Return what a spoken reading leads to."""
    meaning = told_anew(state, meaning, "reading")
    if meaning.act == "reading-at":
        step = step_named(state.sheet, meaning.target)
    else:
        step = reading_step(state, meaning.target, correction=meaning.correction)
    if step is None or step.reading is None:
        return refusal("Which reading? Say it with its name.")
    wanted = step.reading
    values = in_unit_of_sheet(meaning.values, wanted.unit)
    values = in_corrected_unit(state, values, corrected_id(state, meaning, "reading", step.key))
    ranged, dimension = may_range(wanted.unit), unit_of(wanted.unit).dimension
    wrong = wrong_kind(values, dimension, wanted.unit, signed=True, ranged=ranged)
    if wrong:
        return wrong

    def draft(value: SaidValue) -> Draft:
        body = {
            "step": step.key,
            "name": wanted.name,
            **figures(value.value, value.upper),
            "unit": value.unit or wanted.unit,
        }
        return Draft("reading", body, corrected_id(state, meaning, "reading", step.key))

    return settled_reading(
        meaning.with_values(values),
        Wanted(
            name=wanted.name,
            unit=wanted.unit,
            draft=draft,
            fits=lambda v: reading_fits(v, wanted),
            plausible=lambda v: reading_plausible(v, wanted),
        ),
    )


def plan_bare(state: JobState, meaning: Meaning) -> Plan:
    """Return what 'correction' with a number alone leads to: the last value is corrected.

    Where the number is far from that value, perhaps another was meant: asked first.
    """
    units = [v.unit for v in meaning.values if v.unit]
    withdrawn = withdrawn_last(state)
    if withdrawn is not None and _of_one_kind(units, str(withdrawn[1].get("unit", ""))):
        return _planned(state, like(meaning, *withdrawn))
    value = last_value(state, units)
    if value is None:
        kind = "such value" if state.values else "value"
        return refusal("Nothing to correct.", f"Nothing to correct: there is no {kind} yet.")
    made = _corrected(state, meaning, value)
    if len(made.drafts) != 1 or made.drafts[0].kind == "asked":
        return made
    body = made.drafts[0].body  # 'one twenty' may have been 1.20
    both, unit = ends(body), str(body["unit"])
    if all(_near(value, end, unit) for end in both if end is not None):
        return made
    old, new = value_shown(value), shown_ends(*both, unit)
    question = f"Corrected: {_name(value)}, {said_ends(*both, unit)}? Affirm or negative."
    why = f"Is {value.name} {new} instead of {old}?"
    return value_question(question, [new], [made.drafts[0]], meaning.tag, why)


def _near(value: Value, new: Number, unit: str) -> bool:
    exact, old = converted(new, unit, value.unit), Fraction(value.value)
    low, high = sorted((old / 2, old * 2))  # below zero twice as much is less
    return exact is not None and low <= exact <= high


def _of_one_kind(units: list[str], unit: str) -> bool:
    """Say whether the units said, if any, measure what ``unit`` does."""
    return unit in UNITS and {unit_of(u).dimension for u in units} <= {unit_of(unit).dimension}


def _name(value: Value) -> str:
    if value.entry.kind == "quantity":
        return "drained" if value.entry.body.get("direction") == "out" else "in"
    return value.name


def _corrected(state: JobState, meaning: Meaning, value: Value) -> Plan:
    return _planned(
        state, replace(like(meaning, value.entry.kind, value.entry.body), correction=True)
    )


def _planned(state: JobState, meant: Meaning) -> Plan:
    plans = {"torque-at": plan_torque, "angle": plan_angle, "reading-at": plan_reading}
    return plans.get(meant.act, plan_quantity)(state, meant)


def like(bare: Meaning, kind: str, body: dict[str, Any]) -> Meaning:
    """Return what a number alone means where it is about an entry of this kind and body."""
    if bare.act not in ("more", "share"):  # theirs count in containers
        bare = bare.with_values(in_unit(bare.values, str(body.get("unit", ""))))
    if kind == "quantity":
        return replace(bare, act=str(body.get("direction", "in")), target=str(body["fluid"]))
    step = str(body["step"])
    if kind == "torque":
        which, wrench = (str(body.get(name, "")) for name in ("which", "wrench"))
        return replace(
            bare,
            act="torque-at",
            target=step,
            which=bare.which or which,
            wrench=bare.wrench or wrench,
        )
    if str(body.get("name", "")).startswith("angle "):
        return replace(bare, act="angle", target=step)
    if may_range(str(body.get("unit", ""))):
        bare = with_ranges(bare)
    return replace(bare, act="reading-at", target=step)
