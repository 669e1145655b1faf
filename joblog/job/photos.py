"""Photos of the job and the step that each documents."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from joblog.job.history import Event, History
from joblog.job.numbers import with_floats
from joblog.job.types import Photo
from joblog.sheet.model import Sheet, Step


def photos_of(history: History) -> tuple[Photo, ...]:
    """Return every photo that counts, oldest first."""
    return tuple(_photo(event) for event in history.of("photo"))


def _photo(event: Event) -> Photo:
    body = event.entry.body
    measurement: dict[str, Any] = body.get("measurement") or {}
    return Photo(
        kind=str(body.get("kind", "other")),
        phase=str(body.get("phase", "once")),
        measurement=with_floats(measurement),
        entry=event.entry,
        step=body.get("step"),
    )


def photo_step(
    sheet: Sheet,
    photos: Iterable[Photo],
    done: frozenset[str],
    kind: str,
    phase: str | None = None,
    *,
    left_out: frozenset[str] = frozenset(),
) -> Step | None:
    """Return the step that a new photo of ``kind`` documents, or None.

    The first step that wants such a photo, has no usable one yet, and whose order allows it; where
    all have theirs, the last one that had (a retake); where no order allows it yet, the first.
    A step of ``left_out`` (keys of those confirmed as missing) comes after all others, and no other
    step waits for it.
    """
    wanting = [s for s in sheet.steps if s.photo and s.photo.kind == kind]
    if phase:
        wanting = [s for s in wanting if s.photo and s.photo.phase in (phase, "once")]
    have = {p.step for p in photos if p.usable}
    lacking = [s for s in wanting if s.key not in have]
    lacking.sort(key=lambda step: step.key in left_out)
    ready = [s for s in lacking if set(s.after) <= done | left_out]
    if ready or lacking:
        return (ready or lacking)[0]
    return wanting[-1] if wanting else None
