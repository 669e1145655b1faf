"""Order and conditions that can't be: circles, contradictions, steps that nobody can reach."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from joblog.sheet.complaints import Complaint, Found
from joblog.sheet.model import Sheet, Step

_STUCK = "nobody can reach this step as the sheet stands"

Earlier = dict[str, set[str]]


def earlier_steps(sheet: Sheet) -> Earlier:
    """Return, for every step, the steps that ``after`` and ``before`` put before it."""
    keys = {s.key for s in sheet.steps}
    earlier: Earlier = {s.key: set(s.after) & keys for s in sheet.steps}
    for step in sheet.steps:
        for later in step.before:
            if later in keys:
                earlier[later].add(step.key)
    return earlier


def all_earlier(earlier: Earlier, key: str) -> set[str]:
    """Return every step that must come before ``key``, however far away."""
    found: set[str] = set()
    waiting = list(earlier.get(key, ()))
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += earlier.get(one, ())
    return found


def _cycles(sheet: Sheet) -> Found:
    """Tell each circle once, at its first step on the sheet."""
    earlier = earlier_steps(sheet)
    told: set[str] = set()
    for i, step in enumerate(sheet.steps):
        if step.key in told:
            continue
        loop = _loop_through(step.key, earlier)
        if not loop:
            continue
        told |= set(loop)
        field = "after" if step.after else "before" if step.before else "key"
        yield Complaint(("steps", i, field), _loop_sentence(sheet, loop))


def _loop_sentence(sheet: Sheet, loop: list[str]) -> str:
    steps = {s.key: s for s in sheet.steps}
    links = [
        f"'{late}' comes after '{early}'"
        + ("" if early in steps[late].after else f" ('before' of '{early}')")
        for late, early in pairwise(loop)
    ]
    if len(loop) == 2:
        return f"'{loop[0]}' is to come {_itself(steps[loop[0]])} itself; take that out"
    return (
        f"the order goes round in a circle: {', '.join(links)}; "
        "take out the 'after' or 'before' that is wrong"
    )


def _itself(step: Step) -> str:
    return "after" if step.key in step.after else "before"


def _loop_through(start: str, earlier: Earlier) -> list[str]:
    """Return a shortest circle through ``start``, or []."""
    paths = [[start]]
    seen: set[str] = set()
    while paths:
        path = paths.pop(0)
        for key in sorted(earlier.get(path[-1], ())):
            if key == start:
                return [*path, key]
            if key not in seen:
                seen.add(key)
                paths.append([*path, key])
    return []


def in_order(sheet: Sheet, *, patient: bool = False) -> Iterator[tuple[int, Step, frozenset[str]]]:
    """Yield the steps as a job proposes them, each with the conditions that hold just before it.

    That is the first of the list whose order allows it; ``patient`` people leave a step for later
    where its conditions don't hold yet, as long as there is another to do.
    """
    earlier = earlier_steps(sheet)
    left = list(enumerate(sheet.steps))
    done: set[str] = set()
    holding = frozenset(sheet.initially)
    while left:
        able = [(i, step) for i, step in left if earlier[step.key] <= done]
        if not able:
            return  # a circle: told elsewhere
        allowed = [(i, step) for i, step in able if not _unmet(step, holding)]
        i, step = allowed[0] if patient and allowed else able[0]
        yield i, step, holding
        left.remove((i, step))
        done.add(step.key)
        holding = holding - set(step.clears) | set(step.sets)


def _unmet(step: Step, holding: frozenset[str]) -> bool:
    return not set(step.only_when) <= holding or bool(set(step.not_while) & holding)


def _conditions(sheet: Sheet) -> Found:
    ever = set(sheet.initially).union(*(s.sets for s in sheet.steps))
    for i, step in enumerate(sheet.steps):
        for name, verb in (("only_when", "needs"), ("clears", "clears")):
            for key in getattr(step, name):
                if key in sheet.conditions and key not in ever:
                    yield Complaint(
                        ("steps", i, name),
                        f"the step {verb} '{key}', but nothing ever sets it; "
                        "name it in 'sets' of a step or in 'initially'",
                    )
        for first, second in (("only_when", "not_while"), ("sets", "clears")):
            for key in sorted(set(getattr(step, first)) & set(getattr(step, second))):
                yield Complaint(
                    ("steps", i, second),
                    f"'{key}' stands both under '{first}' and under '{second}'; keep one",
                )
    used = {
        key
        for s in sheet.steps
        for name in ("sets", "clears", "only_when", "not_while")
        for key in getattr(s, name)
    }
    for key in sheet.conditions:
        if key not in used:
            yield Complaint(
                ("conditions", key),
                f"no step sets or asks for '{key}'; use it or take it out",
                True,
            )


def _carried_out(sheet: Sheet) -> Found:
    """Go through the sheet: whoever follows it must not be warned by it."""
    certain = {c.path for c in _warned(sheet, patient=True)}
    for complaint in _warned(sheet, patient=False):
        if complaint.path in certain:
            yield complaint
        else:  # another order would do: the list only proposes a bad one
            told = complaint.sentence.replace(_STUCK, "done from top to bottom")
            yield replace(complaint, sentence=told, remark=True)
    listed = {c.path for c in _warned(sheet, patient=False)}
    yield from (c for c in _warned(sheet, patient=True) if c.path not in listed)


def _warned(sheet: Sheet, *, patient: bool) -> Found:
    ever = set(sheet.initially).union(*(s.sets for s in sheet.steps))
    cleared: dict[str, str] = {}
    for i, step, holding in in_order(sheet, patient=patient):
        for key in step.only_when:
            if key in ever and key not in holding and key not in step.not_while:
                gone = (
                    f"'{cleared[key]}' has cleared it" if key in cleared else "nothing has set it"
                )
                yield Complaint(
                    ("steps", i, "only_when"),
                    f"{_STUCK}: it needs '{key}', and by "
                    f"then {gone}; put the step that sets it before this one",
                    stops=False,
                )
        for key in step.not_while:
            if key in holding and key not in step.only_when:
                yield Complaint(
                    ("steps", i, "not_while"),
                    f"{_STUCK}: '{key}' still holds by then; "
                    "put the step that clears it before this one",
                    stops=False,
                )
        cleared.update(dict.fromkeys(step.clears, step.key))


def _since(sheet: Sheet) -> Found:
    place = {s.key: i for i, s in enumerate(sheet.steps)}
    earlier = earlier_steps(sheet)
    for i, step in enumerate(sheet.steps):
        if step.window is None or step.window.since not in place:
            continue
        since = step.window.since
        too_late = place[since] >= i or step.key in all_earlier(earlier, since)
        if too_late:
            yield Complaint(
                ("steps", i, "window", "since"),
                f"the window starts at '{since}', which does not come before this "
                "step; name an earlier step",
            )
        elif sheet.steps[place[since]].optional and not step.optional:
            yield Complaint(
                ("steps", i, "window", "since"),
                f"the window starts at '{since}', which may be left out: then no clock runs",
                True,
            )


def _phases(sheet: Sheet) -> Found:
    """A picture 'before' comes before the picture 'after' of the same thing."""
    first: dict[tuple[str, str], int] = {}
    for i, step, _ in in_order(sheet):
        if step.photo:
            first.setdefault((step.photo.kind, step.photo.phase), i)
            if step.photo.phase == "before" and (step.photo.kind, "after") in first:
                yield Complaint(
                    ("steps", i, "photo", "phase"),
                    f"the {step.photo.kind} is photographed 'before' here, when '"
                    f"{sheet.steps[first[step.photo.kind, 'after']].key}' has taken it 'after'; "
                    "exchange the two phases",
                )


def _passing(sheet: Sheet) -> Found:
    """Remark on a step that can't be done any more once a later one is, and that this doesn't ask.

    Left out, such a step would be proposed as the next to the end of the job.
    """
    earlier = _implied(sheet)
    listed = [step for _, step, _ in in_order(sheet)]
    place = {step.key: n for n, step in enumerate(listed)}
    for i, step in enumerate(sheet.steps):
        if step.optional or step.key not in place:
            continue
        later = listed[place[step.key] + 1 :]
        for field, ends, begins in (
            ("only_when", "clears", "sets"),
            ("not_while", "sets", "clears"),
        ):
            for key in getattr(step, field):
                last = _last_chance(key, later, ends, begins)
                if last and step.key not in all_earlier(earlier, last.key):
                    yield Complaint(
                        ("steps", i, field),
                        f"when '{last.key}' is done, this step can't be done any more "
                        f"('{key}'), and still is the next to do; write before = "
                        f'["{last.key}"] here, or in an earlier step',
                        True,
                    )


def _last_chance(key: str, later: list[Step], ends: str, begins: str) -> Step | None:
    """Return the first step that ends what ``key`` asks for, None where it may come back."""
    if any(key in getattr(step, begins) for step in later):
        return None
    return next((step for step in later if key in getattr(step, ends)), None)


def _implied(sheet: Sheet) -> Earlier:
    """Return the order with what conditions imply: the only step that sets one comes before."""
    earlier = earlier_steps(sheet)
    for key in set(sheet.conditions) - set(sheet.initially):
        setters = [step.key for step in sheet.steps if key in step.sets]
        for step in sheet.steps:
            if len(setters) == 1 and key in step.only_when:
                earlier[step.key].add(setters[0])
    return earlier


ORDER_RULES = (_cycles, _conditions, _carried_out, _since, _phases, _passing)
