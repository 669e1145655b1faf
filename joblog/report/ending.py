"""How a finding ended, and whether what it says still stands.

A finding that is open stands, and so does one that somebody confirmed with a reason: the value is
as far outside its limits as before, only known and answered for. What was corrected, done over or
taken back stands no more. Every page of the report goes by this one account.
"""

from __future__ import annotations

import re

from joblog.job.guard_undone import UNDONE
from joblog.job.guard_values import EXPLAINED
from joblog.job.guard_wanted import CONFIRMED_BY, ENDS
from joblog.job.order import required_before
from joblog.job.types import Finding, FindingKind
from joblog.job.values import step_named
from joblog.report.context import Context
from joblog.report.text import clean

_CONFIRMED = re.compile(
    rf"^{CONFIRMED_BY}(?P<who>.*?): (?P<why>.*?)(?:; (?P<after>{'|'.join(ENDS)}))?$", re.S
)
_CONFIRMED_THEN_SAID = re.compile(  # what was taken back by somebody, or was a question answered
    rf"^{CONFIRMED_BY}(?P<who>.*?): (?P<why>.*?)"
    r"(?:; (?P<after>(?:taken back by |answered: |replaced by: ).*))$",
    re.S,
)
_NOBODY = "technician"  # the guard's word where an entry doesn't say who confirmed


def confirmed(finding: Finding) -> bool:
    """Return whether ``finding`` was let stand for a reason, and not mended since."""
    found = _confirmation(finding)
    return found is not None and not found["after"]


def _confirmation(finding: Finding) -> re.Match[str] | None:
    """Return ``who`` confirmed a finding, ``why``, and how it ended ``after`` (None: not)."""
    said = finding.key.startswith((UNDONE, "unsure:"))
    then = _CONFIRMED_THEN_SAID.match(finding.resolved) if said else None
    return then or _CONFIRMED.match(finding.resolved)


def stands(finding: Finding) -> bool:
    """Return whether what ``finding`` says is still so; observations and questions don't count."""
    if finding.kind is FindingKind.OBSERVATION or finding.key.startswith("unsure:"):
        return False
    return not finding.resolved or confirmed(finding)


def about(c: Context, rule: str, entry: str) -> Finding | None:
    """Return the finding of ``rule`` ('spec', 'level', 'window') about an entry, None without."""
    found = (f for f in c.state.findings if f.key.partition(":")[0] == rule)
    return next((f for f in found if f.entry == entry), None)


def mended(c: Context, rule: str, entry: str) -> str:
    """Return how the finding of ``rule`` about an entry was mended; '' where it stands or isn't.

    Who had confirmed it before is told with the finding.
    """
    finding = about(c, rule, entry)
    if finding is None or not finding.resolved or stands(finding):
        return ""
    return _end(c, end_of(finding))


def end_of(finding: Finding) -> str:
    """Return how ``finding`` ended in the guard's words, without who had confirmed it before."""
    found = _confirmation(finding)
    return (found["after"] or "") if found else finding.resolved


def doubted(c: Context) -> set[str]:
    """Return the steps of which the sheet's own sentence ('... was loosened first') isn't so.

    That is wherever a finding stands. A wrong order stays wrong though the step was done
    afterwards; it counts for both steps, and a condition for the step that should have set it.
    """
    keys: set[str] = set()
    for finding in c.state.findings:
        late = finding.resolved.endswith("done afterwards") and finding.key.startswith(
            ("order:", "condition:")
        )
        if stands(finding) or late:
            keys |= {finding.step or "", *_others(c, finding)}
    return keys - {""}


def _others(c: Context, finding: Finding) -> set[str]:
    """Return the steps besides its own that a finding speaks of."""
    rule, _, rest = finding.key.partition(":")
    key, _, what = rest.partition(":")
    step, other = step_named(c.state.sheet, key), what.partition(":")[0]
    if step is None:
        return set()
    if rule == "order":
        return {other} if other in (*required_before(c.state.sheet, step), *step.before) else set()
    if rule == "condition" and other in step.only_when:
        return {s.key for s in c.state.sheet.steps if other in s.sets}
    return set()


def ended_words(c: Context, finding: Finding) -> str:
    """Return how ``finding`` ended, in the reader's language; '' where it is open."""
    t, found = c.t, _confirmation(finding)
    if not found:
        return _end(c, finding.resolved)
    who = clean(found["who"])
    said = t.say(
        "confirmed by {who}: {why}",
        who=t.say("the technician") if who == _NOBODY else who,
        why=reason_words(c, clean(found["why"])),
    )
    return f"{said}; {_end(c, found['after'])}" if found["after"] else said


def _end(c: Context, resolved: str) -> str:
    """Return how a finding ended, besides being confirmed, in the reader's language."""
    t = c.t
    starts = ("answered: ", "replaced by: ", "taken back by ")
    start = next((s for s in starts if resolved.startswith(s)), "")
    if start:
        rest = clean(resolved.removeprefix(start))
        return {
            "answered: ": t.say("answered: “{answer}”", answer=rest),
            "replaced by: ": t.say("replaced by “{answer}”", answer=rest),
            "taken back by ": t.say("taken back by {who}", who=rest),
        }[start]
    known = {
        "corrected": t.say("corrected"),
        "tightened again": t.say("tightened again"),
        "done afterwards": t.say("done afterwards"),
        "taken back": t.say("taken back"),
        "photo retaken": t.say("photo taken again"),
        "no longer so": t.say("no longer so"),
        "read again inside the window": t.say("read again in time"),
        "read again": t.say("read again"),
    }
    return known.get(resolved, clean(resolved))


def reason_words(c: Context, reason: str) -> str:
    """Return a reason in the reader's language where it is one of those said by a set phrase.

    A reason in somebody's own words stays as it was written.
    """
    t = c.t
    note = t.say("the notes in this report give the reason")
    if not c.state.notes:  # nobody left the one that was meant
        note = t.say("a note was to give the reason, and there is none")
    return {
        "it was done before": t.say("it was done before"),
        "it was checked twice": t.say("it was checked twice"),
        "the service information says so": t.say("the service information says so"),
        "the customer asked for it": t.say("the customer asked for it"),
        "it is not needed on this unit": t.say("it is not needed on this unit"),
        "it was loosened and checked": t.say("it was loosened and checked"),
        EXPLAINED: t.say("the advisor explained it"),
        "it was not possible": t.say("it was not possible"),
        "the tool was not available": t.say("the tool was not available"),
        "the reason is in the note": note,
        "no reason given": t.say("no reason given"),
    }.get(reason, reason)
