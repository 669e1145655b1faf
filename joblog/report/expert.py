"""The pages for the expert: every value, step, part, finding and correction with its evidence."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from joblog.job.guard_quantity import balance_of, step_drains, tolerance
from joblog.job.guard_wanted import missing_key
from joblog.job.types import FindingKind, FluidState, Photo, StepState, StepStatus, Value
from joblog.job.values import converted, pour_steps, value_of
from joblog.measure.colour import delta_e_2000
from joblog.record.entry import Entry
from joblog.report.charts.gauge import gauge
from joblog.report.context import Context, how_known, value_name
from joblog.report.ending import about, mended, stands
from joblog.report.kinds import kind_name, lacking
from joblog.report.language import Number
from joblog.report.model import Caution, Fact, Measured, Step, Struck, Supply
from joblog.report.numbers import as_decimal, as_lab
from joblog.report.pictures import codes_in, describe
from joblog.report.quantity import reader_units, sign
from joblog.report.text import clean, sentence
from joblog.report.windows import WindowReading, seconds_text, window_readings
from joblog.sheet.model import Window

ZERO, ONE = Decimal(0), Decimal(1)
_PHOTOS_TOLD = 4  # more photos of one step than these are only numbered in the order of work


def measured(c: Context) -> tuple[Measured, ...]:
    """Return every value of the job beside what was specified, in the order of the work."""
    single = [v for v in c.state.values if v.entry.kind != "quantity"]
    rows = [(value.entry.seq, _value(c, value, i)) for i, value in enumerate(single)]
    rows += [*_levels(c), *_windows(c), *_sums(c), *_colours(c)]
    return tuple(row for _, row in sorted(rows, key=lambda pair: pair[0]))


def verdict(c: Context, inside: bool | None) -> str:
    """Return the verdict in one word or two."""
    if inside is None:
        return c.t.say("no limit given")
    return c.t.say("inside") if inside else c.t.say("outside")


def _verdict(c: Context, inside: bool | None, *, unsure: bool, early: bool) -> str:
    """Return the verdict; a value from before its window's start says nothing of what is wanted."""
    if early:
        return c.t.say("too early, not counted")
    return c.t.say("not sure") if unsure else verdict(c, inside)


def _mended(text: str, ended: str) -> str:
    """Return a verdict with how it was mended: 'outside, corrected'."""
    return f"{text}, {ended}" if ended else text


def _value(c: Context, value: Value, index: int) -> Measured:
    unit = value.spec_unit or value.unit
    how, sure = how_known(c, value.entry)
    unknown = bool(value.adapter) and value.in_spec_unit is None  # by which wrench, nobody said
    inside = None if unknown or value.early else value.within
    exact = value.in_spec_unit if value.in_spec_unit is not None else Fraction(value.value)
    name = value_name(c, value)
    ended = mended(c, "window" if value.early else "spec", value.entry.id)
    ended = c.t.say("undone later") if value.undone else ended
    said = _mended(_verdict(c, inside, unsure=unknown, early=value.early), ended)
    text = c.t.say("{name}: {verdict}", name=name, verdict=said)
    return Measured(
        what=name,
        value=c.judged(value),
        specified=_specified(c, value, unit),
        verdict=said,
        inside=inside,
        gauge=""
        if unknown or value.early
        else gauge(f"g{index}", exact, value.low, value.high, text),
        gauge_text=text,
        how=how,
        sure=sure,
        at=c.t.time(value.entry.at, seconds=True),
        tool=_tool(c, value),
        struck=tuple(_struck(c, old) for old in value.corrected_from),
        parts=_as_recorded(c, value),
        mended=bool(ended),
    )


def _as_recorded(c: Context, value: Value) -> tuple[str, ...]:
    """Return the value in the unit that was said, where the reader's units are others."""
    if value.adapter and value.in_spec_unit is not None:
        return (c.t.say("the wrench at {figure}", figure=c.quantity(value.value, value.unit)),)
    if value.unit in reader_units(value.unit, c.units):
        return ()
    return (c.t.say("recorded as {said}", said=_said(c, value)),)


def _said(c: Context, value: Value) -> str:
    """Return a value as it was recorded, in no other unit."""
    return f"{c.t.number(value.value)}\u00a0{sign(value.unit)}"


