"""The guard's sentences, made anew in the report's language from what they were made of.

The record holds no sentences: a finding is computed from entries and sheet, so the report computes
it once more, with the reader's words, numbers and units. Each function returns '' where it can't.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from joblog.job.clocks import clock_jumps
from joblog.job.guard_ended import ENDED
from joblog.job.guard_labels import own_vin, vin_on
from joblog.job.guard_meter import lower_meters
from joblog.job.guard_quantity import balance_of
from joblog.job.guard_undone import UNDONE
from joblog.job.guard_unit import exclusions, whys
from joblog.job.guard_values import one_of_several, tightened_again, too_tight
from joblog.job.order import required_before
from joblog.job.types import Finding, FindingKind, FluidState, Value
from joblog.job.values import step_named, value_of
from joblog.job.wrenches import good_range, tool_named
from joblog.measure.vin_labels import unlike_ends
from joblog.report.context import Context
from joblog.report.kinds import lacking
from joblog.report.text import clean
from joblog.report.windows import before_its_start, seconds_text, since_start, window_limits


def guard_sentence(c: Context, finding: Finding, key: str = "") -> str:
    """Return a finding's sentence for the customer in the report's language, or ''."""
    key = key or finding.key
    if key.startswith(UNDONE):
        inner = guard_sentence(c, finding, key.removeprefix(UNDONE).partition(":")[2])
        return f"{inner} {c.t.say('It was taken back.')}" if inner else ""
    if key.startswith(ENDED):
        confirmed, _, inner = key.removeprefix(ENDED).partition(":")
        return guard_sentence(c.before(confirmed), finding, inner)
    rule, _, rest = key.partition(":")
    made = _RULES.get(rule)
    return made(c, finding, rest) if made else ""


def _title(c: Context, key: str) -> str:
    return c.step_title(key) or clean(key)


def _body(c: Context, finding: Finding, name: str) -> str:
    entry = c.by_id.get(finding.entry or "")
    return str(entry.body.get(name) or "") if entry else ""


def _figure(finding: Finding, pattern: str) -> int | None:
    """Return a number that only the guard's own sentence holds."""
    found = re.search(pattern, finding.customer)
    return int(found[1]) if found else None


def _order(c: Context, finding: Finding, rest: str) -> str:
    key, _, other = rest.partition(":")
    t, title = c.t, _title(c, key)
    if other.startswith("which-"):
        first = _figure(finding, r"before number (\d+)")
        number = other.removeprefix("which-")
        return t.say(
            "At “{step}” number {number} was tightened before number {first}.",
            step=title,
            number=number,
            first=first,
        )
    step = step_named(c.state.sheet, key)
    if step is not None and other not in required_before(c.state.sheet, step):
        return t.say(
            "“{step}” was reported after “{other}”, which should follow it.",
            step=title,
            other=_title(c, other),
        )
    return t.say(
        "“{step}” was reported before “{other}”, which comes first.",
        step=title,
        other=_title(c, other),
    )


def _condition(c: Context, _: Finding, rest: str) -> str:
    key, name = rest.split(":")[:2]
    step = step_named(c.state.sheet, key)
    said = c.t.sheet(c.state.sheet.conditions.get(name, name))
    if step is not None and name in step.not_while:
        return c.t.say(
            "At “{step}” this was still reported: {condition}.",
            step=_title(c, key),
            condition=said,
        )
    return c.t.say(
        "At “{step}” this had not been reported: {condition}.",
        step=_title(c, key),
        condition=said,
    )


def _stage(c: Context, finding: Finding, _: str) -> str:
    return c.t.say(
        "“{step}” was done again after “{other}”, which must follow it.",
        step=_title(c, _body(c, finding, "step")),
        other=_title(c, finding.step or ""),
    )


def _value(c: Context, key: str) -> Value | None:
    entry = c.by_id.get(key)
    return value_of(c.state.sheet, entry) if entry else None


