"""What a sentence leads to: entries to append, a question to ask, or an answer to give.

``plan`` is pure: it looks at the job and at what was meant, and says what should be recorded. Only
:mod:`joblog.job.session` writes.
"""

from __future__ import annotations

from collections.abc import Callable

from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.meaning import Meaning
from joblog.job.plan_controls import plan_control
from joblog.job.plan_values import plan_angle, plan_bare, plan_quantity, plan_reading, plan_torque
from joblog.job.types import JobState
from joblog.record.clock import Moment


def plan(state: JobState, meaning: Meaning, *, by: str = "", now: Moment | None = None) -> Plan:
    """Return what ``meaning``, said by ``by`` at ``now``, leads to on the job ``state``."""
    if state.closed and meaning.act != "control":
        return refusal("The job is closed.", "The job is closed; nothing more is recorded.")
    if meaning.act == "control":
        return plan_control(state, meaning, by=by, now=now)
    return _ACTS[meaning.act](state, meaning)


def _step(_: JobState, meaning: Meaning) -> Plan:
    return Plan((Draft("step-done", {"step": meaning.target}),))


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
    "in": plan_quantity,
    "out": plan_quantity,
    "more": plan_quantity,
    "share": plan_quantity,
    "reading": plan_reading,
    "angle": plan_angle,
    "bare": plan_bare,
    "photo": _photo,
    "clock": _clock,
    "note": _note,
}
