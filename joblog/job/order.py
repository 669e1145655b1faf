"""Which steps must come before which: ``after`` and ``before`` of a sheet read together."""

from __future__ import annotations

from collections.abc import Iterable

from joblog.sheet.model import Sheet, Step, Window


def required_before(sheet: Sheet, step: Step) -> tuple[str, ...]:
    """Return the keys of the steps that must be done before ``step``, in the sheet's order.

    They are its own ``after`` and every step that names it under ``before``. A step that may be
    left out altogether is not required.
    """
    return tuple(
        other.key
        for other in sheet.steps
        if not other.optional and (other.key in step.after or step.key in other.before)
    )


def all_before(sheet: Sheet, step: Step) -> frozenset[str]:
    """Return the keys of all steps that must be done before ``step``, however many lie between."""
    by_key = {other.key: other for other in sheet.steps}
    found: set[str] = set()
    left = [step.key]
    while left:
        new = set(required_before(sheet, by_key[left.pop()])) - found
        found |= new
        left += new
    return frozenset(found)


def overtaken(sheet: Sheet, key: str, done: Iterable[str]) -> bool:
    """Say whether a step that should have come after ``key`` is already done."""
    finished = set(done)
    return any(s.key in finished and key in required_before(sheet, s) for s in sheet.steps)


def ready(sheet: Sheet, step: Step, done: Iterable[str]) -> bool:
    """Say whether everything that must come before ``step`` is done."""
    return set(required_before(sheet, step)) <= set(done)


def may_not_start(sheet: Sheet, window: Window) -> bool:
    """Say whether the step from which ``window`` runs may be left out: nothing waits for it."""
    return any(step.key == window.since and step.optional for step in sheet.steps)
