"""Of several open findings, the one to speak of; the others are counted.

The finding noticed last is meant by 'confirm because ...', so it is the one that is named. What is
missing when a job is to be closed is noticed all at once: of that, the first in the order of the
work is named, since it is the next to do. Why the sheet is not for the unit is noticed all at once
and confirmed all at once: so that is told together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from joblog.job.guard_unit import reasons_together
from joblog.job.types import Finding, FindingKind
from joblog.job.wording import and_more
from joblog.sheet.model import Sheet

# How a finding is settled, as it is said and as it is shown.
SAY_WHY = "Say confirm because, and the reason."
SAY_NOTE = "Say note, and the reason."
HOW_ON = "Say confirm because, and the reason, or disregard."
HOW_ON_SHOWN = "Say “confirm because” and the reason, or “disregard”."
FIRST_ONE_SHOWN = "Say “confirm because” and the reason, for the first of these, or “disregard”."

AT_ONCE = "For all of it at once: a reason and “Close as finished” at the desk."
SEVERAL = 3  # so many missing things; one by one they take long


def missing_of(findings: Sequence[Finding]) -> list[Finding]:
    """Return what is missing and not settled, in the order of the work."""
    return [f for f in findings if f.kind is FindingKind.MISSING and not f.resolved]


def foremost(findings: Sequence[Finding]) -> Finding:
    """Return the one of at least one open findings that is spoken of and confirmed next."""
    last = findings[-1]
    return missing_of(findings)[0] if last.kind is FindingKind.MISSING else last


def told(sheet: Sheet, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings as they are told: those against the unit are one, with every reason."""
    against = [f for f in findings if f.kind is FindingKind.WRONG_UNIT]
    if len(against) < 2:
        return list(findings)
    one = replace(against[-1], text=reasons_together(sheet, [f.text for f in against]))
    return [one if f is against[-1] else f for f in findings if f not in against[:-1]]


def folded(sheet: Sheet, findings: Sequence[Finding]) -> tuple[str, str]:
    """Return the foremost of at least one open findings, spoken and shown, the rest counted."""
    findings = told(sheet, findings)
    one, more = foremost(findings), len(findings) - 1
    if not more:
        return one.spoken, one.text
    count = and_more(more)
    return f"{one.spoken} {count}", f"{one.text} And {more} more: “what is missing” names them."


def how_on_shown(findings: Sequence[Finding]) -> str:
    """Return how to go on with the open findings of a job that is to be closed."""
    return f"{HOW_ON_SHOWN} {AT_ONCE}" if len(missing_of(findings)) >= SEVERAL else HOW_ON_SHOWN


def missing_line(findings: Sequence[Finding]) -> str:
    """Return what is missing in one line for a screen: how much, and the next to do; or ''."""
    lacking = missing_of(findings)
    if not lacking:
        return ""
    count = "1 thing is missing" if len(lacking) == 1 else f"{len(lacking)} things are missing"
    return f"{count}. Next: {lacking[0].text}"
