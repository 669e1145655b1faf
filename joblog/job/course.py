"""The course of the job: every step as it was reported, and what was reported too early to count.

A step with a window is done inside it. What is said, measured or photographed for it before the
window has even started is told and counts for nothing: the step stays wanted. Somebody who confirms
it with a reason lets the step be done with it from then on; at the right time it was not. So it is
with a photo of kind "other", which may show anything: before the turn of its step it is no photo of
it. An amount that was told early still holds, since what came out is out.
"""

from __future__ import annotations

from dataclasses import dataclass

from joblog.job.clocks import before_start
from joblog.job.history import Event, History
from joblog.job.marks import marked_step, shows_anything, undone_by
from joblog.job.order import may_not_start, ready
from joblog.job.torques import is_angle
from joblog.job.types import Mark
from joblog.job.values import pour_step, step_named
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet, Step

EVIDENCE = ("reading", "photo", "torque")


@dataclass(frozen=True)
class Course:
    """Marks that count and marks that came too early, each in the order in which they came.

    ``too_early`` holds the ids of readings, photos and torques that say nothing of what was wanted,
    ``uncounted`` those of them that nobody let stand.
    """

    marks: tuple[Mark, ...]
    early: tuple[Mark, ...]
    too_early: frozenset[str]
    uncounted: frozenset[str]


def course_of(sheet: Sheet, history: History) -> Course:
    """Return the course of a job."""
    course = _Course(sheet, history)
    for event in history.events:
        course.take(event)
    early, uncounted = frozenset(course.too_early), course.too_early.keys() - course.let_stand
    return Course(tuple(course.marks), tuple(course.early), early, frozenset(uncounted))


class _Course:
    """The course so far."""

    def __init__(self, sheet: Sheet, history: History) -> None:
        self.sheet = sheet
        self.history = history
        self.marks: list[Mark] = []
        self.early: list[Mark] = []
        self.too_early: dict[str, str] = {}  # id of the entry -> step
        self.let_stand: set[str] = set()
        self.conditions = frozenset(sheet.initially)
        self.done: frozenset[str] = frozenset()
        self.left_out: frozenset[str] = frozenset()
        self.torques: list[Entry] = []
        self.early_torques: list[Entry] = []

    def take(self, event: Event) -> None:
        """Go on by one event."""
        entry = event.entry
        if entry.kind == "confirmed":
            self._confirm(str(entry.body.get("finding", "")), entry)
            return
        torques = [*self.torques, entry] if entry.kind == "torque" else self.torques
        step = marked_step(self.sheet, entry, torques)
        early = self._too_early(event)
        if early is None:
            self.torques = torques
        elif entry.kind in EVIDENCE:
            self.too_early[entry.id] = early.key
            self.early_torques += [entry] if entry.kind == "torque" else []
        reported = self.done | {m.step for m in self.early} if early else self.done
        if step is None or _adds_nothing(event, step, reported):
            return
        first = step.key not in self.done
        mark = Mark(step.key, entry, event.root, self.conditions, self.done, first)
        if early is None:
            self._count(mark, step)
        elif not shows_anything(entry):  # of such a photo nobody said that it is the step's
            self.early.append(mark)

    def _count(self, mark: Mark, step: Step) -> None:
        self.marks.append(mark)
        self.conditions = self.conditions - set(step.clears) | set(step.sets)
        gone = undone_by(self.sheet, mark)
        self.torques = [entry for entry in self.torques if entry.body.get("step") not in gone]
        self.done = self.done - gone | {step.key}

    def _too_early(self, event: Event) -> Step | None:
        """Return the step for which ``event`` came too early to count, None where it didn't."""
        entry = event.entry
        step = step_named(self.sheet, entry.body.get("step"))
        if entry.kind == "quantity":
            way = str(entry.body.get("direction", ""))
            step = step or pour_step(self.sheet, str(entry.body.get("fluid", "")), way)
        if step is None or entry.kind not in {*EVIDENCE, "step-done", "quantity"}:
            return None
        if step.window is None:
            return step if shows_anything(entry) and not self._in_turn(step) else None
        if step.window.since in self.left_out or may_not_start(self.sheet, step.window):
            return None  # nobody waits for a start that may be left out, or was, with a reason
        starts = [mark for mark in self.marks if mark.step == step.window.since]
        return step if before_start(starts, event.root) and not is_angle(step, entry) else None

    def _in_turn(self, step: Step) -> bool:
        return step.key in self.done or ready(self.sheet, step, self.done | self.left_out)

    def _confirm(self, key: str, confirmed: Entry) -> None:
        """Let what came too early stand from now on, where ``key`` names the finding about it."""
        rule, _, rest = key.partition(":")
        about, _, what = rest.partition(":")
        if (rule, what) == ("missing", "step"):
            self.left_out |= {about}
        let: set[str] = set()
        if rule == "window":
            let = {e.entry.id for e in self.history.events if about in e.ids}
        if rule == "order":
            let = self._before_start_of(about, what)
        new = let - self.let_stand
        self.let_stand |= let
        torques = [entry for entry in self.early_torques if entry.id in new]
        self.torques += torques
        steps = {self.too_early[entry] for entry in new & self.too_early.keys()}
        marked = [m.entry for m in self.early if m.entry.id in new or m.step in steps]
        for entry in (*marked[-1:], *torques):
            step = marked_step(self.sheet, entry, self.torques)
            if step is not None and step.key not in self.done:
                mark = Mark(step.key, entry, confirmed, self.conditions, self.done, first=True)
                self._count(mark, step)

    def _before_start_of(self, key: str, since: str) -> set[str]:
        """Return the ids of all that was too early at step ``key``, whose window runs from since.

        That this order was wrong is what was confirmed of a word; in older records of all.
        """
        step = step_named(self.sheet, key)
        if step is None or step.window is None or step.window.since != since:
            return set()
        marked = {mark.entry.id for mark in self.early if mark.step == key}
        return marked | {entry for entry, of in self.too_early.items() if of == key}


def _adds_nothing(event: Event, step: Step, done: frozenset[str]) -> bool:
    """A value for a step already done, or called done too early, isn't a second doing of it."""
    return event.entry.kind != "step-done" and step.key in done
