"""Torques, quantities and readings: which one is meant, and whether it can be believed.

A number is recorded only where it has one meaning. A torque that can be read in two ways is always
asked; a quantity or reading only where more than one way makes sense on this sheet. A number beyond
reason is asked once; said again, it is recorded, and the guard has its say.

Torques are in ``plan_torques.py``, quantities in ``plan_quantities.py``; here are readings, and the
number alone that corrects the last value.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from joblog.job.drafts import Draft, Plan, refusal, value_question
from joblog.job.meaning import Meaning, with_ranges
from joblog.job.numbers import Number
from joblog.job.plan_quantities import plan_quantity
from joblog.job.plan_torques import plan_angle, plan_torque
from joblog.job.plausible import reading_fits, reading_plausible
from joblog.job.ranges import ends, figures, may_range, said_ends, shown_ends, value_shown
from joblog.job.retold import told_anew, withdrawn_last
from joblog.job.said_units import SaidValue, in_unit_of_sheet, with_other_sign
from joblog.job.settling import (
    Wanted,
    corrected_id,
    in_corrected_unit,
    in_unit,
    settled_reading,
    wrong_kind,
)
from joblog.job.targets import last_value, reading_step
from joblog.job.types import JobState, Value
from joblog.job.values import converted, step_named
from joblog.measure.units import UNITS, unit_of
from joblog.sheet.model import ReadingWanted


def _with_other_sign(meaning: Meaning, wanted: ReadingWanted) -> list[SaidValue]:
    """Return what a reading may be with 'minus' for 'nine', where it is one that can be below zero.

    A temperature always can, but is asked about only where it would be inside its limits.
    """
    below = min(wanted.low or 0, wanted.high or 0) < 0
    if not below and unit_of(wanted.unit).dimension != "temperature":
        return []
    others = with_other_sign(meaning.text.split()[slice(*meaning.span)])
    return [other for other in others if below or reading_fits(other, wanted)]


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
    dimension = unit_of(wanted.unit).dimension
    values = (*meaning.values, *_with_other_sign(meaning, wanted))
    values = in_unit_of_sheet(values, wanted.unit)
    values = in_corrected_unit(state, values, corrected_id(state, meaning, "reading", step.key))
    ranged = may_range(wanted.unit)
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
            always_ask=wanted.unit == "min",  # 'two thirty': 2.3, or two minutes thirty
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
