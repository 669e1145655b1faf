"""Replies: what was understood, whether it is in specification, what comes next.

Spoken replies are short and made of a closed vocabulary (see :mod:`joblog.job.vocabulary`): the
words of the sheet's phrases, digits, units and the words of the sentences here. Numbers are read
back digit by digit. What is shown may say more.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from decimal import Decimal
from fractions import Fraction

from joblog.job.answers import new_parts
from joblog.job.cautions import cautions_said, cautions_shown
from joblog.job.clocks import elapsed
from joblog.job.controls import REASONS
from joblog.job.foremost import (
    FIRST_ONE_SHOWN,
    HOW_ON,
    HOW_ON_SHOWN,
    SAY_NOTE,
    folded,
    foremost,
    how_on_shown,
    told,
)
from joblog.job.guard_labels import own_vin
from joblog.job.guard_quantity import to_fill
from joblog.job.guard_values import gets_shown
from joblog.job.label_codes import codes_told
from joblog.job.levels import level_words
from joblog.job.naming import entry_named
from joblog.job.ranges import value_said, value_shown
from joblog.job.told import together
from joblog.job.told_meter import correction_said
from joblog.job.torques import is_angle, numbers_tight, numbers_turned, torque_entries
from joblog.job.types import Finding, FindingKind, JobState, Reply, StepState, StepStatus, Value
from joblog.job.values import step_named, value_of
from joblog.job.wording import (
    and_more,
    capital,
    listed,
    said,
    shown,
    shown_missing,
    spoken_missing,
    step_name,
    step_shown,
)
from joblog.job.wrenches import to_set, tool_named
from joblog.record.entry import Entry
from joblog.sheet.check_torques import wrenches_of
from joblog.sheet.fragments import spoken_form
from joblog.sheet.model import PhotoWanted, Sheet, Step


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


def echo(state: JobState, entry: Entry) -> tuple[str, str]:
    """Return what is said and shown of one entry; nothing for kinds that need no echo."""
    made = _ECHOES.get(entry.kind)
    return made(state, entry) if made else ("", "")


def _step_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    step = step_named(state.sheet, entry.body.get("step"))
    name = capital(step_name(step)) if step else ""
    return (f"{name}.", f"{name}: done.") if name else ("", "")


def _confirmed_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    finding = state.finding(str(entry.body.get("finding", "")))
    about = f": {finding.text}" if finding else "."
    spoken = f"Confirmed: {finding.spoken}" if finding and finding.spoken else "Confirmed."
    shown = f"Confirmed ({entry.body.get('reason', '')}){about}"
    if entry.body.get("reason") == REASONS["note"][1] and not state.notes:
        return f"{spoken} {SAY_NOTE}", f"{shown} There is no note yet: say “note” and the reason."
    return spoken, shown


def _note_echo(_: JobState, entry: Entry) -> tuple[str, str]:
    return "Noted.", f"Noted: {entry.body.get('text', '')}"


def _closed_echo(_: JobState, entry: Entry) -> tuple[str, str]:
    finished = entry.body.get("how") == "finished"
    return ("Job complete.",) * 2 if finished else ("Job stopped.",) * 2


def _value_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    value = next((v for v in state.values if v.entry.id == entry.id), None)
    if value is None:
        return "", ""
    number, text = value_said(value), value_shown(value)
    corrected = bool(value.corrected_from)
    if value.entry.kind == "quantity":
        return _quantity_echo(state, value, number, text, corrected)
    lead = f"Corrected: {value.name}" if corrected else capital(value.name)
    spec = ", in spec" if value.within else ""
    wanted = ""
    if value.nominal is not None and value.low is not None:
        around = value.nominal - value.low
        wanted = f" (specified {shown(value.nominal, value.spec_unit)} ± {around})"
    at, at_shown = _at_which(state, value)
    line = f"{'Corrected: ' if corrected else ''}{value.name} {text}{spec}{wanted}{at_shown}."
    if value.within:
        line += gets_shown(state.sheet, value)
    line += _wrench_shown(state, value) + _whose(state, value)
    count, count_shown = _count_echo(state, value) if value.within else ("", "")
    return f"{lead}, {number}{spec}{at}.{count}", capital(line) + count_shown


def _at_which(state: JobState, value: Value) -> tuple[str, str]:
    """Name the step of a value, said and shown, where several steps want one of that name."""
    step, steps = step_named(state.sheet, value.step), state.sheet.steps
    if step is None:
        return "", ""
    if value.entry.kind == "torque" or is_angle(step, value.entry):
        names = [_fastener_stage(s) for s in steps if s.torque]
        own = _fastener_stage(step)
    else:
        names = [s.reading.name for s in steps if s.reading]
        own = step.reading.name if step.reading else ""
    if names.count(own) < 2:
        return "", ""
    return f", {step_name(step)}", f", for “{step.title}”"


def _fastener_stage(step: Step) -> str:
    """Return a step's fastener with its stage: two stages of one are told apart as it is."""
    return f"{step.torque.fastener.lower()} {step.torque.stage}" if step.torque else ""


def _whose(state: JobState, value: Value) -> str:
    """Say whose value a correction took the place of, where it was a colleague's."""
    old = value.corrected_from[-1] if value.corrected_from else None
    was = value_of(state.sheet, old) if old else None
    if old is None or was is None or not old.by or old.by == value.entry.by:
        return ""
    return f" It was {value_shown(was)}, told by {old.by}."


