"""Replies: what was understood, whether it is in specification, what comes next.

Spoken replies are short and made of a closed vocabulary (see :mod:`joblog.job.vocabulary`): the
words of the sheet's phrases, digits, units and the words of the sentences here. Numbers are read
back digit by digit. What is shown may say more.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from joblog.job.types import Finding, FindingKind, JobState, Reply, StepState, StepStatus, Value
from joblog.job.values import step_named
from joblog.job.wording import capital, listed, said, shown, step_name
from joblog.record.entry import Entry

HOW_ON = "Confirm with a reason, or disregard."


def reply_for(before: JobState, after: JobState, entries: Sequence[Entry]) -> Reply:
    """Return the reply to what ``entries`` changed between two states of the job."""
    known = {f.key for f in before.findings}
    new = [f for f in after.findings if f.key not in known and not f.resolved]
    spoken: list[str] = []
    lines: list[str] = []
    for entry in entries:
        say, show = echo(after, before, entry)
        spoken += [say] if say else []
        lines += [show] if show else []
    grave = [f for f in new if f.kind is not FindingKind.OBSERVATION]
    lines += [f.text for f in new]
    if any(e.kind == "asked" and e.body.get("about") == "close" for e in entries):
        return _not_complete(list(after.open_findings), entries)
    if grave:
        spoken += [f.spoken for f in grave[:2]] + [HOW_ON]
        return Reply(
            " ".join(spoken), " ".join([*lines, HOW_ON]), "warn", tuple(entries), tuple(new)
        )
    spoken += [f.spoken for f in new[:1]]
    say, show = _wanted_or_next(before, after, entries)
    spoken += [say] if say else []
    lines += [show] if show else []
    lines += _resolved_lines(before, after)
    tone = "warn" if new else "ok"
    return Reply(" ".join(spoken), " ".join(lines), tone, tuple(entries), tuple(new))


def _not_complete(findings: list[Finding], entries: Sequence[Entry]) -> Reply:
    count = len(findings)
    spoken = f"Not complete. {findings[-1].spoken}"
    if count > 1:
        spoken += f" And {said(count - 1, '')} more."
    shown_text = "Not complete: " + " ".join(f.text for f in findings)
    return Reply(
        f"{spoken} {HOW_ON}", f"{shown_text} {HOW_ON}", "warn", tuple(entries), tuple(findings)
    )


def _resolved_lines(before: JobState, after: JobState) -> list[str]:
    open_before = {f.key for f in before.findings if not f.resolved}
    return [
        f"Settled ({f.resolved}): {f.text}"
        for f in after.findings
        if f.resolved and f.key in open_before
    ]


def echo(after: JobState, before: JobState, entry: Entry) -> tuple[str, str]:
    """Return what is said and shown of one entry."""
    if entry.kind == "step-done":
        step = step_named(after.sheet, entry.body.get("step"))
        return (f"{capital(step_name(step))}.", f"{step.title}: done.") if step else ("", "")
    if entry.kind in ("torque", "quantity", "reading"):
        value = next((v for v in after.values if v.entry.id == entry.id), None)
        return _value_echo(after, value) if value else ("", "")
    if entry.kind == "disregarded":
        return _disregarded(after, entry)
    if entry.kind == "confirmed":
        reason = str(entry.body.get("reason", ""))
        return "Confirmed.", f"Confirmed: {reason}."
    if entry.kind == "clock":
        return _clock_echo(after, entry)
    if entry.kind == "note":
        return "Noted.", f"Noted: {entry.body.get('text', '')}"
    if entry.kind == "job-closed":
        finished = entry.body.get("how") == "finished"
        return ("Job complete.",) * 2 if finished else ("Job stopped.",) * 2
    if entry.kind == "photo":
        return _photo_echo(entry)
    return "", ""


def _value_echo(state: JobState, value: Value) -> tuple[str, str]:
    number, text = said(value.value, value.unit), shown(value.value, value.unit)
    corrected = bool(value.corrected_from)
    if value.entry.kind == "quantity":
        return _quantity_echo(state, value, number, text, corrected)
    name = "torque" if value.entry.kind == "torque" else value.name
    lead = f"Corrected: {name}" if corrected else capital(name)
    spec = ", in spec" if value.within else ""
    wanted = ""
    if value.nominal is not None and value.low is not None:
        around = value.nominal - value.low
        wanted = f" (specified {shown(value.nominal, value.spec_unit)} ± {around})"
    line = f"{'Corrected: ' if corrected else ''}{value.name} {text}{spec}{wanted}."
    return f"{lead}, {number}{spec}.", capital(line)


def _quantity_echo(
    state: JobState, value: Value, number: str, text: str, corrected: bool
) -> tuple[str, str]:
    body = value.entry.body
    fluid = next((f for f in state.fluids if f.key == body.get("fluid")), None)
    out = body.get("direction") == "out"
    lead = "Corrected: " if corrected else ""
    spoken = f"{lead}{number} {'out' if out else 'in'}."
    line = f"{lead}{text} of {fluid.name if fluid else 'fluid'} {'out' if out else 'in'}."
    total = Fraction(0) if fluid is None else (fluid.poured_out if out else fluid.poured_in)
    if fluid and (total != Fraction(value.value) or value.unit != fluid.unit):
        spoken += f" {capital(said(total, fluid.unit))} in all."
        line += f" {shown(total, fluid.unit)} in all."
    if fluid and not out and fluid.specified is not None:
        line += f" Specified: {shown(fluid.specified, fluid.unit)}."
    return capital(spoken), line


def _disregarded(state: JobState, entry: Entry) -> tuple[str, str]:
    old = next((e for e in state.entries if e.id == entry.supersedes), None)
    if old is None:
        return "Disregarded.", "Disregarded."
    name = {"step-done": "", "clock": "clock"}.get(old.kind, old.kind)
    step = step_named(state.sheet, old.body.get("step"))
    what = " ".join(part for part in (name, step_name(step) if step else "") if part)
    return (f"Disregarded: {what}.",) * 2 if what else ("Disregarded.",) * 2


def _clock_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    if entry.body.get("name") == "fan-cycle":
        count = said(state.fan_cycles, "")
        return f"Fan cycle {count}.", f"Fan cycles: {state.fan_cycles}."
    started = entry.body.get("event") == "start"
    return ("Clock started.",) * 2 if started else ("Clock stopped.",) * 2


def _photo_echo(entry: Entry) -> tuple[str, str]:
    kind = str(entry.body.get("kind", ""))
    measurement = entry.body.get("measurement") or {}
    if not measurement.get("usable"):
        return "", ""  # the finding says it
    return f"Photo {kind}, good.", f"Photo of the {kind} measured."


def _wanted_or_next(before: JobState, after: JobState, entries: Sequence[Entry]) -> tuple[str, str]:
    """After a step or its last value: what it still wants, else the next step."""
    key = next((str(e.body["step"]) for e in entries if e.body.get("step")), None)
    state = after.step(key) if key else None
    if state is None or after.closed:
        return "", ""
    if state.missing and state.status is StepStatus.INCOMPLETE:
        return _wanted(state)
    was = before.step(state.step.key)
    if state.status is not StepStatus.DONE or (was and was.status is StepStatus.DONE):
        return "", ""
    return next_words(after)


def _wanted(state: StepState) -> tuple[str, str]:
    missing = [what.replace("photo of the", "photo") for what in state.missing]
    return f"Wanted: {listed(missing)}.", f"Still wanted: {listed(list(state.missing))}."


def next_words(state: JobState) -> tuple[str, str]:
    """Return 'Next: ...' spoken and shown, with the cautions that belong to the next step."""
    step = state.next_step
    if step is None:
        return "", ""
    cautions = [f"Caution: {c.text}" for c in state.sheet.cautions if step.step.key in c.steps]
    return f"Next: {step_name(step.step)}.", " ".join([f"Next: {step.step.title}.", *cautions])
