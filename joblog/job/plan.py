"""What a sentence leads to: entries to append, a question to ask, or an answer to give.

``plan`` is pure: it looks at the job and at what was meant, and says what should be recorded. Only
:mod:`joblog.job.session` writes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from joblog.job.clocks import elapsed
from joblog.job.drafts import Draft, Plan, refusal, value_question
from joblog.job.meaning import Meaning
from joblog.job.numbers import number
from joblog.job.plan_controls import plan_control
from joblog.job.plan_values import plan_angle, plan_bare, plan_quantity, plan_reading, plan_torque
from joblog.job.targets import part_step
from joblog.job.types import JobState
from joblog.job.wording import said, shown
from joblog.record.clock import Moment

ECHO_SECONDS = 4  # two people who report the same amount within this may mean the same one


def plan(state: JobState, meaning: Meaning, *, by: str = "", now: Moment | None = None) -> Plan:
    """Return what ``meaning``, said by ``by`` at ``now``, leads to on the job ``state``."""
    if state.closed and meaning.act != "control":
        return refusal("The job is closed.", "The job is closed; nothing more is recorded.")
    if meaning.act == "control":
        return plan_control(state, meaning, by=by, now=now)
    made = _ACTS[meaning.act](state, meaning)
    return _twice_heard(state, made, meaning, by, now) or made


def _twice_heard(
    state: JobState, made: Plan, meaning: Meaning, by: str, now: Moment | None
) -> Plan | None:
    """Ask where somebody else has just reported the same amount: one quart, or two?"""
    last = next((e for e in reversed(state.entries) if e.kind == "quantity"), None)
    if now is None or last is None or len(made.drafts) != 1 or last.by == by:
        return None
    draft = made.drafts[0]
    same = draft.kind == "quantity" and not draft.supersedes and _same(draft.body, last.body)
    if not same or elapsed(last, now).seconds > ECHO_SECONDS:
        return None
    way = "out" if draft.body["direction"] == "out" else "in"
    amount = number(draft.body["value"])
    question = f"Once more, {said(amount, draft.body['unit'])} {way}? Affirm or negative."
    text = shown(amount, draft.body["unit"])
    why = f"{last.by or 'Somebody'} has just reported {text} {way}. Is this another {text}?"
    return value_question(question, [text], [draft], meaning.tag, why)


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    return all(one.get(k) == other.get(k) for k in ("fluid", "direction", "value", "unit"))


def _step(_: JobState, meaning: Meaning) -> Plan:
    return Plan((Draft("step-done", {"step": meaning.target}),))


def _part(state: JobState, meaning: Meaning) -> Plan:
    step = part_step(state, meaning.target)
    kept = "new" if meaning.act == "part-new" else "reused"
    body = {"step": step.key if step else None, "part": meaning.target, "state": kept}
    return Plan((Draft("part", body),))


def _photo(_: JobState, meaning: Meaning) -> Plan:
    return Plan(wants_photo=(meaning.target, meaning.phase))


def _note(_: JobState, __: Meaning) -> Plan:
    question = {"question": "Go ahead.", "options": [], "about": "note"}
    return Plan((Draft("asked", question),), spoken="Go ahead.", tone="again")


def _clock(_: JobState, meaning: Meaning) -> Plan:
    if meaning.target == "fan-cycle":
        return Plan((Draft("clock", {"name": "fan-cycle", "event": "count"}),))
    return Plan((Draft("clock", {"name": "stop-watch", "event": meaning.target}),))


_ACTS: dict[str, Callable[[JobState, Meaning], Plan]] = {
    "step": _step,
    "torque": plan_torque,
    "torque-at": plan_torque,
    "in": plan_quantity,
    "out": plan_quantity,
    "more": plan_quantity,
    "share": plan_quantity,
    "reading": plan_reading,
    "reading-at": plan_reading,
    "angle": plan_angle,
    "bare": plan_bare,
    "part-new": _part,
    "part-old": _part,
    "photo": _photo,
    "clock": _clock,
    "note": _note,
}