def _specified(c: Context, value: Value, unit: str) -> str:
    if value.nominal is not None and value.low is not None and value.high is not None:
        spread = c.between(value.low, value.high, unit)
        return c.t.say(
            "{nominal}, from {spread}", nominal=c.quantity(value.nominal, unit), spread=spread
        )
    return c.between(value.low, value.high, unit)


def _tool(c: Context, value: Value) -> str:
    step = next((s for s in c.state.sheet.steps if s.key == value.step), None)
    if value.entry.kind != "torque" or step is None:
        return ""
    tools = [t for t in c.state.sheet.tools if t.key in step.tools and t.highest is not None]
    named = [t for t in c.state.sheet.tools if t.key == value.wrench] or tools
    if len(named) != 1:
        return ""  # of several wrenches nobody said which
    tool = named[0]
    spread = ""
    if tool.highest is not None:
        low = tool.lowest.value if tool.lowest else None
        spread = c.between(low, tool.highest.value, tool.highest.unit)
    adapter = next((t for t in c.state.sheet.tools if t.key == value.adapter), None)
    through = f"; {c.t.sheet(adapter.name)}" if adapter is not None else ""
    return f"{c.t.sheet(tool.name)}{f', {spread}' if spread else ''}{through}"


def _struck(c: Context, old: Entry) -> Struck:
    return Struck(entry_value(c, old), c.t.time(old.at, seconds=True))


def entry_value(c: Context, entry: Entry) -> str:
    """Return the value that an entry holds, as it would be shown."""
    text = str(entry.body.get("value", ""))
    try:
        return c.quantity(Fraction(text), str(entry.body.get("unit", "")))
    except (ValueError, ZeroDivisionError):
        return clean(text)


def _levels(c: Context) -> list[tuple[int, Measured]]:
    rows = []
    for photo in c.state.photos:
        level = as_decimal(photo.measurement.get("level_fraction"))
        if photo.kind != "dipstick" or level is None or not photo.usable:
            continue
        final = photo.phase != "before" and not photo.early
        inside = (ZERO <= level <= ONE) if final else None
        rows.append((photo.entry.seq, _level(c, photo, level, inside)))
    return rows


def _level(c: Context, photo: Photo, level: Decimal, inside: bool | None) -> Measured:
    t = c.t
    doubt = as_decimal(photo.measurement.get("level_uncertainty"))
    phases = {"before": t.say("Fluid level as found"), "after": t.say("Fluid level afterwards")}
    name = phases.get(photo.phase) or t.say("Fluid level")
    found = about(c, "level", photo.entry.id)
    unsure = found is not None and found.kind is FindingKind.UNSURE  # too near a mark to tell
    ends = [mended(c, rule, photo.entry.id) for rule in ("level", "window")]
    ended = next((x for x in ends if x), "")
    said = _mended(_verdict(c, inside, unsure=unsure, early=photo.early), ended)
    text = t.say("{name}: {verdict}", name=name, verdict=said)
    number = c.photo_numbers[photo.entry.id]
    return Measured(
        what=name,
        value=c.share(level),
        specified=t.say("0% to 100% between the marks") if inside is not None else "",
        verdict=said,
        inside=None if unsure else inside,
        gauge=gauge(f"l{number}", level, ZERO, ONE, text) if inside is not None else "",
        gauge_text=text,
        how=t.say("measured in photo {n}", n=number),
        sure=t.say("± {doubt}", doubt=t.percent(doubt)) if doubt is not None else "",
        at=t.time(photo.entry.at, seconds=True),
        mended=bool(ended),
    )


def _windows(c: Context) -> list[tuple[int, Measured]]:
    rows = []
    for state in c.state.steps:
        window = state.step.window
        if window is None:
            continue
        for read in window_readings(c, state):
            rows.append((read.entry.seq, _window(c, state, window, read)))
    return rows


