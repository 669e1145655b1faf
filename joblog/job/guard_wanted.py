"""What is still missing when the job is to be closed, and what stayed unclear."""

from __future__ import annotations

import re
from collections.abc import Container, Iterator, Mapping
from dataclasses import replace

from joblog.job.history import History, confirmations
from joblog.job.torques import lacking
from joblog.job.types import Finding, FindingKind, JobState, StepState, StepStatus
from joblog.job.wording import shown_missing, spoken_missing, step_name
from joblog.record.entry import Entry

CONFIRMED_BY = "confirmed by "  # begins the end of a finding that somebody let stand
DROPPED = "taken back"  # the end of a question answered with no
# How a finding may end besides being confirmed: told behind the reason.
ENDS = (
    "corrected",
    "tightened again",
    "done afterwards",
    DROPPED,
    "photo retaken",
    "no longer so",
    "read again inside the window",
    "read again",
)
_NUMBERED = re.compile(r"(missing:.*:(?:torque|angle))-([0-9]+(?:-[0-9]+)*)")


def missing_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Steps, values and photos that are missing, from the first wish to close the job on."""
    wish = next(
        (
            e.entry
            for e in history.of("asked", "job-closed")
            if e.entry.kind == "job-closed" or e.entry.body.get("about") == "close"
        ),
        None,
    )
    if wish is None or state.closed == "aborted":
        return
    confirmed = confirmations(history)
    for step in state.steps:
        if step.status is StepStatus.OPEN and not step.step.optional:
            yield missing_finding(step, "step", wish.id, wish.at)
            continue
        left_out = confirmed.get(f"missing:{step.step.key}:step")
        if left_out and step.entry and left_out.seq < step.entry.seq:
            found = missing_finding(step, "step", wish.id, wish.at)
            yield replace(found, resolved="done afterwards")
        if step.status is StepStatus.INCOMPLETE:
            for what in step.missing:
                if of_no_use_but_confirmed(state, step, what, confirmed):
                    continue  # asked and answered: one photo is no two questions
                found = missing_finding(step, what, wish.id, wish.at)
                own = named_among_others(found.key, confirmed)
                yield replace(found, resolved=confirmed_words(own)) if own else found


def of_no_use_but_confirmed(
    state: JobState, step: StepState, what: str, confirmed: Container[str]
) -> bool:
    """Say whether somebody let a photo of no use stand for the one that is still wanted.

    ``confirmed`` are the keys of the findings that were confirmed.
    """
    return any(
        what == f"photo of the {photo.kind}" and f"photo:{photo.entry.id}" in confirmed
        for photo in state.photos
        if photo.step == step.step.key and not photo.usable
    )


def named_among_others(key: str, confirmed: Mapping[str, Entry]) -> Entry | None:
    """Return the confirmation of more fasteners, those of ``key`` among them, or None."""
    mine = _NUMBERED.fullmatch(key)
    for other, entry in confirmed.items():
        theirs = _NUMBERED.fullmatch(other)
        if mine and theirs and mine[1] == theirs[1]:
            left, named = (set(match[2].split("-")) for match in (mine, theirs))
            if left < named:
                return entry
    return None


def confirmed_words(confirmed: Entry) -> str:
    """Return who confirmed a finding and why, as the finding's end is told."""
    reason = str(confirmed.body.get("reason", "")).strip() or "no reason given"
    if reason.endswith(tuple(f"; {end}" for end in ENDS)):
        reason += "."  # somebody's own words: nothing has ended but by them
    return f"{CONFIRMED_BY}{confirmed.by or 'technician'}: {reason}"


def missing_key(step: StepState, what: str) -> str:
    """Return the key of one of the things that ``step`` lacks: 'torque-3-5' for two of five."""
    return lacking(step.step, step.values).get(what, what.replace(" ", "-"))


def missing_finding(step: StepState, what: str, entry: str, at: str) -> Finding:
    """Return the finding that ``what`` is missing at a step: 'step', a value or a photo."""
    name = step_name(step.step)
    whole = what == "step"
    return Finding(
        key=f"missing:{step.step.key}:{missing_key(step, what)}",
        kind=FindingKind.MISSING,
        text=f"{step.step.title}: not done."
        if whole
        else f"{step.step.title}: {shown_missing(what)} missing.",
        spoken=f"Missing: {name}." if whole else f"Missing: {spoken_missing(what)}, {name}.",
        step=step.step.key,
        entry=entry,
        at=at,
        customer=f"“{step.step.title}” was not reported as done."
        if whole
        else f"For “{step.step.title}” the {shown_missing(what)} is missing.",
    )


def unsure_findings(_: JobState, history: History) -> Iterator[Finding]:
    """Every unclear value that led to a question, and how it was answered."""
    answers = {
        str(e.entry.body.get("question")): _settled(e.entry.body) for e in history.of("answered")
    }
    for event in history.of("asked"):
        entry = event.entry
        if entry.body.get("about", "hearing") not in ("hearing", "value"):
            continue
        options = [str(option) for option in entry.body.get("options", ())]
        question = str(entry.body.get("question", ""))
        answer = answers.get(entry.id)
        yield Finding(
            key=f"unsure:{entry.id}",
            kind=FindingKind.UNSURE,
            text=f"Not sure: {' or '.join(options) or question}?",
            spoken=question,
            entry=entry.id,
            at=entry.at,
            resolved=answer or "",
            customer=_unclear(entry, answer or ""),
        )


def _unclear(entry: Entry, answer: str) -> str:
    """Return what a customer is told of a question: what was typed wasn't spoken."""
    end = {"": ".", DROPPED: ". Nothing was recorded of it."}.get(answer, " and was answered.")
    how = "typed" if entry.source == "hand" else "spoken"
    return f"One {how} line was unclear; the program asked{end}"


def _settled(body: Mapping[str, object]) -> str:
    """Return how an ``answered`` entry settled its question: nobody is quoted with other words."""
    answer = str(body.get("answer", ""))
    if answer in ("negative", "disregarded"):
        return DROPPED
    how = "replaced by" if body.get("how") == "replaced" else "answered"
    return f"{how}: {answer}" if answer else ""
