"""What is said and shown of one entry: the words by which joblog repeats what it has recorded."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

from joblog.job.clocks import elapsed
from joblog.job.controls import REASONS
from joblog.job.foremost import SAY_NOTE
from joblog.job.guard_labels import own_vin
from joblog.job.guard_quantity import to_fill
from joblog.job.guard_values import gets_shown
from joblog.job.label_codes import codes_told
from joblog.job.levels import level_words
from joblog.job.naming import entry_named
from joblog.job.ranges import value_said, value_shown
from joblog.job.told_meter import correction_said
from joblog.job.torques import is_angle, numbers_tight, numbers_turned, torque_entries
from joblog.job.types import FindingKind, JobState, Value
from joblog.job.values import step_named, value_of
from joblog.job.wording import capital, said, shown, step_name
from joblog.job.wrenches import tool_named
from joblog.record.entry import Entry
from joblog.sheet.check_torques import wrenches_of
from joblog.sheet.fragments import spoken_form
from joblog.sheet.model import PhotoWanted, Step


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