def _spec(c: Context, finding: Finding, rest: str) -> str:
    value = _value(c, rest)
    if value is None:
        return ""
    figure = c.judged(value)
    adapter = tool_named(c.state.sheet, value.adapter)
    if adapter is not None and value.in_spec_unit is None:
        return c.t.say(
            "At “{step}” {figure} was read on the wrench; specified for the fastener is {limits}. "
            "What came of it through this tool is not known: {adapter}.",
            step=_title(c, finding.step or value.name),
            figure=c.quantity(value.value, value.unit),
            limits=c.between(value.low, value.high, value.spec_unit),
            adapter=c.t.sheet(adapter.name),
        )
    if adapter is not None:
        wrench = c.quantity(value.value, value.unit)
        figure = c.t.say("{gets} (the wrench at {figure})", gets=figure, figure=wrench)
    which = one_of_several(c.state.sheet, value)
    if which:
        figure = c.t.say("{figure} (no. {number})", figure=figure, number=which)
    told = c.t.say(
        "At “{step}” {figure} was reported; specified is {limits}.",
        step=_title(c, finding.step or value.name),
        figure=figure,
        limits=c.between(value.low, value.high, value.spec_unit),
    )
    counts = any(v.entry.id == value.entry.id for v in c.state.values)  # else it was corrected
    again = tightened_again(c.state, value) if counts and too_tight(c.state.sheet, value) else None
    if again is None:
        return told
    later = c.t.say("It was tightened again later, at {figure}.", figure=c.judged(again))
    return f"{told} {later}"


def _wrench(c: Context, finding: Finding, rest: str) -> str:
    value = _value(c, rest)
    wrench = tool_named(c.state.sheet, value.wrench) if value else None
    band = good_range(wrench) if wrench else None
    if value is None or wrench is None or wrench.highest is None or band is None:
        return ""
    return c.t.say(
        "At “{step}” {figure} was tightened with a wrench that is good for {span}.",
        step=_title(c, finding.step or value.name),
        figure=c.quantity(value.value, value.unit),
        span=c.between(*band, wrench.highest.unit),
    )


def _part(c: Context, finding: Finding, _: str) -> str:
    key = _body(c, finding, "part")
    part = next((p for p in c.state.sheet.parts if p.key == key), None)
    if part is None:
        return ""
    return c.t.say(
        "Put back used, though a new one belongs there: {part}.", part=c.t.sheet(part.name)
    )


def _sums(c: Context, key: str) -> tuple[str, FluidState | None]:
    fluid = c.fluid(key)
    name = c.t.sheet(fluid.name) if fluid else clean(key)
    return name[:1].upper() + name[1:], next((f for f in c.state.fluids if f.key == key), None)


def _quantity(c: Context, _: Finding, rest: str) -> str:
    name, sums = _sums(c, rest.partition(":")[0])
    if sums is None:
        return ""
    wanted = sums.poured_out if sums.specified is None else sums.specified
    return c.t.say(
        "{fluid}: {total} went in; specified is {wanted}.",
        fluid=name,
        total=c.quantity(sums.poured_in, sums.unit),
        wanted=c.quantity(wanted, sums.unit),
    )


def _drained(c: Context, _: Finding, rest: str) -> str:
    key = rest.partition(":")[0]
    name, sums = _sums(c, key)
    fluid = c.fluid(key)
    compared = balance_of(c.state, fluid, sums) if fluid and sums else None
    if sums is None or compared is None:
        return ""
    gone, added = (c.quantity(x, sums.unit) for x in (sums.poured_out, sums.poured_in))
    corrected = compared.corrected.exact
    if corrected == sums.poured_out:
        return c.t.say(
            "{fluid}: {gone} came out and {added} went in.", fluid=name, gone=gone, added=added
        )
    return c.t.say(
        "{fluid}: {gone} came out ({corrected} at the new fluid's temperature) and {added} went "
        "in.",
        fluid=name,
        gone=gone,
        added=added,
        corrected=c.quantity(corrected, sums.unit),
    )


def _came_out(c: Context, _finding: Finding, rest: str) -> str:
    key, _, way = rest.partition(":")
    name, sums = _sums(c, key)
    if sums is None or sums.specified is None:
        return ""
    gone, usual = (c.quantity(x, sums.unit) for x in (sums.poured_out, sums.specified))
    if way == "more":
        return c.t.say(
            "{fluid}: {gone} came out; a service usually brings {usual}. The unit may have been "
            "too full.",
            fluid=name,
            gone=gone,
            usual=usual,
        )
    return c.t.say(
        "{fluid}: {gone} came out; a service usually brings {usual}. The unit may have been low on "
        "fluid.",
        fluid=name,
        gone=gone,
        usual=usual,
    )


def _window(c: Context, finding: Finding, rest: str) -> str:
    t, step, entry = c.t, step_named(c.state.sheet, finding.step), c.by_id.get(rest)
    if step is None or step.window is None or entry is None:
        return ""
    limits = window_limits(c, step.window)
    if before_its_start(c, step.window, entry):
        return t.say(
            "“{step}” came before “{start}” and does not count; it counts {limits} after it.",
            step=_title(c, step.key),
            start=_title(c, step.window.since),
            limits=limits,
        )
    passed = since_start(c, step.window, entry)
    if passed is None:
        return ""
    text = t.say(
        "“{step}” was done {passed} after “{start}”; the right time is {limits} after it.",
        step=_title(c, step.key),
        passed=seconds_text(c, passed.seconds, step.window),
        start=_title(c, step.window.since),
        limits=limits,
    )
    if finding.kind is not FindingKind.UNSURE:
        return text
    doubt = t.say("The machine was restarted in between, so that this time is not sure.")
    return f"{text} {doubt}"


