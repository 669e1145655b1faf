"""Order of the steps, and the conditions that must, or must not, hold at them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from joblog.job.guard_wanted import confirmed_words
from joblog.job.history import Event, History
from joblog.job.marks import pour_starts
from joblog.job.order import required_before
from joblog.job.torques import numbers_tight
from joblog.job.types import Finding, FindingKind, JobState, Mark
from joblog.job.values import step_named
from joblog.job.windows import timed
from joblog.job.wording import capital, said, step_name
from joblog.sheet.model import Step


def order_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Steps done before what must come first, or after what they must come before."""
    done_now = {mark.step for mark in state.marks}
    early = {mark.entry.id for mark in state.early}
    for mark in state.reported:
        step = step_named(state.sheet, mark.step)
        if step is None or not mark.first:
            continue
        for key in _to_come_first(state, step, too_early=mark.entry.id in early):
            if key not in mark.done and not _told_by_window(state, history, step, key, mark):
                # What was too early to count is put right by doing it again, not by the other step.
                again = mark.entry.id not in early or step.key in done_now
                found = _too_early(state, step, key, mark, key in done_now and again)
                stands = _let_stand(state, step, key, mark)
                yield replace(found, resolved=stands) if stands else found
        if step.optional:
            for key in step.before:
                if key in mark.done:
                    yield _too_late(state, step, key, mark)


def _to_come_first(state: JobState, step: Step, *, too_early: bool) -> list[str]:
    """Return the keys of the steps that must come before ``step``.

    Among them, of a step that was ``too_early`` to count, that from which its window runs.
    """
    starts = [step.window.since] if too_early and step.window else []
    return list(dict.fromkeys([*required_before(state.sheet, step), *starts]))


def _let_stand(state: JobState, step: Step, key: str, mark: Mark) -> str:
    """Return who let stand what was told too early along with ``mark``, '' where nobody did."""
    if step.window is None or step.window.since != key:
        return ""
    later = (m.root for m in state.marks if m.step == step.key and m.root.seq > mark.root.seq)
    by = next((root for root in later if root.kind == "confirmed"), None)
    return confirmed_words(by) if by else ""


def _told_by_window(state: JobState, history: History, step: Step, key: str, mark: Mark) -> bool:
    """Say whether ``mark`` came before its window, which ``key`` starts: one finding tells it."""
    if step.window is None or step.window.since != key:
        return False
    before = (t.event.entry.id for t in timed(state, history, step) if t.passed is None)
    return mark.entry.id in before


def _too_early(state: JobState, step: Step, key: str, mark: Mark, done_later: bool) -> Finding:
    other = step_named(state.sheet, key)
    first = step_name(other) if other else key
    name = step_name(step)
    title = other.title if other else key
    return Finding(
        key=f"order:{step.key}:{key}",
        kind=FindingKind.OUT_OF_ORDER,
        text=f"{capital(name)}, but {first} must come first.",
        spoken=f"{capital(name)}, but {first} must come first.",
        step=step.key,
        entry=mark.entry.id,
        at=mark.root.at,
        resolved="done afterwards" if done_later else "",
        customer=f"“{step.title}” was reported before “{title}”, which comes first.",
    )


def _too_late(state: JobState, step: Step, key: str, mark: Mark) -> Finding:
    other = step_named(state.sheet, key)
    later = step_name(other) if other else key
    name = step_name(step)
    title = other.title if other else key
    return Finding(
        key=f"order:{step.key}:{key}",
        kind=FindingKind.OUT_OF_ORDER,
        text=f"{capital(name)} should have come before {later}.",
        spoken=f"{capital(name)} should have come before {later}.",
        step=step.key,
        entry=mark.entry.id,
        at=mark.root.at,
        customer=f"“{step.title}” was reported after “{title}”, which should follow it.",
    )


def pouring_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Fluid poured in before what must come first: an open drain plug, for one."""
    done_now = {mark.step for mark in state.marks}
    for start in pour_starts(state.sheet, history, state.marks):
        step = step_named(state.sheet, start.step)
        if step is None or not start.first:
            continue
        for key in required_before(state.sheet, step):
            if key not in start.done:
                found = _too_early(state, step, key, start, key in done_now)
                yield replace(found, text=_pouring(state, key), spoken=_pouring(state, key))


def _pouring(state: JobState, key: str) -> str:
    other = step_named(state.sheet, key)
    return f"Filled, but {step_name(other) if other else key} must come first."


def sequence_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Fasteners of one kind that were not tightened in the order of their numbers."""
    for step in state.sheet.steps:
        if step.torque is None or step.torque.count == 1:
            continue
        events = [e for e in history.of("torque") if e.entry.body.get("step") == step.key]
        final = set(numbers_tight(step.torque, [e.entry for e in events]))
        for at, event in enumerate(events):
            tight = set(numbers_tight(step.torque, [e.entry for e in events[:at]]))
            number = str(event.entry.body.get("which", ""))
            skipped = (
                [n for n in range(1, int(number)) if n not in tight] if number.isdigit() else []
            )
            if skipped:
                yield _out_of_sequence(
                    step, step.torque.fastener, event, skipped, set(skipped) <= final
                )


def _out_of_sequence(
    step: Step, fastener: str, event: Event, skipped: list[int], done_later: bool
) -> Finding:
    number, first = int(str(event.entry.body["which"])), skipped[0]
    return Finding(
        key=f"order:{step.key}:which-{number}",
        kind=FindingKind.OUT_OF_ORDER,
        text=f"{capital(fastener)} {number}, but {first} must come first.",
        spoken=f"{capital(fastener)} {said(number, '')}, but {said(first, '')} must come first.",
        step=step.key,
        entry=event.entry.id,
        at=event.root.at,
        resolved="done afterwards" if done_later else "",
        customer=f"At “{step.title}” number {number} was tightened before number {first}.",
    )


def condition_findings(state: JobState, _: History) -> Iterator[Finding]:
    """Steps done while a condition did not allow them."""
    counts: dict[str, int] = {}
    for mark in state.reported:
        step = step_named(state.sheet, mark.step)
        if step is None:
            continue
        counts[mark.step] = counts.get(mark.step, 0) + 1
        suffix = "" if counts[mark.step] == 1 else f":{counts[mark.step]}"
        for key in step.only_when:
            if key not in mark.conditions:
                yield _condition(state, step, key, mark, suffix, wanted=True)
        for key in step.not_while:
            if key in mark.conditions:
                yield _condition(state, step, key, mark, suffix, wanted=False)


def _condition(
    state: JobState, step: Step, key: str, mark: Mark, suffix: str, *, wanted: bool
) -> Finding:
    said = state.sheet.conditions.get(key, key)
    name = capital(step_name(step))
    text = f"{name} only when {said}." if wanted else f"{name} not while {said}."
    how = "it had not been reported that" if wanted else "it was still reported that"
    return Finding(
        key=f"condition:{step.key}:{key}{suffix}",
        kind=FindingKind.CONDITION,
        text=text,
        spoken=text,
        step=step.key,
        entry=mark.entry.id,
        at=mark.root.at,
        resolved=_set_afterwards(state, key, mark) if wanted else "",
        customer=f"At “{step.title}” {how} {said}.",
    )


def _set_afterwards(state: JobState, key: str, mark: Mark) -> str:
    """A condition reported only later was perhaps true all along: said so, not hidden."""
    for later in state.marks:
        step = step_named(state.sheet, later.step)
        if later.root.seq > mark.root.seq and step and key in step.sets:
            return "done afterwards"
    return ""
