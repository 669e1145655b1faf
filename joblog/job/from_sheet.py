"""'What torque', 'how much fluid', 'which fluid': answered in the sheet's own values.

A question records nothing. The answer says that the sheet is its source; that the vehicle's service
information decides is shown with it.
"""

from __future__ import annotations

from collections.abc import Sequence

from joblog.job.aloud import fastener_words, fluid_words
from joblog.job.drafts import Plan, answer
from joblog.job.order import ready
from joblog.job.targets import fluid_at_hand, torque_at_hand
from joblog.job.types import FluidState, JobState
from joblog.job.wording import and_more, capital, said, shown
from joblog.job.wrenches import to_set
from joblog.sheet.model import Fluid, Sheet, Step

SAYS = "The sheet says"


def answer_torque(state: JobState) -> Plan:
    """Give the torque of the step at hand; of several that may be next the first, and all shown."""
    steps = _torques(state)
    spoken, texts = zip(*(_torque(state.sheet, step) for step in steps), strict=True)
    return _answer(state.sheet, [f"{SAYS} {spoken[0]}.", and_more(len(steps) - 1)], texts)


def _torques(state: JobState) -> list[Step]:
    """Return the steps whose torque may be asked for, one of each fastener and value."""
    at_hand = torque_at_hand(state)
    if at_hand is not None:
        return [at_hand]
    every = [s.step for s in state.steps if s.step.torque]
    left = [step for step in every if step.key not in state.settled] or every
    able = [step for step in left if ready(state.sheet, step, state.settled)] or left[:1]
    found: dict[tuple[str, str], Step] = {}
    for step in able:
        found.setdefault(_torque(state.sheet, step), step)
    return list(found.values())


def _torque(sheet: Sheet, step: Step) -> tuple[str, str]:
    """Return the torque of a step, said and shown; through an adapter what the wrench shows."""
    torque = step.torque
    assert torque is not None
    setting, setting_shown = to_set(sheet, step)
    value = said(torque.value, torque.unit)
    angle = "" if torque.angle is None else f", angle {said(torque.angle, 'deg')}"
    text = f"{fastener_words(step)} {shown(torque.value, torque.unit)} ± {torque.tolerance}"
    text += "" if torque.angle is None else f", then {shown(torque.angle, 'deg')}"
    if setting:
        value, text = setting.removeprefix("Torque ").rstrip("."), f"{text} ({setting_shown})"
    return f"torque {fastener_words(step)}, {value}{angle}", text


def answer_amount(state: JobState) -> Plan:
    """Give how much goes in by the sheet, and how much is in and came out so far."""
    fluids = _fluids(state)
    spoken, texts = zip(*(_amount(fluid) for fluid in fluids), strict=True)
    return _answer(state.sheet, [spoken[0], and_more(len(fluids) - 1)], texts)


def _amount(fluid: FluidState) -> tuple[str, str]:
    spoken, texts = f"{SAYS} no quantity.", [f"no quantity of {fluid.name}"]
    if fluid.specified is not None:
        spoken = f"{SAYS} {said(fluid.specified, fluid.unit)}."
        texts = [f"{shown(fluid.specified, fluid.unit)} of {fluid.name}"]
    for amount, word, far in (
        (fluid.poured_out, "drained", "came out"),
        (fluid.poured_in, "in", "in so far"),
    ):
        if amount:
            spoken += f" {capital(said(amount, fluid.unit))} {word}."
            texts.append(f"{shown(amount, fluid.unit)} {far}")
    return spoken, ", ".join(texts)


def answer_fluid(state: JobState) -> Plan:
    """Name the fluid; its specification is free words, and shown."""
    sheet, fluids = state.sheet, [_of_sheet(state.sheet, f.key) for f in _fluids(state)]
    spoken = f"{SAYS} {fluid_words(fluids[0])[0]}."
    texts = [f"{fluid.name}, {fluid.specification}" for fluid in fluids]
    return _answer(sheet, [spoken, and_more(len(fluids) - 1)], texts)


def _fluids(state: JobState) -> list[FluidState]:
    """Return the fluid that is being poured, else every fluid of the sheet."""
    at_hand = fluid_at_hand(state, "in") or fluid_at_hand(state, "out")
    return [f for f in state.fluids if at_hand in (None, f.key)]


def _of_sheet(sheet: Sheet, key: str) -> Fluid:
    return next(fluid for fluid in sheet.fluids if fluid.key == key)


def _answer(sheet: Sheet, spoken: Sequence[str], texts: Sequence[str]) -> Plan:
    whose = "An example value: the" if sheet.sheet.example else "The vehicle's"
    has = "has the real one" if sheet.sheet.example else "decides"
    told = f"{SAYS}: {'; '.join(texts)}. {whose} service information {has}."
    return answer(" ".join(part for part in spoken if part), told)
