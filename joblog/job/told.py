"""What was said aloud last: the finding that 'confirm because ...' is about.

Nobody can let stand what they have not heard. A session keeps which finding its last answers named;
a reason said within two minutes is for that one alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from joblog.job.clocks import elapsed
from joblog.job.grammar import ANSWER_SECONDS
from joblog.job.types import Finding, FindingKind
from joblog.record.clock import Moment


@dataclass(frozen=True)
class Told:
    """The findings (their keys) that were named last, and when; an open question is one, too."""

    keys: tuple[str, ...] = ()
    at: Moment | None = None

    def lately(self, now: Moment) -> tuple[str, ...]:
        """Return the keys where they were named so lately that an answer is still to them."""
        if self.at is None or elapsed(self.at, now).seconds > ANSWER_SECONDS:
            return ()
        return self.keys

    def after(self, findings: Sequence[Finding], spoken: str, now: Moment) -> Told:
        """Return what is told once ``spoken`` was said: the same where it names no finding."""
        keys = named_last(findings, spoken)
        return Told(keys, now) if keys else self


def named_last(findings: Sequence[Finding], spoken: str) -> tuple[str, ...]:
    """Return the keys of the findings that ``spoken`` names last; of one entry, those alike.

    Of things that are missing it is one at a time, however many sound alike.
    """
    words = spoken.lower()
    named = [(words.rfind(f.spoken.lower()), len(f.spoken), f) for f in findings if f.spoken]
    last = max(((place, length) for place, length, _ in named), default=(-1, 0))
    if last[0] < 0:
        return ()
    alike = [f for place, length, f in named if (place, length) == last]
    if any(f.kind is FindingKind.MISSING for f in alike):
        return (alike[0].key,)
    return tuple(f.key for f in alike if f.entry == alike[-1].entry)
