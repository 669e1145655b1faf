"""What the job expects to hear next: a small bonus for the recogniser, never a wall."""

from __future__ import annotations

from joblog.job.order import ready
from joblog.job.types import JobState, StepState, StepStatus

NEXT = 0.6  # natural log; a phrase twice as likely as another gets 0.69
LACKING = 0.5
ANSWER = 0.8


def expected_tags(state: JobState) -> dict[str, float]:
    """Return tags of the grammar with log-probability bonuses for the state of the job."""
    bonus: dict[str, float] = {}
    if state.question is not None and state.question.about in ("hearing", "value"):
        for tag in ("affirm", "negative", "first", "second"):
            bonus[f"control:{tag}"] = ANSWER
    for step in state.steps:
        begun = step.status is StepStatus.INCOMPLETE
        if begun or (step.status is StepStatus.OPEN and ready(state.sheet, step.step, state.done)):
            for tag, value in _wanted(step):
                bonus[tag] = max(bonus.get(tag, 0.0), value)
    return bonus


def _wanted(state: StepState) -> list[tuple[str, float]]:
    step = state.step
    wanted = [(f"step:{step.key}", NEXT)] if state.status is StepStatus.OPEN else []
    if any(what.startswith("torque") for what in state.missing):
        wanted += [(f"torque:{step.key}", LACKING), ("torque:here", LACKING)]
    if "angle" in state.missing:
        wanted.append((f"angle:{step.key}", LACKING))
    if step.pour:
        tags = ("in", "more", "share") if step.pour.direction == "in" else ("out",)
        wanted += [(f"{tag}:{key}", LACKING) for tag in tags for key in (step.pour.fluid, "here")]
    if step.reading and not state.values:
        wanted.append((f"reading:{step.key}", LACKING))
    if step.photo and state.missing:
        wanted.append((f"photo:{step.photo.kind}", LACKING))
    return wanted
