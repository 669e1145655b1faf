"""What the job expects to hear next: a small bonus for the recogniser, never a wall."""

from __future__ import annotations

from joblog.job.aloud import fastener_words, words_of
from joblog.job.order import ready
from joblog.job.types import JobState, StepState, StepStatus
from joblog.sheet.model import Sheet, Step

NEXT = 0.6  # natural log; a phrase twice as likely as another gets 0.69
LACKING = 0.5
ANSWER = 0.8


def expected_tags(state: JobState) -> dict[str, float]:
    """Return tags of the grammar with log-probability bonuses for the state of the job."""
    bonus: dict[str, float] = {}
    if state.waiting:
        for tag in ("affirm", "negative", "first", "second"):
            bonus[f"control:{tag}"] = ANSWER
    settled = state.settled
    for step in state.steps:
        begun = step.status is StepStatus.INCOMPLETE
        if begun or (step.status is StepStatus.OPEN and ready(state.sheet, step.step, settled)):
            for tag, value in _wanted(state.sheet, step):
                bonus[tag] = max(bonus.get(tag, 0.0), value)
    return bonus


def name_tag(sheet: Sheet, step: Step, act: str) -> str:
    """Return the tag of the phrase by name, which the first step of that name gives it."""
    name = _name(step, act)
    first = next(other for other in sheet.steps if _name(other, act) == name)
    return f"{act}:{first.key}"


def _name(step: Step, act: str) -> str:
    if act == "torque":
        return fastener_words(step) if step.torque else ""
    return words_of(step.reading.name) if step.reading else ""


def _wanted(sheet: Sheet, state: StepState) -> list[tuple[str, float]]:
    step = state.step
    wanted = [(f"step:{step.key}", NEXT)] if state.status is StepStatus.OPEN else []
    if any(what.startswith("torque") for what in state.missing):
        wanted += [(tag, LACKING) for tag in (f"torque-at:{step.key}", "torque:here")]
        wanted.append((name_tag(sheet, step, "torque"), LACKING))
    if any(what.startswith("angle") for what in state.missing):
        wanted += [(tag, LACKING) for tag in (f"angle:{step.key}", "angle:here")]
    if step.pour:
        tags = ("in", "more", "share") if step.pour.direction == "in" else ("out",)
        wanted += [(f"{tag}:{key}", LACKING) for tag in tags for key in (step.pour.fluid, "here")]
    if step.reading and not state.values:
        wanted.append((f"reading-at:{step.key}", LACKING))
        wanted.append((name_tag(sheet, step, "reading"), LACKING))
    if step.photo and state.missing:
        wanted.append((f"photo:{step.photo.kind}", LACKING))
    return wanted
