"""What was said and shown last: the finding that 'confirm because ...' is about.

Nobody can let stand what they have not been told. A session keeps which finding its last answers
named; a reason said within two minutes is for that one alone. Where an answer named or listed
several, nobody knows which one a reason is for: it is asked, two at a time, and the answer counts
until joblog speaks again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from joblog.job.clocks import elapsed
from joblog.job.foremost import HOW_ON
from joblog.job.grammar import ANSWER_SECONDS
from joblog.job.types import Finding, FindingKind, Reply
from joblog.record.clock import Moment

Together = tuple[str, ...]  # keys of findings that are one to whoever lets them stand


@dataclass(frozen=True)
class Choice:
    """What ``reason``, given by ``by``, may be for: the first two of ``among`` are asked about."""

    among: tuple[Together, ...]
    reason: str
    by: str


@dataclass(frozen=True)
class Told:
    """The findings (their keys) that were named last, and when; an open question is one, too.

    ``several`` are all that an answer named or listed, where it was more than one; ``choice`` is
    what was asked of them with that answer.
    """

    keys: Together = ()
    at: Moment | None = None
    several: tuple[str, ...] = ()
    choice: Choice | None = None

    def lately(self, now: Moment) -> Told:
        """Return this where it was told so lately that an answer is still to it, else nothing."""
        if self.at is None or elapsed(self.at, now).seconds > ANSWER_SECONDS:
            return Told()
        return self

    def after(self, findings: Sequence[Finding], reply: Reply, now: Moment) -> Told:
        """Return what is told once ``reply`` was given: the same where it names no finding.

        One that says how to go on is for what it says aloud; what it shows besides comes after.
        """
        last = named_last(findings, reply.spoken)
        names = [f for f in reasoned(findings) if f.key in last or _names(reply, f)]
        if len(together(names)) > 1 and not reply.spoken.endswith(HOW_ON):
            return Told(last, now, tuple(f.key for f in names))
        return Told(last, now) if last else replace(self, choice=None)

    def of(self, by: str) -> Choice | None:
        """Return the choice that ``by`` was asked to make, None where there is none."""
        return self.choice if self.choice is not None and self.choice.by == by else None


def reasoned(findings: Sequence[Finding]) -> list[Finding]:
    """Return the open findings that a reason can let stand: questions are answered."""
    return [f for f in findings if not f.resolved and not f.key.startswith("unsure:")]


def together(findings: Sequence[Finding]) -> list[list[Finding]]:
    """Return the findings, those together that are one to whoever lets them stand.

    Of those that read alike (three nuts too early) it is the last: one at a time.
    """
    found: dict[tuple[str | None, ...], list[Finding]] = {}
    for finding in findings:
        alike: tuple[str | None, ...] = (finding.spoken, finding.entry)
        if finding.kind is FindingKind.MISSING:
            alike = (finding.key,)
        elif finding.kind is FindingKind.WRONG_UNIT:
            alike = (finding.kind,)
        found.setdefault(alike, []).append(finding)
    return list({tuple(f.text for f in group): group for group in found.values()}.values())


def _names(reply: Reply, finding: Finding) -> bool:
    said = bool(finding.spoken) and finding.spoken.lower() in reply.spoken.lower()
    return said or finding.text.rstrip(".").lower() in reply.shown.lower()


def named_last(findings: Sequence[Finding], spoken: str) -> Together:
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
