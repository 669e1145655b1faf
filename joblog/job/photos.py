"""Photos of the job and the step that each documents."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from joblog.job.clocks import elapsed, was_waiting
from joblog.job.history import History
from joblog.job.numbers import with_floats
from joblog.job.order import all_before, may_not_start, ready
from joblog.job.types import JobState, Photo
from joblog.record.clock import Moment
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet, Step, Window

BEHIND = 120  # seconds within which a second photo shows the same as the first


def photos_of(history: History, early: frozenset[str] = frozenset()) -> tuple[Photo, ...]:
    """Return every photo, oldest first; those of ``early`` (ids) came too early for their step.

    What a shot said together with others, of which one was taken back since, counts no more.
    """
    found = tuple(photo_of(e.entry, early=e.entry.id in early) for e in history.of("photo"))
    counted = {photo.entry.id for photo in found}
    return tuple(p if counted.issuperset(taken_with(p)) else _alone(p) for p in found)


def taken_with(photo: Photo) -> tuple[str, ...]:
    """Return the ids of the shots before with which one of a dipstick is one reading."""
    first = photo.together.get("first")  # all that records of before have
    return tuple(photo.together.get("with") or ([first] if first else []))


def shots_behind(photos: Iterable[Photo], last: Photo) -> list[Photo]:
    """Return the shots that are one reading with a further one: ``last`` and those before it.

    Where they disagreed, all of them were to be taken anew: then it is ``last`` alone.
    """
    with_ = taken_with(last) if last.together.get("usable") else ()
    return [*(photo for photo in photos if photo.entry.id in with_), last]


def _alone(photo: Photo) -> Photo:
    measured = {key: value for key, value in photo.measurement.items() if key != "together"}
    return replace(photo, measurement=measured)


def photo_of(entry: Entry, *, early: bool = False) -> Photo:
    """Return the photo that an entry of that kind recorded, whether it counts or not."""
    body = entry.body
    measurement: dict[str, Any] = body.get("measurement") or {}
    return Photo(
        kind=str(body.get("kind", "other")),
        phase=str(body.get("phase", "once")),
        measurement=with_floats(measurement),
        entry=entry,
        step=body.get("step"),
        early=early,
    )


def photo_step(
    sheet: Sheet,
    photos: Iterable[Photo],
    done: frozenset[str],
    kind: str,
    phase: str | None = None,
    *,
    left_out: frozenset[str] = frozenset(),
    just: str = "",
    before: Photo | None = None,
) -> Step | None:
    """Return the step that a new photo of ``kind`` documents, or None.

    The step that was ``just`` reported, where it still wants one; else the first that wants such a
    photo, has no usable one yet, and whose order allows it; where all have theirs, the last one
    that had (a retake); where no order allows it yet, the step of the shot ``before`` (a second
    shot of the same), else the first.
    A photo of kind "other" may show anything: it is a step's only while that step wants it and its
    turn has come.
    A step of ``left_out`` (keys of those confirmed as missing) comes after all others, and no other
    step waits for it. ``done`` holds the steps that were done when the photo was taken: what was
    cleaned by then can't show how it was found, unless ``phase`` says that it does.
    """
    wanting = [s for s in sheet.steps if s.photo and s.photo.kind == kind]
    if phase:
        wanting = [s for s in wanting if s.photo and s.photo.phase in (phase, "once")]
    have = {p.step for p in photos if p.usable and not p.early}
    lacking = [s for s in wanting if s.key not in have]
    lacking.sort(key=lambda step: step.key in left_out)
    gone = {s.key for s in wanting if not phase and _is_past(sheet, s, done)}
    in_time = [s for s in lacking if s.key not in gone]
    able = [s for s in in_time if s.key in done or ready(sheet, s, done | left_out)]
    if kind == "other":
        return next((s for s in able if _begun(sheet, s.window, done | left_out)), None)
    again = next((s for s in wanting if before is not None and s.key == before.step), None)
    if again is not None and not able:
        return again
    if able or in_time:
        return next((s for s in able if s.key == just), (able or in_time)[0])
    return wanting[-1] if wanting else None


def shot_before(state: JobState, kind: str, now: Moment) -> Photo | None:
    """Return the usable photo of ``kind`` taken just before, where no work was reported since.

    One that came too early for its step shows something else.
    """
    last = next((p for p in reversed(state.photos) if p.kind == kind and p.usable), None)
    if last is None or last.early or elapsed(last.entry, now).seconds > BEHIND:
        return None
    worked = any(m.root.seq > last.entry.seq for m in state.marks)
    told = any(value.entry.seq > last.entry.seq for value in state.values)
    return None if worked or told else last


def _begun(sheet: Sheet, window: Window | None, done: frozenset[str]) -> bool:
    return window is None or window.since in done or may_not_start(sheet, window)


def _is_past(sheet: Sheet, step: Step, done: frozenset[str]) -> bool:
    """Say whether the step that wants the photo taken afterwards, of the same thing, is done."""
    if step.photo is None or step.photo.phase != "before":
        return False
    kind = step.photo.kind
    for other in sheet.steps:
        after = other.photo is not None and (other.photo.kind, other.photo.phase) == (kind, "after")
        if after and step.key in all_before(sheet, other):
            return other.key in done
    return False


def done_when_taken(
    state: JobState, now: Moment, taken_ago: float = 0.0, replaced: Entry | None = None
) -> frozenset[str]:
    """Return the keys of the steps that were done when a photo was taken.

    It was taken ``taken_ago`` seconds before ``now``, by a clock that was not set in between; see
    ``believed_age``. One that takes the place of the photo ``replaced`` is the same picture: it was
    there when that one was recorded.
    """
    if replaced is not None:
        before = [mark for mark in state.marks if mark.root.seq < replaced.seq]
        return frozenset(m.step for m in before if not was_waiting(m.root, replaced))
    ago = believed_age(state, now, taken_ago)
    if not ago:
        return state.done
    return frozenset(m.step for m in state.marks if elapsed(m.root, now).seconds > ago)


def believed_age(state: JobState, now: Moment, taken_ago: float) -> Decimal:
    """Return how many seconds ago a photo was taken: 0 for less than one, or more than the job."""
    known = state.entries and 1 <= taken_ago < elapsed(state.entries[0], now).seconds
    return round(Decimal(taken_ago), 1) if known else Decimal(0)


def first_recorded(entries: Iterable[Entry], entry: str) -> Entry | None:
    """Return the photo that was recorded first of those of which ``entry`` (an id) is the last."""
    by_id = {e.id: e for e in entries if e.kind == "photo"}
    found = by_id.get(entry)
    while found is not None and found.supersedes in by_id:
        found = by_id[found.supersedes]
    return found
