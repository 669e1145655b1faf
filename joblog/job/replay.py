"""The job at one moment, computed from its entries alone.

``replay`` is pure: no clock, no file, no chance. The same entries give the same job today and in
ten years. Entries of a kind that this version doesn't know are kept in ``state.entries`` and
otherwise left alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from joblog.job.clocks import clocks_of, last_start
from joblog.job.course import course_of
from joblog.job.explanations import explained_by
from joblog.job.fluids import fluids_of
from joblog.job.guard import guard
from joblog.job.history import History, history_of
from joblog.job.marks import conditions_after, since, undone_at
from joblog.job.photos import photos_of
from joblog.job.told_meter import as_corrected
from joblog.job.torques import is_angle, lacking
from joblog.job.types import (
    ClockState,
    JobState,
    Mark,
    Photo,
    Question,
    StepState,
    StepStatus,
    Value,
)
from joblog.job.values import step_named, values_of
from joblog.job.windows import read
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet, Step


def replay(sheet: Sheet, entries: Sequence[Entry]) -> JobState:
    """Return the job that ``entries`` (oldest first) make of ``sheet``."""
    state, history = _replayed(sheet, entries)

    def up_to(index: int) -> JobState:
        return guard(*_replayed(sheet, entries[:index]))

    state = guard(state, history, up_to)
    return replace(state, explained=explained_by(state, history, up_to))


def _replayed(sheet: Sheet, entries: Sequence[Entry]) -> tuple[JobState, History]:
    """Return the job without its findings, and which entries count."""
    history = history_of(entries)
    course = course_of(sheet, history)
    marks = course.marks
    undone = undone_at(sheet, marks)
    values = tuple(
        replace(
            v,
            undone=v.first_seq <= undone.get(v.step or "", -1),
            early=v.entry.id in course.too_early,
        )
        for v in values_of(sheet, history)
    )
    photos = photos_of(history, course.too_early)
    counted = [v for v in values if v.entry.id not in course.uncounted]
    shown = [p for p in photos if p.entry.id not in course.uncounted]
    questions = _open_questions(entries, history)
    opened = next((e for e in entries if e.kind == "job-opened"), None)
    closed = history.of("job-closed")
    state = JobState(
        job=entries[0].job if entries else "",
        sheet=sheet,
        opened=as_corrected(opened.body, history) if opened else {},
        opened_at=opened.at if opened else "",
        steps=tuple(
            _step(step, marks, counted, shown, undone.get(step.key, -1)) for step in sheet.steps
        ),
        fluids=fluids_of(sheet, history, undone),
        values=values,
        photos=photos,
        clocks=(),
        findings=(),
        notes=tuple(e.entry for e in history.of("note")),
        conditions=conditions_after(sheet, marks),
        question=questions[-1] if questions else None,
        closed=str(closed[-1].entry.body.get("how", "finished")) if closed else "",
        entries=tuple(entries),
        marks=marks,
        early=course.early,
        questions=questions,
        fan_cycles=sum(1 for e in history.of("clock") if e.entry.body.get("name") == "fan-cycle"),
        signatures=tuple(e.entry for e in history.of("signature")),
    )
    return replace(state, clocks=_clocks(state, history)), history


def _step(
    step: Step,
    marks: Sequence[Mark],
    values: Sequence[Value],
    photos: Sequence[Photo],
    undone: int,
) -> StepState:
    """Return where a step stands; what was recorded before ``undone`` counts no more."""
    mine = [mark for mark in marks if mark.step == step.key and mark.root.seq > undone]
    first = since(step, mine)
    own_values = tuple(v for v in values if v.step == step.key and not v.undone)
    own_photos = tuple(p for p in photos if p.step == step.key and p.entry.seq > undone)
    missing = _missing(step, own_values, own_photos)
    status = StepStatus.OPEN
    if mine:
        status = StepStatus.INCOMPLETE if missing else StepStatus.DONE
    return StepState(
        step=step,
        status=status,
        at=first.root.at if first else None,
        entry=mine[-1].entry if mine else None,
        values=own_values,
        photos=own_photos,
        missing=missing,
    )


def _missing(step: Step, values: Sequence[Value], photos: Sequence[Photo]) -> tuple[str, ...]:
    """Return what the step still wants, in words."""
    missing: list[str] = []
    kinds = [value.entry.kind for value in values]
    if step.torque:
        missing += lacking(step, values)
    if step.pour and "quantity" not in kinds:
        missing.append("quantity drained" if step.pour.direction == "out" else "quantity filled")
    readings = [v for v in values if v.entry.kind == "reading" and not is_angle(step, v.entry)]
    if step.reading and step.reading.required and not readings:
        missing.append(step.reading.name)
    if step.photo and step.photo.required and not any(photo.usable for photo in photos):
        missing.append(f"photo of the {step.photo.kind}")
    return tuple(missing)


def _clocks(state: JobState, history: History) -> tuple[ClockState, ...]:
    """Return the clocks; those that had their reading are stopped, and all of a closed job."""
    return tuple(
        replace(clock, stopped=bool(state.closed) or _read(state, history, clock))
        for clock in clocks_of(state.sheet, state.marks)
    )


def _read(state: JobState, history: History, clock: ClockState) -> bool:
    step = step_named(state.sheet, clock.step)
    start = last_start(state.marks, step.window) if step else None
    return step is not None and start is not None and read(state, history, step, start)


def _open_questions(entries: Sequence[Entry], history: History) -> tuple[Question, ...]:
    answered = {e.body.get("question") for e in entries if e.kind == "answered"}
    again = {e.body.get("question"): e for e in entries if e.kind == "asked-again"}
    found = [
        Question(
            entry=e.entry,
            question=str(e.entry.body.get("question", "")),
            options=tuple(str(option) for option in e.entry.body.get("options", ())),
            about=str(e.entry.body.get("about", "hearing")),
            again=again.get(e.entry.id),
        )
        for e in history.of("asked")
        if e.entry.id not in answered
    ]
    return tuple(sorted(found, key=lambda question: question.asked.seq))
