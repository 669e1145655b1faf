"""One value to record, a question, or a refusal."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from joblog.job.drafts import Draft, Plan, refusal, value_question
from joblog.job.meaning import Meaning
from joblog.job.numbers import number_text
from joblog.job.said_units import SaidValue
from joblog.job.types import JobState
from joblog.job.wording import capital, said, shown
from joblog.measure.units import unit_of

Check = Callable[[SaidValue], bool]


def wrong_kind(
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


def corrected_id(state: JobState, meaning: Meaning, kind: str, *about: str) -> str | None:
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


def settled(
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
