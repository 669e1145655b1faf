"""What a sentence leads to: entries to append, a question to ask, or an answer to give.

``plan`` is pure: it looks at the job and at what was meant, and says what should be recorded. Only
:mod:`joblog.job.session` writes.
"""

from __future__ import annotations

from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.meaning import Meaning
from joblog.job.plan_controls import plan_control
from joblog.job.plan_values import plan_bare, plan_quantity, plan_reading, plan_torque
from joblog.job.types import JobState
from joblog.record.clock import Moment

QUANTITIES = ("in", "out", "more", "share")


def plan(state: JobState, meaning: Meaning, *, by: str = "", now: Moment | None = None) -> Plan:
    """Return what ``meaning``, said by ``by`` at ``now``, leads to on the job ``state``."""
    if state.closed and meaning.act != "control":
        return refusal("The job is closed.", "The job is closed; nothing more is recorded.")
    if meaning.act == "step":
        return Plan((Draft("step-done", {"step": meaning.target}),))
    if meaning.act == "torque":
        return plan_torque(state, meaning)
    if meaning.act in QUANTITIES:
        return plan_quantity(state, meaning)
    if meaning.act == "reading":
        return plan_reading(state, meaning)
    if meaning.act == "bare":
        return plan_bare(state, meaning)
    if meaning.act == "photo":
        return Plan(wants_photo=(meaning.target, meaning.phase))
    if meaning.act == "clock":
        return _clock(meaning.target)
    if meaning.act == "note":
        question = {"question": "Go ahead.", "options": [], "about": "note"}
        return Plan((Draft("asked", question),), spoken="Go ahead.", tone="again")
    return plan_control(state, meaning, by=by, now=now)


def _clock(name: str) -> Plan:
    if name == "fan-cycle":
        return Plan((Draft("clock", {"name": "fan-cycle", "event": "count"}),))
    return Plan((Draft("clock", {"name": "stop-watch", "event": name}),))