def _fan(c: Context, finding: Finding, _: str) -> str:
    cycles = _figure(finding, r"ran (\d+) times")
    return c.t.say(
        "The cooling fan ran {n} times before the level was read; the fluid was hotter than needed "
        "and stands a little higher.",
        n=cycles,
    )


def _clock(c: Context, finding: Finding, _: str) -> str:
    jumps = {entry.id: jump for entry, jump in clock_jumps(c.state.entries)}
    jump = jumps.get(finding.entry or "")
    if jump is None:
        return ""
    amount = c.t.span(abs(jump))
    if jump > 0:
        return c.t.say(
            "The computer's clock was set forward by {amount} during the job; measured times do "
            "not depend on it.",
            amount=amount,
        )
    return c.t.say(
        "The computer's clock was set back by {amount} during the job; measured times do not "
        "depend on it.",
        amount=amount,
    )


def _meter(c: Context, finding: Finding, _: str) -> str:
    t, lower = c.t, lower_meters(c.state, c.history)
    pair = next((p for p in lower if p[0].entry and p[0].entry.id == finding.entry), None)
    if pair is None:
        return ""
    now, before = (c.quantity(x.reading.value, x.reading.unit) for x in pair)
    meter = t.say("Hour meter") if pair[0].reading.unit == "h" else t.say("Odometer")
    reason = t.say("A new instrument cluster, for instance, may explain that.")
    if pair[1].entry:
        told = t.say(
            "{meter}: {now}, less than earlier in this job ({before}).",
            meter=meter,
            now=now,
            before=before,
        )
    else:
        told = t.say(
            "{meter}: {now}, less than at an earlier job ({before}, {date}).",
            meter=meter,
            now=now,
            before=before,
            date=t.date(pair[1].at),
        )
    return f"{told} {reason}"


def _label(c: Context, finding: Finding, _: str) -> str:
    photo = next((p for p in c.state.photos if p.entry.id == finding.entry), None)
    if photo is None:
        return ""
    label, own = unlike_ends(vin_on(photo), own_vin(c.state))
    return c.t.say(
        "The VIN on a photographed label ends in {label}, this vehicle's in {own}.",
        label=label,
        own=own,
    )


def _unit(c: Context, _: Finding, rest: str) -> str:
    t, sheet = c.t, c.state.sheet
    applies, title = sheet.applies, t.sheet(sheet.sheet.title)
    names = {"type": applies.to, "engine": applies.engines}.get(rest, ())
    unit = c.opened("unit", rest)
    if rest == "vin":
        return t.say("The VIN {vin} is not one that “{sheet}” is for.", vin=unit, sheet=title)
    if rest == "type" and not unit:
        return t.say(
            "“{sheet}” is for {units}; which unit it is was not said.",
            sheet=title,
            units=t.listing([clean(n) for n in names]),
        )
    excluded = exclusions(sheet, unit) if rest == "type" else []
    if excluded:
        why = "; ".join(t.sheet(one) for one in whys(excluded))
        return t.say("“{sheet}” is not for {unit}: {why}.", sheet=title, unit=unit, why=why)
    if not names:
        return t.say("“{sheet}” is not for {unit}.", sheet=title, unit=unit)
    return t.say(
        "“{sheet}” is for {units}, not for {unit}.",
        sheet=title,
        units=t.listing([clean(n) for n in names]),
        unit=unit,
    )


def _missing(c: Context, _finding: Finding, rest: str) -> str:
    key, _, what = rest.partition(":")
    state = c.state.step(key)
    if state is None:
        return ""
    if what == "step":
        return c.t.say("“{step}” was not reported as done.", step=_title(c, key))
    return c.t.say(
        "At “{step}” this is missing: {what}.",
        step=_title(c, key),
        what=lacking(c, state.step, what),
    )


_RULES: dict[str, Callable[[Context, Finding, str], str]] = {
    "order": _order,
    "condition": _condition,
    "stage": _stage,
    "spec": _spec,
    "wrench": _wrench,
    "part": _part,
    "quantity": _quantity,
    "drained": _drained,
    "came-out": _came_out,
    "window": _window,
    "fan": _fan,
    "clock": _clock,
    "meter": _meter,
    "label": _label,
    "unit": _unit,
    "missing": _missing,
}
