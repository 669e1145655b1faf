"""A stage tightened again after a later stage: the later stage no longer holds.

Bolts that are brought up in stages are loosened and gone over from the earlier stage on; what was
reached after it is gone. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from joblog.job.history import Event, History
from joblog.job.types import Finding, FindingKind, JobState
from joblog.job.wording import capital, step_name
from joblog.sheet.model import Step


def stage_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Yield every stage that was done over after the next one, and not followed by it again."""
    torques = history.of("torque")
    for step in state.sheet.steps:
        following = _next_stage(state, step)
        if following is None:
            continue
        mine = [e for e in torques if e.entry.body.get("step") == step.key]
        later = [e for e in torques if e.entry.body.get("step") == following.key]
        for at, event in enumerate(mine):
            passed = [e for e in later if e.root.seq < event.root.seq and _same(e, event)]
            before = [e for e in mine[:at] if _same(e, event)]
            if passed and any(e.root.seq < passed[-1].root.seq for e in before):
                yield _again(step, following, event, _followed(later, event))


def _next_stage(state: JobState, step: Step) -> Step | None:
    if step.torque is None:
        return None
    wanted = (step.torque.fastener, step.torque.stage + 1)
    return next(
        (
            s
            for s in state.sheet.steps
            if s.torque and (s.torque.fastener, s.torque.stage) == wanted
        ),
        None,
    )


def _same(one: Event, other: Event) -> bool:
    """Say whether two torques are of one fastener: 'all' and a missing number are of every one."""
    first, second = (str(e.entry.body.get("which") or "all") for e in (one, other))
    return first == second or "all" in (first, second)


def _followed(later: Sequence[Event], event: Event) -> bool:
    return any(e.root.seq > event.root.seq and _same(e, event) for e in later)


def _again(step: Step, following: Step, event: Event, done: bool) -> Finding:
    name, other = step_name(step), step_name(following)
    return Finding(
        key=f"stage:{event.entry.id}",
        kind=FindingKind.OUT_OF_ORDER,
        text=f"{capital(name)} again, after {other}: now do {other} again.",
        spoken=f"{capital(name)}. Missing: torque, {other}.",
        step=following.key,
        entry=event.entry.id,
        at=event.root.at,
        resolved="done afterwards" if done else "",
        customer=f"“{step.title}” was done again after “{following.title}”, which must follow it.",
    )
