"""When each step counted as done, and what held just before.

A step is marked by being said (``step-done``), and by a value that can only be had by doing it: its
torque, the quantity that came out of it, a reading or photo where that is all that the step asks
for. A reading outside its limits marks nothing: the fluid is not warm because it was measured.
"""

from __future__ import annotations

from collections.abc import Sequence

from joblog.job.history import History
from joblog.job.torques import all_tight, is_angle
from joblog.job.types import Mark
from joblog.job.values import pour_step, step_named, value_of
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet, Step


def marked_step(sheet: Sheet, entry: Entry, torques: Sequence[Entry] = ()) -> Step | None:
    """Return the step that ``entry`` marks as done, or None.

    ``torques`` are the torques of the job up to and with ``entry``: one of several fasteners
    doesn't finish the step, the last of them does.
    """
    step = step_named(sheet, entry.body.get("step"))
    if entry.kind == "step-done":
        return step
    if entry.kind == "torque":
        return step if step and step.torque and _all_tight(step, torques) else None
    if entry.kind == "reading":
        return step if step and _reading_is_all(sheet, step, entry) else None
    if entry.kind == "quantity" and entry.body.get("direction") == "out":
        return step or pour_step(sheet, str(entry.body.get("fluid", "")), "out")
    if entry.kind == "photo" and step and step.photo and _only_photo(step):
        return step if (entry.body.get("measurement") or {}).get("usable") else None
    return None


def shows_anything(entry: Entry) -> bool:
    """Say whether ``entry`` is a photo of no certain kind: of which step, nobody said."""
    return entry.kind == "photo" and entry.body.get("kind") == "other"


def _all_tight(step: Step, torques: Sequence[Entry]) -> bool:
    mine = [entry for entry in torques if entry.body.get("step") == step.key]
    return step.torque is not None and all_tight(step.torque, mine)


def _only_photo(step: Step) -> bool:
    return not (step.torque or step.pour or step.reading or step.sets or step.clears)


def _reading_is_all(sheet: Sheet, step: Step, entry: Entry) -> bool:
    wanted = step.reading
    if wanted is None or not wanted.required or is_angle(step, entry):
        return False
    if step.torque or step.pour or step.sets or step.clears:
        return False
    value = value_of(sheet, entry)
    return value is not None and value.within is not False


def undone_by(sheet: Sheet, mark: Mark) -> frozenset[str]:
    """Return the steps that must be done again because of ``mark``: the plug is out once more.

    Done for the first time it undoes only what was torqued before: a plug that has yet to come out
    can't be tight in the end. An amount that was told early, in the wrong order, still holds.
    """
    step = step_named(sheet, mark.step)
    undone = [other for other in sheet.steps if step and other.key in step.undoes]
    return frozenset(other.key for other in undone if other.torque or not mark.first)


def undone_at(sheet: Sheet, marks: Sequence[Mark]) -> dict[str, int]:
    """Return, for every step that was undone, where in the record that was the last time."""
    return {key: mark.root.seq for mark in marks for key in undone_by(sheet, mark)}


def holds(step: Step, conditions: frozenset[str]) -> bool:
    """Say whether doing ``step`` would change nothing: what it brings about is so already.

    False where a step changes no condition: a look at something may well be repeated.
    """
    changes = step.sets or step.clears
    return bool(changes) and set(step.sets) <= conditions and not set(step.clears) & conditions


def since(step: Step, marks: Sequence[Mark]) -> Mark | None:
    """Return the mark since which ``step`` has been done without a break, None where it isn't."""
    found: Mark | None = None
    for mark in marks:
        if mark.step == step.key and (found is None or not holds(step, mark.conditions)):
            found = mark
    return found


def pour_starts(sheet: Sheet, history: History, marks: Sequence[Mark]) -> tuple[Mark, ...]:
    """Return, for every step that fills something, what held when the first of it was poured in."""
    starts: dict[str, Mark] = {}
    for event in history.of("quantity"):
        body = event.entry.body
        named = step_named(sheet, body.get("step"))
        step = named if named and named.pour else pour_step(sheet, str(body.get("fluid", "")), "in")
        if step is None or body.get("direction") != "in" or step.key in starts:
            continue
        before = tuple(m for m in marks if m.root.seq < event.root.seq)
        done = frozenset(m.step for m in before)
        conditions = conditions_after(sheet, before)
        first = step.key not in done
        starts[step.key] = Mark(step.key, event.entry, event.root, conditions, done, first)
    return tuple(starts.values())


def conditions_after(sheet: Sheet, marks: tuple[Mark, ...]) -> frozenset[str]:
    """Return the conditions that hold after the last mark."""
    if not marks:
        return frozenset(sheet.initially)
    last = step_named(sheet, marks[-1].step)
    if last is None:
        return marks[-1].conditions
    return marks[-1].conditions - set(last.clears) | set(last.sets)