def _window(c: Context, state: StepState, window: Window, read: WindowReading) -> Measured:
    how = c.t.say("from the clock that no one can set")
    said = verdict(c, read.inside)
    if read.inside is None:
        said = c.t.say("not sure")
        how = c.t.say("from the wall clock, as the machine was restarted in between")
    name = c.t.say("Time from “{start}” to the reading", start=c.step_title(window.since))
    name = _of_numbers(c, state, read.numbers, name)
    text = c.t.say("{name}: {verdict}", name=name, verdict=said)
    return Measured(
        what=name,
        value=seconds_text(c, read.seconds, window),
        specified=c.between(window.opens, window.closes, "s"),
        verdict=said,
        inside=read.inside,
        gauge=gauge(f"w{read.entry.seq}", read.seconds, window.opens, window.closes, text),
        gauge_text=text,
        how=how,
        sure="",
        at=c.t.time(c.root(read.entry).at, seconds=True),
    )


def _of_numbers(c: Context, state: StepState, numbers: tuple[int, ...], name: str) -> str:
    """Return ``name`` with the numbers of the fasteners that it is about."""
    torque = state.step.torque
    if torque is None or not numbers:
        return name
    if len(numbers) == torque.count:
        return c.t.say("{name} (all {count})", name=name, count=torque.count)
    which = c.t.listing([str(number) for number in numbers])
    return c.t.say("{name} (no. {which})", name=name, which=which)


def filling_over(c: Context, key: str) -> bool:
    """Return whether the steps at which a fluid goes in are done; optional ones may be left."""
    into = pour_steps(c.state.sheet, key, "in")
    wanted = [s for s in into if not s.optional] or into
    done = {s.step.key for s in c.done}
    return all(s.key in done for s in wanted)


def by_what_came_out(c: Context, fluid: FluidState) -> bool:
    """Return whether what goes in is judged by what came out, as the guard does."""
    too_full = any(f.key.startswith(f"quantity:{fluid.key}:") for f in c.state.findings)
    return step_drains(c.state, fluid.key) and fluid.poured_out > 0 and not too_full


def fluid_limits(c: Context, fluid: FluidState) -> tuple[Number | None, Number | None]:
    """Return how much of ``fluid`` may go in, in its unit: what the guard allows.

    That is as much as came out where that is measured, else the sheet's amount.
    """
    wanted = c.fluid(fluid.key)
    if wanted is None:
        return None, None
    middle = None if fluid.specified is None else Fraction(fluid.specified)
    room = None if middle is None else tolerance(wanted, middle, fluid.unit)
    if by_what_came_out(c, fluid):
        compared = balance_of(c.state, wanted, fluid)
        room = tolerance(wanted, fluid.poured_out, fluid.unit)
        middle = fluid.poured_out if compared is None else compared.corrected.exact
    if middle is None or room is None:
        return None, None
    return max(middle - room, Fraction(0)), middle + room


def _colours(c: Context) -> list[tuple[int, Measured]]:
    """Return how far the new fluid's colour is from the old one's, where both were measured."""
    seen = [(p, p.measurement.get("lab")) for p in c.state.photos if p.kind == "fluid" and p.usable]
    good = [(p, lab) for p, raw in seen if (lab := as_lab(raw)) is not None]
    if len(good) < 2:
        return []
    (first, old), (last, new) = good[0], good[-1]
    numbers = [c.photo_numbers[first.entry.id], c.photo_numbers[last.entry.id]]
    row = Measured(
        what=c.t.say("Colour of the fluid, last against first"),
        value=f"ΔE₀₀\u00a0{c.t.number(Fraction(delta_e_2000(old, new)), 0)}",
        specified="",
        verdict=verdict(c, None),
        inside=None,
        gauge="",
        gauge_text="",
        how=c.t.say(
            "CIEDE2000 between photos {first} and {last}", first=numbers[0], last=numbers[1]
        ),
        sure="",
        at=c.t.time(last.entry.at, seconds=True),
    )
    return [(last.entry.seq, row)]


def _sums(c: Context) -> list[tuple[int, Measured]]:
    """Return what went out and in of each fluid: the sum, with what it is made of beneath."""
    rows = []
    for fluid in c.state.fluids:
        for direction in ("out", "in"):
            pours = [
                v
                for v in c.state.values
                if v.entry.kind == "quantity"
                and v.entry.body.get("fluid") == fluid.key
                and v.entry.body.get("direction") == direction
            ]
            if pours:
                rows.append((pours[-1].entry.seq, _sum(c, fluid, pours, direction)))
    return rows


