"""Waits and windows, judged by monotonic time.

All times are exact seconds. Bounds are inclusive: a window from 60 to 90 s holds 60 and 90, and
90.1 is late [common practice, no source].
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.numbers import Number, exact


class Timing(Enum):
    """Where an instant lies relative to a window."""

    EARLY = "early"
    IN = "in"
    LATE = "late"


@dataclass(frozen=True)
class Window:
    """When something may be done: from ``opens`` to ``closes`` seconds after its start.

    ``closes`` is None for a plain wait. Raises InputError for a negative time or a window that
    closes before it opens.
    """

    opens: Fraction
    closes: Fraction | None = None

    @classmethod
    def of(cls, opens: Number, closes: Number | None = None) -> Window:
        """Return a window from exact numbers or decimal text."""
        end = None if closes is None else exact(closes, "the window's end")
        return cls(exact(opens, "the window's start"), end)

    def __post_init__(self) -> None:
        if self.opens < 0:
            raise InputError(f"a window can't open {-self.opens} s before its start")
        if self.closes is not None and self.closes < self.opens:
            raise InputError(
                f"the window closes at {self.closes} s, before it opens at {self.opens} s; "
                "exchange the two"
            )

    def judge(self, elapsed: Number) -> Timing:
        """Say whether ``elapsed`` seconds after the start is early, in the window, or late."""
        at = exact(elapsed, "the elapsed time")
        if at < self.opens:
            return Timing.EARLY
        if self.closes is not None and at > self.closes:
            return Timing.LATE
        return Timing.IN

    def until_open(self, elapsed: Number) -> Fraction:
        """Return the seconds still to wait; 0 once the window has opened."""
        return max(Fraction(0), self.opens - exact(elapsed))

    def left(self, elapsed: Number) -> Fraction | None:
        """Return the seconds until the window closes, 0 once closed; None for a plain wait."""
        return None if self.closes is None else max(Fraction(0), self.closes - exact(elapsed))


def elapsed(start_mono: str, start_boot: str, mono: str, boot: str) -> Fraction | None:
    """Return the exact seconds between two entries, or None where nobody can know.

    Monotonic offsets mean something only within one epoch (``boot``). Across two of them, and where
    the later offset is the smaller, the answer is None: the wait must be asked for, not guessed
    from a wall clock that somebody may have set.
    """
    if start_boot != boot:
        return None
    passed = exact(mono) - exact(start_mono)
    return passed if passed >= 0 else None
