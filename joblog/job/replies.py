"""Replies: what was understood, whether it is in specification, what comes next.

Spoken replies are short and made of a closed vocabulary (see :mod:`joblog.job.vocabulary`): the
words of the sheet's phrases, digits, units and the words of the sentences here. Numbers are read
back digit by digit. What is shown may say more.
"""

from __future__ import annotations

from collections.abc import Container, Sequence

from joblog.job.answers import new_parts
from joblog.job.cautions import cautions_said, cautions_shown
from joblog.job.echoes import echo
from joblog.job.foremost import (
    FIRST_ONE_SHOWN,
    HOW_ON,
    HOW_ON_SHOWN,
    folded,
    foremost,
    how_on_shown,
    told,
)
from joblog.job.ranges import value_said
from joblog.job.told import together
from joblog.job.types import Finding, FindingKind, JobState, Reply, StepState, StepStatus
from joblog.job.wording import (
    and_more,
    capital,
    listed,
    shown_missing,
    spoken_missing,
    step_name,
    step_shown,
)
from joblog.job.wrenches import to_set
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet


def reply_for(
    before: JobState,
    after: JobState,
    entries: Sequence[Entry],
    cautioned: Container[str] = (),
) -> Reply:
    """Return the reply to what ``entries`` changed between two states of the job.

    ``cautioned`` are the steps whose cautions were said aloud before.
    """
    if any(e.kind == "asked" and e.body.get("about") == "close" for e in entries):
        return _not_complete(after, entries)
    unsettled = (f for f in after.findings if not f.resolved)
    new = tuple(f for f in unsettled if _to_tell(f, before, entries))
    echoes = _brief(list(dict.fromkeys(echo(after, entry) for entry in entries)), entries)
    grave = [f for f in new if f.kind is not FindingKind.OBSERVATION]
    seen = [f for f in new if f not in grave]
    lines = [show for _, show in echoes if show] + [f.told for f in (*grave, *seen)]
    if any(
        e.kind == "step-done" and _out_of_order(e, grave) for e in entries
    ):  # an answer that begins with 'done' would be taken for a yes
        lines = ["Not yet in order.", *(line for line in lines if not line.endswith(": done."))]
    if grave:
        values = [_value_first(after, entry, grave[0]) for entry in entries]
        warning = capital(grave[0].spoken)
        spoken = _joined([*values, warning, and_more(len(grave) - 1), HOW_ON])
        how = HOW_ON_SHOWN if len(together(grave)) == 1 else FIRST_ONE_SHOWN
        return Reply(spoken, " ".join([*lines, how]), "warn", tuple(entries), new)
    follow, follow_shown = _follow(before, after, entries, cautioned)
    says = [say for say, _ in echoes if say] + [f.spoken for f in new[:1]] + [follow]
    lines += [follow_shown, *_resolved_lines(before, after, entries)]
    tone = "warn" if new else "ok"
    return Reply(_joined(says), _joined(lines), tone, tuple(entries), new)


def _value_first(state: JobState, entry: Entry, finding: Finding) -> str:
    """Return the value of ``entry``, to be heard before what is wrong with it, in one sentence.

    Else a number heard wrong would be taken for a warning about the right one. '' for no value, and
    where the warning begins with it.
    """
    value = next((v for v in state.values if v.entry.id == entry.id), None)
    if value is None:
        return ""
    number = value_said(value)
    way = "out" if entry.body.get("direction") == "out" else "in"
    name = f"{number} {way}" if entry.kind == "quantity" else f"{value.name}, {number}"
    if finding.spoken.lower().startswith((f"{name.lower()},", f"{name.lower()} ")):
        return ""
    return f"Corrected: {name}." if value.corrected_from else f"{capital(name)}."


