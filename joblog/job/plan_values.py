"""Torques, quantities and readings: which one is meant, and whether it can be believed.

A number is recorded only where it has one meaning. A torque that can be read in two ways is always
asked; a quantity or reading only where more than one way makes sense on this sheet. A number beyond
reason is asked once; said again, it is recorded, and the guard has its say.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.drafts import Draft, Plan, refusal, value_question
from joblog.job.meaning import Meaning
from joblog.job.numbers import number_text
from joblog.job.said_units import SaidValue
from joblog.job.targets import (
    container_of,
    fluid_at_hand,
    last_value,
    reading_step,
    torque_at_hand,
)
from joblog.job.types import FluidState, JobState, StepStatus
from joblog.job.values import converted, pour_step, step_named
from joblog.job.wording import capital, said, shown
from joblog.measure.units import unit_of
from joblog.sheet.model import ReadingWanted, Step, Torque

TOO_MUCH = 2  # times the specification: beyond it a torque or quantity is asked, not believed

Check = Callable[[SaidValue], bool]


def plan_torque(state: JobState, meaning: Meaning) -> Plan:
    """Return what a spoken torque leads to."""
    step = (
        torque_at_hand(state)
        if meaning.target == "here"
        else step_named(state.sheet, meaning.target)
    )
    if step is None or step.torque is None:
        return refusal("Which one? Say it with its name.", "Which fastener? Say it with its name.")
    wanted = step.torque
    wrong = _wrong_kind(meaning.values, "torque", wanted.unit)
    if wrong:
        return wrong

    def draft(value: SaidValue) -> Draft:
        body = {
            "step": step.key,
            "value": number_text(value.value),
            "unit": value.unit or wanted.unit,
        }
        if wanted.count > 1 and meaning.which:
            body["which"] = meaning.which
        return Draft("torque", body, _corrected(state, meaning, "torque", step.key))

    def plausible(value: SaidValue) -> bool:
        return _torque_plausible(value, wanted)

    name = f"torque {wanted.fastener}"
    return _settled(meaning, draft, plausible, name, wanted.unit, always_ask=True)


def _torque_plausible(value: SaidValue, wanted: Torque) -> bool:
    exact = converted(value.value, value.unit or wanted.unit, wanted.unit)
    if exact is None:
        return False
    # The same number in the other common unit is a mix-up to be told, not a number to be doubted.
    return wanted.value / TOO_MUCH <= exact <= wanted.value * TOO_MUCH


def plan_quantity(state: JobState, meaning: Meaning) -> Plan:
    """Return what a spoken quantity leads to: in, out, another, a share of this one."""
    direction = "out" if meaning.act == "out" else "in"
    fluid = meaning.target if meaning.target != "here" else fluid_at_hand(state, direction)
    sums = next((f for f in state.fluids if f.key == fluid), None)
    if fluid is None or sums is None:
        return refusal("Which fluid? Say it with its name.")
    amounts = _amounts(state, meaning, sums)
    wrong = _wrong_kind(amounts, "volume", sums.unit)
    if wrong:
        return wrong
    step = pour_step(state.sheet, fluid, direction)

    def draft(value: SaidValue) -> Draft:
        body = {
            "fluid": fluid,
            "direction": direction,
            "value": number_text(value.value),
            "unit": value.unit or sums.unit,
            "step": step.key if step else None,
        }
        return Draft("quantity", body, _corrected(state, meaning, "quantity", fluid, direction))

    def plausible(value: SaidValue) -> bool:
        return _quantity_plausible(value, sums, direction, meaning.correction)

    resolved = meaning if amounts == meaning.values else _with(meaning, amounts)
    name = "out" if direction == "out" else "in"
    return _settled(resolved, draft, plausible, name, sums.unit, always_ask=False)


def _with(meaning: Meaning, values: tuple[SaidValue, ...]) -> Meaning:
    from dataclasses import replace

    return replace(meaning, values=values)


def _amounts(state: JobState, meaning: Meaning, sums: FluidState) -> tuple[SaidValue, ...]:
    """Return the amounts meant, where 'another' and 'of this one' count in containers."""
    container = container_of(state.sheet, sums.key)
    if meaning.act == "share":
        return tuple(
            SaidValue(Fraction(v.value) * Fraction(container.value), container.unit)
            for v in meaning.values
        )
    if meaning.act != "more":
        return meaning.values
    if not meaning.values:
        return (SaidValue(container.value, container.unit),)
    return tuple(
        v if v.unit else SaidValue(Fraction(v.value) * Fraction(container.value), container.unit)
        for v in meaning.values
    )


def _quantity_plausible(
    value: SaidValue, sums: FluidState, direction: str, correction: bool
) -> bool:
    exact = converted(value.value, value.unit or sums.unit, sums.unit)
    if exact is None:
        return False
    before = sums.poured_out if direction == "out" else sums.poured_in
    after = exact if correction else before + exact
    ceiling = [Fraction(sums.total)] if sums.total else []
    if sums.specified:
        ceiling.append(Fraction(sums.specified) * TOO_MUCH)
    return not ceiling or after <= min(ceiling)


def plan_reading(state: JobState, meaning: Meaning) -> Plan:
    """Return what a spoken reading leads to."""
    step = reading_step(state, meaning.target)
    if step is None or step.reading is None:
        return refusal("Which reading? Say it with its name.")
    wanted = step.reading
    wrong = _wrong_kind(meaning.values, unit_of(wanted.unit).dimension, wanted.unit, signed=True)
    if wrong:
        return wrong

    def draft(value: SaidValue) -> Draft:
        body = {
            "step": step.key,
            "name": wanted.name,
            "value": number_text(value.value),
            "unit": value.unit or wanted.unit,
        }
        return Draft("reading", body, _corrected(state, meaning, "reading", step.key))

    def plausible(value: SaidValue) -> bool:
        return _reading_plausible(value, wanted)

    return _settled(meaning, draft, plausible, wanted.name, wanted.unit, always_ask=False)


def _reading_plausible(value: SaidValue, wanted: ReadingWanted) -> bool:
    """Judge by the sheet's limits, generously: a reading may well be out of specification."""
    exact = converted(value.value, value.unit or wanted.unit, wanted.unit)
    if exact is None:
        return False
    low = wanted.low if wanted.low is not None else Decimal(0)
    high = wanted.high if wanted.high is not None else max(low * TOO_MUCH, low)
    if wanted.low is None and wanted.high is None:
        return True
    room = max(abs(high - low), abs(high), abs(low))
    return low - room <= exact <= high + room