def _sum(c: Context, fluid: FluidState, pours: list[Value], direction: str) -> Measured:
    into = direction == "in"
    total = fluid.poured_in if into else fluid.poured_out
    low, high = fluid_limits(c, fluid) if into else (None, None)
    inside, said = _sum_verdict(c, fluid, total, low, high)
    name, last = value_name(c, pours[-1]), pours[-1]
    counted = [pour for pour in pours if not pour.undone]
    text = c.t.say("{name}: {verdict}", name=name, verdict=said)
    how, sure = how_known(c, last.entry)
    several = len(pours) > 1 or not counted
    if len(counted) > 1:
        how, sure = c.t.say("sum of {n} amounts", n=c.t.number(len(counted))), ""
    specified = c.between(low, high, fluid.unit)
    if into and specified and by_what_came_out(c, fluid):
        specified = c.t.say("{limits} (by what came out)", limits=specified)
    return Measured(
        what=name,
        value=c.quantity(total, fluid.unit),
        specified=specified,
        verdict=said,
        inside=inside,
        gauge=gauge(f"s{last.entry.seq}", total, low, high, text),
        gauge_text=text,
        how=how,
        sure=sure,
        at=c.t.time(last.entry.at, seconds=True),
        struck=() if several else tuple(_struck(c, old) for old in last.corrected_from),
        parts=tuple(_pour(c, pour) for pour in pours) if several else (),
    )


def _sum_verdict(
    c: Context, fluid: FluidState, total: Fraction, low: Number | None, high: Number | None
) -> tuple[bool | None, str]:
    """Return whether a sum is inside, and in words: below its limits nothing is said too early."""
    if low is None or high is None:
        return None, verdict(c, None)
    if total < low and not filling_over(c, fluid.key):
        return None, c.t.say("filling not finished")
    return low <= total <= high, verdict(c, low <= total <= high)


def _pour(c: Context, pour: Value) -> str:
    """Return one amount of a sum as it was recorded, with what it was before a correction.

    Amounts that are each rounded to another unit would not add up to their rounded sum.
    """
    how, sure = how_known(c, pour.entry)
    amount, at = _said(c, pour), c.t.time(pour.entry.at, seconds=True)
    for old in pour.corrected_from:
        was, before = value_of(c.state.sheet, old), c.t.time(old.at, seconds=True)
        said = _said(c, was) if was else entry_value(c, old)
        amount = c.t.say("{amount} (was {old}, {at})", amount=amount, old=said, at=before)
    undone = c.t.say("undone later") if pour.undone else ""
    return ", ".join(x for x in (amount, at, how, sure, undone) if x)


def steps(c: Context) -> tuple[Step, ...]:
    """Return the order of work as it was, then the steps that were not done."""
    rows = [_step(c, state, i) for i, state in enumerate(c.done, 1)]
    left = [s for s in c.state.steps if s.status is StepStatus.OPEN]
    rows += [_step(c, state, len(rows) + i) for i, state in enumerate(left, 1)]
    return tuple(rows)


def _step(c: Context, state: StepState, number: int) -> Step:
    t = c.t
    done = state.status is not StepStatus.OPEN
    details = list(_amounts(c, state.values))
    details += _photos(c, state.photos)
    if state.missing and done:
        missing = t.listing([lacking(c, state.step, missing_key(state, m)) for m in state.missing])
        details.append(t.say("still missing: {what}", what=missing))
    details += _see_findings(c, state)
    status = t.say("done") if state.status is StepStatus.DONE else t.say("done, not complete")
    if not done:
        status = t.say("optional, not done") if state.step.optional else t.say("not done")
    at = t.time(state.at, seconds=True) if state.at else ""
    return Step(number, t.sheet(state.step.title), at, status, done, tuple(details))


def _see_findings(c: Context, state: StepState) -> list[str]:
    """Return a pointer to each kind of finding that stands at a step; missing things are told."""
    kinds = [
        f.kind
        for f in c.state.findings
        if f.step == state.step.key and f.kind is not FindingKind.MISSING and stands(f)
    ]
    return [
        c.t.say("see the finding: {kind}", kind=kind_name(c, kind)) for kind in dict.fromkeys(kinds)
    ]


