"""Torques of steps with several fasteners, with stages, or with an angle after the torque.

Several fasteners of a kind are tightened in the order of their numbers. An entry's ``which`` is the
number, or ``all`` where they are reported in one sentence; without it an entry counts as the next.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from joblog.job.types import Value
from joblog.record.entry import Entry
from joblog.sheet.model import Step, Torque

ANGLE_TOLERANCE = Decimal(
    5
)  # degrees either side where the sheet gives none; common practice, no source


def numbers_tight(wanted: Torque, entries: Iterable[Entry]) -> list[int]:
    """Return the numbers of the fasteners tightened by ``entries``, in the order of tightening."""
    tight: list[int] = []
    for entry in entries:
        which = str(entry.body.get("which", ""))
        if which == "all":
            tight += [n for n in range(1, wanted.count + 1) if n not in tight]
        elif which.isdigit() and int(which) not in tight:
            tight.append(int(which))
        elif not which:
            tight.append(next(n for n in range(1, len(tight) + 2) if n not in tight))
    return [n for n in tight if n <= wanted.count]


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
    """Say whether an angle can be meant: more than half and less than twice what is wanted."""
    middle = Fraction(wanted.angle or 0)
    return middle / 2 <= value <= middle * 2