def _brief(echoes: list[tuple[str, str]], entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """Return the echoes; of many findings confirmed at once none is named aloud."""
    if sum(1 for e in entries if e.kind == "confirmed") < 2:
        return echoes
    names = {say for say, _ in echoes if say.startswith("Confirmed")}
    if len(names) < 2:
        return echoes
    return [("Confirmed." if say in names else say, show) for say, show in echoes]


def _to_tell(finding: Finding, before: JobState, entries: Sequence[Entry]) -> bool:
    """Say whether an open finding is new, says something new, or concerns the step just done."""
    old = before.finding(finding.key)
    if old is None:
        return True
    if any(e.id == finding.entry for e in entries) and (old.resolved or old.text != finding.text):
        return True
    if finding.key.startswith("spec:") and old.text != finding.text and not old.resolved:
        return True  # tightened too far, and again: that ends nothing
    if finding.advice and any(e.supersedes == old.entry for e in entries):
        return True  # a correction that leaves it open, with what would end it
    return finding.kind in (FindingKind.OUT_OF_SPEC, FindingKind.MISMATCH) and any(
        e.kind == "step-done" and e.body.get("step") == finding.step for e in entries
    )


def _out_of_order(entry: Entry, findings: Sequence[Finding]) -> bool:
    step = entry.body.get("step")
    return any(f.kind is FindingKind.OUT_OF_ORDER and f.step == step for f in findings)


def _joined(parts: Sequence[str]) -> str:
    return " ".join(part for part in dict.fromkeys(parts) if part)


def _follow(
    before: JobState, after: JobState, entries: Sequence[Entry], cautioned: Container[str]
) -> tuple[str, str]:
    """What comes after the echo: what is still wanted or open, or the next step."""
    if any(e.kind == "confirmed" for e in entries) and not after.closed:
        left = told(after.sheet, after.open_findings)
        reasoned = [f for f in left if not f.key.startswith("unsure:")]
        if reasoned:
            one = foremost(reasoned)
            return f"Not confirmed yet: {one.spoken}", f"Still open: {one.text}"
        if left:  # it can be answered, not confirmed
            asked = capital(after.waiting[-1].in_full)
            return f"Not complete. {asked}", f"Still open: {asked}"
        if any(q.about == "close" for q in after.questions):
            return "Say job complete.", "Nothing is open; say job complete."
    return _wanted_or_next(before, after, entries, cautioned)


def _not_complete(state: JobState, entries: Sequence[Entry]) -> Reply:
    findings = state.open_findings
    spoken, text = folded(state.sheet, findings)
    text = f"Not complete. {text} {how_on_shown(findings)}"
    spoken = f"Not complete. {spoken} {HOW_ON}"
    return Reply(spoken, text, "warn", tuple(entries), findings)


def _resolved_lines(before: JobState, after: JobState, entries: Sequence[Entry]) -> list[str]:
    confirmed = {e.body.get("finding") for e in entries if e.kind == "confirmed"}
    open_before = {f.key for f in before.findings if not f.resolved}
    return [
        f"Settled ({f.resolved}): {f.text}"
        for f in after.findings
        if f.resolved and f.key in open_before and f.key not in confirmed
    ]


def _wanted_or_next(
    before: JobState, after: JobState, entries: Sequence[Entry], cautioned: Container[str]
) -> tuple[str, str]:
    """After a step or its last value: what it still wants, else the next step."""
    key = next((str(e.body["step"]) for e in entries if e.body.get("step")), None)
    state = after.step(key) if key else None
    if state is None or after.closed:
        return "", ""
    if state.missing and state.status is StepStatus.INCOMPLETE:
        return _wanted(after.sheet, state)
    was = before.step(state.step.key)
    undone = before.done - after.done
    if undone and not any(e.kind == "disregarded" for e in entries):
        return next_words(after, cautioned)
    if state.status is not StepStatus.DONE or (was and was.status is StepStatus.DONE):
        return "", ""
    return next_words(after, cautioned)


def _wanted(sheet: Sheet, state: StepState) -> tuple[str, str]:
    missing = [spoken_missing(what) for what in state.missing]
    tight = not any(what.startswith("torque") for what in state.missing)
    say, show = ("", "") if tight else to_set(sheet, state.step)
    spoken = f"Wanted: {listed(missing)}. {say}".strip()
    return spoken, f"Wanted: {listed([shown_missing(m) for m in state.missing])}. {show}".strip()


def next_words(state: JobState, cautioned: Container[str] = ()) -> tuple[str, str]:
    """Return 'Next: ...' spoken and shown, with the cautions that belong to the next step.

    They are shown each time, but not said again where ``cautioned`` holds the step.
    """
    step = state.next_step
    if step is None:
        return "", ""
    say, show = to_set(state.sheet, step.step)
    caution = cautions_said(state.sheet, step.step, cautioned)
    cautions = cautions_shown(state.sheet, step.step)
    spoken = [f"Next: {step_name(step.step)}.", say, caution]
    lines = [f"Next: {step_shown(step.step)}.", show, *new_parts(state.sheet, step.step), *cautions]
    return " ".join(filter(None, spoken)), " ".join(filter(None, lines))
