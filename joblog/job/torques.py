"""Torques of steps with several fasteners, with stages, or with an angle after the torque.

Several fasteners of a kind are tightened in the order of their numbers. An entry's ``which`` is the
number, or ``all`` where they are reported in one sentence; without it an entry counts as the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from fractions import Fraction

from joblog.job.aloud import plural, words_of
from joblog.job.types import Value
from joblog.job.wording import listed
from joblog.record.entry import Entry
from joblog.sheet.model import Step, Torque

ANGLE_TOLERANCE = Decimal(
    5
)  # degrees either side where the sheet gives none; common practice, no source


def numbers_of(wanted: Torque, entries: Iterable[Entry]) -> list[list[int]]:
    """Return, for each of ``entries`` (torques or angles), the numbers that it is about."""
    found: list[list[int]] = []
    seen: set[int] = set()
    for entry in entries:
        mine = numbers_named(wanted, entry)
        if not entry.body.get("which"):
            mine = [min(next(n for n in range(1, len(seen) + 2) if n not in seen), wanted.count)]
        found.append([n for n in mine if n <= wanted.count])
        seen.update(mine)
    return found


def numbers_named(wanted: Torque, entry: Entry) -> list[int]:
    """Return the numbers that ``entry`` says it is about; none where nobody said."""
    which = str(entry.body.get("which", ""))
    if which == "all":
        return list(range(1, wanted.count + 1))
    return [int(which)] if which.isdigit() else []


def numbers_tight(wanted: Torque, entries: Iterable[Entry]) -> list[int]:
    """Return the numbers of the fasteners tightened by ``entries``, in the order of tightening."""
    return list(dict.fromkeys(n for numbers in numbers_of(wanted, entries) for n in numbers))


def all_tight(wanted: Torque, entries: Iterable[Entry]) -> bool:
    """Say whether every fastener of the step has been tightened."""
    return len(numbers_tight(wanted, entries)) >= wanted.count


def next_number(wanted: Torque, entries: Iterable[Entry]) -> int:
    """Return the number of the fastener whose turn it is; the last where all are tight."""
    tight = numbers_tight(wanted, entries)
    return next((n for n in range(1, wanted.count + 1) if n not in tight), wanted.count)


def torque_entries(values: Iterable[Value], step: str) -> list[Entry]:
    """Return the torque entries of a step among ``values``."""
    return [v.entry for v in values if v.entry.kind == "torque" and v.step == step]


def numbers_turned(step: Step, values: Iterable[Value]) -> list[int]:
    """Return the numbers of the fasteners of ``step`` whose angle was turned after the torque.

    A fastener that is tightened anew wants its angle anew.
    """
    wanted, mine = step.torque, [v for v in values if v.step == step.key]
    if wanted is None:
        return []
    tightened = [v for v in mine if v.entry.kind == "torque"]
    angles = [v for v in mine if is_angle(step, v.entry)]
    last = {n: value.first_seq for n, value in _numbered(wanted, tightened)}
    turned = (n for n, v in _numbered(wanted, angles) if v.first_seq > last.get(n, -1))
    return list(dict.fromkeys(turned))


def _numbered(wanted: Torque, values: list[Value]) -> Iterator[tuple[int, Value]]:
    """Yield every fastener with each of its values, in the order in which these were first said."""
    ordered = sorted(values, key=lambda value: value.first_seq)
    for value, numbers in zip(ordered, numbers_of(wanted, [v.entry for v in ordered]), strict=True):
        yield from ((n, value) for n in numbers)


def next_angle(step: Step, values: Iterable[Value]) -> int:
    """Return the number of the fastener to be turned next: of those that are tight, the first."""
    assert step.torque is not None
    values = list(values)
    turned = numbers_turned(step, values)
    tight = sorted(numbers_tight(step.torque, torque_entries(values, step.key)))
    able = [n for n in (*tight, *range(1, step.torque.count + 1)) if n not in turned]
    return able[0] if able else step.torque.count


def lacking(step: Step, values: Iterable[Value]) -> dict[str, str]:
    """Return what a step still wants of torques and angles: in words, with the key of each.

    The key names every fastener that is meant ('torque-3-5'), so that what was confirmed of one
    says nothing of another.
    """
    wanted, values = step.torque, list(values)
    if wanted is None:
        return {}
    done = {"torque": numbers_tight(wanted, torque_entries(values, step.key))}
    if wanted.angle is not None:
        done["angle"] = numbers_turned(step, values)
    found = {}
    for kind, numbers in done.items():
        left = [n for n in range(1, wanted.count + 1) if n not in numbers]
        if left:
            several = wanted.count > 1
            key = "-".join([kind, *(str(n) for n in left if several)])
            found[_words(kind, wanted, left)] = key
    return found


def _words(kind: str, wanted: Torque, numbers: list[int]) -> str:
    """Return 'torque', 'torque of wheel nut 3', 'torque of all 5 wheel nuts'."""
    if wanted.count == 1:
        return kind
    name = words_of(wanted.fastener)
    if len(numbers) == 1:
        return f"{kind} of {name} {numbers[0]}"
    if len(numbers) == wanted.count:
        return f"{kind} of all {wanted.count} {plural(name)}"
    return f"{kind} of {plural(name)} {listed([str(n) for n in numbers])}"


def angle_name(wanted: Torque) -> str:
    """Return what the angle of a fastener is called."""
    return f"angle {wanted.fastener}"


def is_angle(step: Step, entry: Entry) -> bool:
    """Say whether a reading of ``step`` is the angle after its torque."""
    return (
        entry.kind == "reading"
        and step.torque is not None
        and step.torque.angle is not None
        and entry.body.get("name") == angle_name(step.torque)
    )


def angle_limits(wanted: Torque) -> tuple[Decimal, Decimal]:
    """Return the least and greatest angle, in degrees."""
    middle = wanted.angle or Decimal(0)
    around = ANGLE_TOLERANCE if wanted.angle_tolerance is None else wanted.angle_tolerance
    return middle - around, middle + around


def angle_plausible(value: Fraction, wanted: Torque) -> bool:
    """Judge an angle: more than half and less than twice what is wanted can be meant."""
    middle = Fraction(wanted.angle or 0)
    return middle / 2 <= value <= middle * 2