def plan_bare(state: JobState, meaning: Meaning) -> Plan:
    """Return what 'correction' with a number alone leads to: the last value is corrected."""
    value = last_value(state, [v.unit for v in meaning.values if v.unit])
    if value is None:
        return refusal("Nothing to correct.", "There is no value yet that could be corrected.")
    from dataclasses import replace

    body = value.entry.body
    if value.entry.kind == "torque":
        return plan_torque(
            state, replace(meaning, act="torque", target=str(body["step"]), correction=True)
        )
    if value.entry.kind == "quantity":
        act = str(body.get("direction", "in"))
        return plan_quantity(
            state, replace(meaning, act=act, target=str(body["fluid"]), correction=True)
        )
    return plan_reading(
        state, replace(meaning, act="reading", target=str(body["step"]), correction=True)
    )


def _wrong_kind(
    values: tuple[SaidValue, ...], dimension: str, unit: str, *, signed: bool = False
) -> Plan | None:
    """Refuse what can't be meant: no number, a torque in litres, a quantity below zero."""
    if not values:
        return refusal("Say the number again.", "There was no number in it; say it with one.")
    for value in values:
        if value.unit and unit_of(value.unit).dimension != dimension:
            other = unit_of(value.unit)
            return refusal(
                "That unit does not fit. Say it again.",
                f"{other.symbol} is a unit of {other.dimension}, but a {dimension} belongs here; "
                f"say it in {unit_of(unit).plural}.",
            )
        if not signed and Fraction(value.value) <= 0:
            return refusal(
                "That must be above zero. Say it again.",
                f"{number_text(value.value)} can't be meant: a {dimension} is above zero.",
            )
    return None


def _corrected(state: JobState, meaning: Meaning, kind: str, *about: str) -> str | None:
    """Return the id of the value that a correction replaces: the last one of its kind."""
    if not meaning.correction:
        return None
    for value in reversed(state.values):
        body = value.entry.body
        mine = (
            (body.get("fluid"), body.get("direction"))
            if kind == "quantity"
            else (body.get("step"),)
        )
        if value.entry.kind == kind and mine == about:
            return value.entry.id
    return None


def _settled(
    meaning: Meaning,
    draft: Callable[[SaidValue], Draft],
    plausible: Check,
    name: str,
    unit: str,
    *,
    always_ask: bool,
) -> Plan:
    """Record the one value that can be meant, or ask."""
    values = meaning.values
    sensible = [v for v in values if plausible(v)]
    if len(values) == 1 and sensible:
        return Plan((draft(values[0]),))
    if len(values) > 1 and len(sensible) == 1 and not always_ask:
        return Plan((draft(sensible[0]),))
    offered = sorted(sensible or values, key=lambda v: Fraction(v.value))[:2]
    names = [said(v.value, v.unit or unit) for v in offered]
    texts = [shown(v.value, v.unit or unit) for v in offered]
    drafts = [draft(v) for v in offered]
    if len(offered) == 1:
        question = f"{capital(name)}, {names[0]}? Affirm or negative."
        why = f"{capital(name)} {texts[0]} is far from what the sheet expects. Is that right?"
        return value_question(question, texts, drafts, meaning.tag, why)
    question = f"First, {names[0]}, or second, {names[1]}?"
    return value_question(question, texts, drafts, meaning.tag)


def known_unit(code: str) -> bool:
    """Say whether ``code`` is a unit."""
    try:
        unit_of(code)
    except InputError:
        return False
    return True


def step_open(state: JobState, step: Step) -> bool:
    """Say whether ``step`` is not done yet."""
    found = state.step(step.key)
    return found is not None and found.status is StepStatus.OPEN