def _photos(c: Context, photos: tuple[Photo, ...]) -> list[str]:
    """Return a line a photo, or only their numbers where they are many."""
    numbers = [c.photo_numbers[photo.entry.id] for photo in photos]
    if len(photos) > _PHOTOS_TOLD:
        return [c.t.say("photos {numbers}", numbers=c.t.listing([str(n) for n in numbers]))]
    lines = []
    for photo, number in zip(photos, numbers, strict=True):
        words = describe(c, photo)
        said = " ".join(x for x in (words.figure, words.caption) if x)
        lines.append(c.t.say("photo {n}: {said}", n=number, said=said))
    return lines


def _amounts(c: Context, values: tuple[Value, ...]) -> Iterator[str]:
    """Yield 'name: value' for each name: amounts of fluid add up, of the rest the last one counts.

    A temperature read or a bolt tightened twice has its earlier values told as earlier.
    """
    grouped: dict[str, list[Value]] = {}
    for value in values:
        grouped.setdefault(value_name(c, value), []).append(value)
    for name, group in grouped.items():
        shown = [c.judged(value) for value in group]
        if group[0].entry.kind == "quantity":
            yield f"{name}: {_added(c, group)}"
        elif shown[:-1]:
            yield c.t.say(
                "{name}: {value} (earlier: {others})",
                name=name,
                value=shown[-1],
                others=c.t.listing(shown[:-1]),
            )
        else:
            yield f"{name}: {shown[0]}"


def _added(c: Context, pours: list[Value]) -> str:
    """Return amounts joined by plus signs as they were recorded, and their sum where converted."""
    if len(pours) == 1:
        return c.quantity(pours[0].value, pours[0].unit)
    parts, unit = " + ".join(_said(c, pour) for pour in pours), pours[0].unit
    exact = [converted(pour.value, pour.unit, unit) for pour in pours]
    if unit in reader_units(unit, c.units) or None in exact:
        return parts
    total = c.quantity(sum((x for x in exact if x is not None), Fraction(0)), unit)
    return f"{total} ({c.t.say('recorded as {said}', said=parts)})"


def supplies(c: Context) -> tuple[Supply, ...]:
    """Return the parts and fluids that were used."""
    return tuple(_parts(c) + _fluids(c))


def _parts(c: Context) -> list[Supply]:
    used = [(key, s) for s in c.done for key in s.step.parts]
    rows = []
    for part in c.state.sheet.parts:
        states = [s for key, s in used if key == part.key]
        if not states:
            continue
        step = c.t.sheet(states[-1].step.title)
        evidence = _scanned(c, part.number) or c.t.say("with the step “{step}”", step=step)
        amount, number = c.t.number(part.quantity), clean(part.number or "")
        fitted = c.t.sheet(part.fitted)
        rows.append(Supply(c.t.sheet(part.name), number, amount, fitted, evidence))
    return rows


def _fluids(c: Context) -> list[Supply]:
    rows = []
    for state in c.state.fluids:
        fluid = c.fluid(state.key)
        if fluid is None or not state.poured_in:
            continue
        evidence = _scanned(c, fluid.specification) or c.t.say("sum of what was recorded")
        amount = c.quantity(state.poured_in, state.unit)
        name, kind = c.t.sheet(fluid.name), c.t.sheet(fluid.specification)
        rows.append(Supply(name, kind, amount, "", evidence))
    return rows


def _scanned(c: Context, number: str | None) -> str:
    """Return where a bar code with this number was read; '' where none was."""
    wanted = clean(number or "").casefold()
    for photo in c.state.photos:
        for code in codes_in(photo):
            if wanted and (code.casefold() in wanted or wanted in code.casefold()):
                n = c.photo_numbers[photo.entry.id]
                return c.t.say("bar code {code} read in photo {n}", code=code, n=n)
    return ""


def cautions(c: Context) -> tuple[Caution, ...]:
    """Return the cautions of the sheet."""
    return tuple(
        Caution(sentence(c.t.sheet(x.text)), clean(x.source or "")) for x in c.state.sheet.cautions
    )


def notes(c: Context) -> tuple[Fact, ...]:
    """Return the notes with their times; dictated ones say that nobody checked them."""
    found = []
    for e in c.state.notes:
        text = sentence(clean(e.body.get("text", "")))
        if e.body.get("dictated"):
            text = c.t.say("{text} (Written down by the machine; words not checked.)", text=text)
        found.append(Fact(c.t.time(e.at, seconds=True), text))
    return tuple(found)
