"""Amounts poured in or out: of which fluid, and how much 'another' or 'half of this one' is."""

from __future__ import annotations

from fractions import Fraction

from joblog.job.aloud import fluid_words
from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.meaning import Meaning
from joblog.job.numbers import number_text
from joblog.job.plausible import quantity_plausible
from joblog.job.retold import told_anew
from joblog.job.said_units import SaidValue, in_unit_of_sheet
from joblog.job.settling import Wanted, corrected_id, in_corrected_unit, settled, wrong_kind
from joblog.job.targets import (
    container_of,
    fluid_at_hand,
    fluid_just_reported,
    fluid_told_last,
    pour_at_hand,
)
from joblog.job.types import FluidState, JobState
from joblog.job.values import converted
from joblog.job.wording import capital, said, shown
from joblog.sheet.model import Sheet


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