def _wrench_shown(state: JobState, value: Value) -> str:
    """Name the wrench where the step leaves a choice."""
    step = step_named(state.sheet, value.step)
    if step is None or value.entry.kind != "torque":
        return ""
    wrench = tool_named(state.sheet, value.wrench)
    if wrench is not None and sum(1 for tool in state.sheet.tools if tool.highest) > 1:
        return f" {wrench.name}."
    return " Which wrench was not said." if len(wrenches_of(state.sheet, step)) > 1 else ""


def _count_echo(state: JobState, value: Value) -> tuple[str, str]:
    """Of several fasteners, say how many are tight, or turned where it is an angle."""
    step = step_named(state.sheet, value.step)
    if step is None or step.torque is None or step.torque.count == 1:
        return "", ""
    turned = is_angle(step, value.entry)
    if value.entry.kind != "torque" and not turned:
        return "", ""
    count, now = step.torque.count, state.step(step.key)
    counted = now.values if now else ()
    tight = len(numbers_tight(step.torque, torque_entries(counted, step.key)))
    tight = len(numbers_turned(step, counted)) if turned else tight
    return f" {capital(said(tight, ''))} of {said(count, '')}.", f" {tight} of {count}."


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
    into = to_fill(state, fluid.key) if fluid and not out else None
    line += _whose(state, value)
    if fluid and into is not None:  # the guard judges by that
        line += f" By what came out: {shown(into, fluid.unit)}."
    elif fluid and not out and fluid.specified is not None:
        line += f" Specified: {shown(fluid.specified, fluid.unit)}."
    return capital(spoken), line


def _disregarded(state: JobState, entry: Entry) -> tuple[str, str]:
    old = next((e for e in state.entries if e.id == entry.supersedes), None)
    if old is None:
        return "Disregarded.", "Disregarded."
    spoken, text = entry_named(state, old)
    return (f"Disregarded: {spoken}.", f"Disregarded: {text}.") if text else ("Disregarded.",) * 2


def _clock_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    if entry.body.get("name") == "fan-cycle":
        count = said(state.fan_cycles, "")
        return f"Fan cycle {count}.", f"Fan cycle {state.fan_cycles}."
    if entry.body.get("event") == "start":
        return ("Clock started.",) * 2
    start = _last_start(state, entry)
    if start is None:
        return ("Clock stopped.",) * 2
    passed = elapsed(start, entry)
    tenths = round(Decimal(passed.seconds), 1)
    return f"Clock stopped, {said(tenths, 's')}.", f"Clock stopped, {shown(tenths, 's')}."


def _last_start(state: JobState, stop: Entry) -> Entry | None:
    starts = [
        e
        for e in state.entries
        if e.kind == "clock"
        and e.body.get("name") == "stop-watch"
        and e.body.get("event") == "start"
        and e.seq < stop.seq
    ]
    return starts[-1] if starts else None


def _part_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    part = next((p for p in state.sheet.parts if p.key == entry.body.get("part")), None)
    if part is None or entry.body.get("state") != "new":
        return "", ""  # the finding says it
    name = spoken_form(part.say[0]) if part.say else part.name
    return f"New {name}.", f"New {part.name}: noted."


def _of_which(state: JobState, entry: Entry) -> str:
    """Name the step of a photo where the sheet has several that want one like it."""
    step = step_named(state.sheet, entry.body.get("step"))
    if step is None or step.photo is None:
        return ""
    like = [s for s in state.sheet.steps if s.photo and _alike(s.photo, step.photo)]
    return f" for “{step.title}”" if len(like) > 1 else ""


def _alike(one: PhotoWanted, other: PhotoWanted) -> bool:
    return (one.kind, one.phase) == (other.kind, other.phase)


def _photo_echo(state: JobState, entry: Entry) -> tuple[str, str]:
    kind = str(entry.body.get("kind", ""))
    measurement = entry.body.get("measurement") or {}
    if not measurement.get("usable"):
        return "", ""  # the finding says it
    if any(f.kind is FindingKind.OTHER_VEHICLE and f.entry == entry.id for f in state.findings):
        return "", ""
    if kind == "other":
        return "Photo noted.", "Photo noted: it is kept, nothing is measured in it."
    photo = next((p for p in state.photos if p.entry.id == entry.id), None)
    if photo is not None and photo.together.get("usable") is False:
        return "", ""  # the finding says that the shots disagree
    level, level_shown = level_words(photo) if photo is not None else ("", "")
    done = "its bar code is read" if kind == "label" else "it is measured"
    done = f"level {level_shown}" if level_shown else done
    done += _of_which(state, entry)
    if measurement.get("vin") and own_vin(state):
        done += ", its VIN is the job's"
    say = f" Level, {said(int(level), 'percent')}." if level else ""
    of = codes_told(state.sheet, photo) if photo is not None and kind == "label" else ""
    return f"Photo {kind}, good.{say}", f"Photo {kind}, good: {done}. {of}".strip()


_ECHOES: dict[str, Callable[[JobState, Entry], tuple[str, str]]] = {
    "step-done": _step_echo,
    "torque": _value_echo,
    "quantity": _value_echo,
    "reading": _value_echo,
    "disregarded": _disregarded,
    "confirmed": _confirmed_echo,
    "clock": _clock_echo,
    "part": _part_echo,
    "note": _note_echo,
    "job-closed": _closed_echo,
    "photo": _photo_echo,
    "meter": correction_said,
}


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
