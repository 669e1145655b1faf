"""What a sentence leads to: entries to append, a question to ask, or an answer to give.

``plan`` is pure: it looks at the job and at what was meant, and says what should be recorded. Only
:mod:`joblog.job.session` writes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from joblog.job.clocks import elapsed
from joblog.job.drafts import CLOSED, Draft, Plan, value_question
from joblog.job.marks import holds
from joblog.job.meaning import Meaning
from joblog.job.numbers import number
from joblog.job.plan_controls import NOTHING_TOLD, plan_control
from joblog.job.plan_quantities import plan_quantity
from joblog.job.plan_torques import plan_angle, plan_torque
from joblog.job.plan_values import plan_bare, plan_reading
from joblog.job.targets import part_step
from joblog.job.told import Told
from joblog.job.types import JobState, Mark
from joblog.job.values import step_named
from joblog.job.windows import wait_is_past
from joblog.job.wording import capital, said, shown, step_name
from joblog.record.clock import Moment
from joblog.sheet.model import Step

ECHO_SECONDS = 4  # two people who report the same thing within this may mean the same one
# What may still be asked of a closed job: it answers, and nothing changes.
QUESTIONS = frozenset(
    {"say-again", "time", "read-back", "next", "how-much", "missing", "help", "stand-by"}
)


def plan(
    state: JobState,
    meaning: Meaning,
    *,
    by: str = "",
    now: Moment | None = None,
    told: Told = NOTHING_TOLD,
) -> Plan:
    """Return what ``meaning``, said by ``by`` at ``now``, leads to on the job ``state``.

    ``told`` are the findings that were named last.
    """
    if state.closed and not (meaning.act == "control" and meaning.target in QUESTIONS):
        return CLOSED
    if meaning.act == "control":
        return plan_control(state, meaning, by=by, now=now, told=told)
    if meaning.act == "step":
        return _step(state, meaning, now)
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


def _step(state: JobState, meaning: Meaning, now: Moment | None) -> Plan:
    """Record a step as done; ask where it was said before and has not been undone since.

    The time at which a step was done and the clocks that run from it are facts: a word said again
    must not move them unasked. Nor is a wait waited for again once a later step is done.
    """
    draft = Draft("step-done", {"step": meaning.target})
    step = step_named(state.sheet, meaning.target)
    before = [m for m in state.marks if m.step == meaning.target and m.entry.kind == "step-done"]
    if step is None or not before or not _asked_again(state, step, before[-1]):
        return Plan((draft,))
    name = step_name(step)
    if now is not None and elapsed(before[-1].entry, now).seconds <= ECHO_SECONDS:
        return Plan(spoken=f"{capital(name)}.", shown=f"{capital(name)}: done.")
    question = f"Once more, {name}? Affirm or negative."
    why = f"{capital(name)} is done already. Was it done once more?"
    if wait_is_past(state, step, before[-1]):
        why = (
            f"{capital(name)} is done already, and a later step since: no wait is made good by it."
        )
        why += " Was it done once more?"
    return value_question(question, [f"{name}, once more"], [draft], meaning.tag, why)


def _asked_again(state: JobState, step: Step, last: Mark) -> bool:
    """Say whether ``step``, said again, is asked about: ``last`` is when it was said before."""
    if wait_is_past(state, step, last):
        return True
    still = holds(step, state.conditions) or _clock_runs_on(state, last)
    return still and not _topped_up(state, last)


def _topped_up(state: JobState, mark: Mark) -> bool:
    """Say whether something has been poured in since at the step of ``mark``: it was done on."""
    poured = (v for v in state.values if v.step == mark.step and v.entry.kind == "quantity")
    return any(value.entry.seq > mark.entry.seq for value in poured)


def _clock_runs_on(state: JobState, mark: Mark) -> bool:
    """Say whether a clock runs from ``mark`` and nobody has gone back before that step since."""
    if not any(s.step.window and s.step.window.since == mark.step for s in state.steps):
        return False
    order = [s.step.key for s in state.steps]
    later = [m.step for m in state.marks if m.root.seq > mark.root.seq]
    return all(order.index(key) > order.index(mark.step) for key in later)


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
