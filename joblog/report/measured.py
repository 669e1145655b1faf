"""Every value of the job beside what was specified, with its evidence."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.job.guard_values import too_tight
from joblog.job.photos import taken_with
from joblog.job.types import FindingKind, Photo, StepState, Value
from joblog.measure.colour import delta_e_2000
from joblog.report.charts.gauge import gauge
from joblog.report.context import Context, how_known, of_fastener, value_name_at
from joblog.report.ending import about, mended
from joblog.report.model import Measured
from joblog.report.numbers import as_decimal, as_lab
from joblog.report.past import Lab, fluid_as_found
from joblog.report.quantity import reader_units
from joblog.report.sums import sums
from joblog.report.telling import struck, value_said, verdict
from joblog.report.trends import dated
from joblog.report.windows import WindowReading, seconds_text, window_limits, window_readings
from joblog.sheet.model import Window

ZERO, ONE = Decimal(0), Decimal(1)
_EARLIER_COLOURS = 3  # services that the fluid as found is compared with


def measured(c: Context) -> tuple[Measured, ...]:
    """Return every value of the job beside what was specified, in the order of the work."""
    single = [v for v in c.state.values if v.entry.kind != "quantity"]
    rows = [(value.entry.seq, _value(c, value, i)) for i, value in enumerate(single)]
    rows += [*_levels(c), *_windows(c), *sums(c), *_colours(c)]
    return tuple(row for _, row in sorted(rows, key=lambda pair: pair[0]))


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
    # By which wrench, nobody said; or a newer joblog recorded a unit that this one doesn't know.
    unknown = bool(value.spec_unit) and value.in_spec_unit is None
    inside = None if unknown or value.early else value.within
    exact = value.in_spec_unit if value.in_spec_unit is not None else Fraction(value.value)
    name = value_name_at(c, value)
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
        else gauge(f"g{index}", exact, value.low, value.high, text, upper=value.upper_in_spec_unit),
        gauge_text=text,
        how=how,
        sure=sure,
        at=c.when(value.entry.at),
        tool=_tool(c, value),
        struck=tuple(struck(c, old) for old in value.corrected_from),
        parts=_as_recorded(c, value),
        mended=bool(ended),
        stays=not ended and too_tight(c.state.sheet, value),
    )


def _as_recorded(c: Context, value: Value) -> tuple[str, ...]:
    """Return the value in the unit that was said, where the reader's units are others."""
    if value.adapter and value.in_spec_unit is not None:
        return (c.t.say("the wrench at {figure}", figure=c.quantity(value.value, value.unit)),)
    if value.unit in reader_units(value.unit, c.units):
        return ()
    return (c.t.say("recorded as {said}", said=value_said(c, value)),)


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


def _levels(c: Context) -> list[tuple[int, Measured]]:
    rows = []
    for photo in c.state.photos:
        level = as_decimal(photo.level[0])
        if photo.kind != "dipstick" or level is None or not photo.usable:
            continue
        final = photo.phase != "before" and not photo.early
        inside = (ZERO <= level <= ONE) if final else None
        rows.append((photo.entry.seq, _level(c, photo, level, inside)))
    return rows


def _from_photos(c: Context, photo: Photo, number: int) -> str:
    numbers = [str(c.photo_numbers[i]) for i in taken_with(photo) if i in c.photo_numbers]
    if not numbers or not photo.together.get("usable"):
        return c.t.say("measured in photo {n}", n=number)
    listed = c.t.listing([*numbers, str(number)])
    return c.t.say("measured in photos {numbers} together", numbers=listed)


def _level(c: Context, photo: Photo, level: Decimal, inside: bool | None) -> Measured:
    t = c.t
    doubt = as_decimal(photo.level[1])
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
        how=_from_photos(c, photo, number),
        sure=t.say("± {doubt}", doubt=t.percent(doubt)) if doubt is not None else "",
        at=c.when(photo.entry.at),
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
    start = c.step_title(window.since)
    name = c.t.say("Time from “{start}” to the reading", start=start)
    if not (state.step.reading or state.step.photo or state.step.torque):  # it was only looked at
        end = c.step_title(state.step.key)
        name = c.t.say("Time from “{start}” to “{end}”", start=start, end=end)
    name = _of_numbers(c, state, read.numbers, name)
    text = c.t.say("{name}: {verdict}", name=name, verdict=said)
    return Measured(
        what=name,
        value=seconds_text(c, read.seconds, window),
        specified=window_limits(c, window),
        verdict=said,
        inside=read.inside,
        gauge=gauge(f"w{read.entry.seq}", read.seconds, window.opens, window.closes, text),
        gauge_text=text,
        how=how,
        sure="",
        at=c.when(c.root(read.entry).at),
    )


def _of_numbers(c: Context, state: StepState, numbers: tuple[int, ...], name: str) -> str:
    """Return ``name`` with the numbers of the fasteners that it is about."""
    torque = state.step.torque
    if torque is None:
        return name
    every = len(numbers) == torque.count
    which = "all" if every else c.t.listing([str(number) for number in numbers])
    return of_fastener(c, state.step, which, name)


def _colours(c: Context) -> list[tuple[int, Measured]]:
    """Return how far the fluid's colour is from that of others, where both were measured.

    The new fluid's from the old one's, and the old one's from what earlier services found.
    """
    seen = [(p, p.measurement.get("lab")) for p in c.state.photos if p.kind == "fluid" and p.usable]
    good = [(p, lab) for p, raw in seen if (lab := as_lab(raw)) is not None]
    rows = _colours_before(c)
    if len(good) < 2:
        return rows
    (first, old), (last, new) = good[0], good[-1]
    numbers = [c.photo_numbers[first.entry.id], c.photo_numbers[last.entry.id]]
    how = c.t.say("CIEDE2000 between photos {first} and {last}", first=numbers[0], last=numbers[1])
    what = c.t.say("Colour of the fluid, last against first")
    return [*rows, (last.entry.seq, _difference(c, what, how, last, (old, new)))]


def _colours_before(c: Context) -> list[tuple[int, Measured]]:
    """Return how far the fluid as found is from that of the last services on this sheet."""
    found = fluid_as_found(c.state)
    past = [p for p in c.earlier if p.colour and p.sheet == c.state.sheet.sheet.key]
    if found is None:
        return []
    rows = []
    for day, before in [*zip(dated(c, past), past, strict=True)][-_EARLIER_COLOURS:]:
        lab = as_lab(before.colour.split())
        if lab is None:
            continue
        what = c.t.say("Colour of the fluid as found, against {date}", date=day)
        number = c.photo_numbers[found[0].entry.id]
        how = c.t.say("CIEDE2000 between photo {n} and the earlier service", n=number)
        rows.append((found[0].entry.seq, _difference(c, what, how, found[0], (lab, found[1]))))
    return rows


def _difference(c: Context, what: str, how: str, photo: Photo, labs: tuple[Lab, Lab]) -> Measured:
    """Return the row of the difference of two colours that ``photo`` completes."""
    return Measured(
        what=what,
        value=f"ΔE₀₀\u00a0{c.t.number(Fraction(delta_e_2000(*labs)), 0)}",
        specified="",
        verdict=verdict(c, None),
        inside=None,
        gauge="",
        gauge_text="",
        how=how,
        sure="",
        at=c.when(photo.entry.at),
        parts=(c.t.say("0 is the same colour; the more, the more they differ"),),
    )
