"""The parts and fluids that were used, and how that is known."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.job.label_codes import is_number
from joblog.job.marks import undone_by
from joblog.report.context import Context
from joblog.report.model import Supply
from joblog.report.pictures import codes_in
from joblog.report.text import clean
from joblog.sheet.model import SparePart, Step


def supplies(c: Context) -> tuple[Supply, ...]:
    """Return the parts and fluids that were used."""
    return tuple(_parts(c) + _fluids(c))


@dataclass(frozen=True)
class _Fitting:
    """One time that a part was fitted at a step; not ``new`` where the used one was put back."""

    step: Step
    new: bool


def _parts(c: Context) -> list[Supply]:
    rows = []
    for part in c.state.sheet.parts:
        steps = [step for step in c.state.sheet.steps if part.key in step.parts]
        fittings = [
            _Fitting(step, _is_new(c, part, step, time))
            for step in steps
            for time in _times(c, step)
        ]
        if not fittings:
            continue
        amount, number = c.t.number(_amount(part, steps, fittings)), clean(part.number or "")
        how, evidence = c.t.sheet(part.fitted), _evidence(c, part, fittings)
        rows.append(Supply(c.t.sheet(part.name), number, amount, how, evidence))
    return rows


def _times(c: Context, step: Step) -> list[range]:
    """Return every time that ``step`` was done, each as the part of the record that it spans.

    A time goes on until the step is undone: done again it takes another part. Where it was told
    before the thing came off for the first time, nothing was fitted then.
    """
    times, begin, done = [], 0, False
    for mark in c.state.marks:
        if mark.step == step.key:
            done = True
        elif done and step.key in undone_by(c.state.sheet, mark):
            if not mark.first:
                times.append(range(begin, mark.root.seq))
            begin, done = mark.root.seq, False
    return [*times, range(begin, len(c.state.entries))] if done else times


def _is_new(c: Context, part: SparePart, step: Step, time: range) -> bool:
    """Say whether the part was new: it was, unless the used one was told of last in that time."""
    told = [
        event.entry.body.get("state")
        for event in c.history.of("part")
        if event.entry.body.get("part") == part.key
        and event.entry.body.get("step") in (step.key, None)
        and event.entry.seq in time
    ]
    return told[-1:] != ["reused"]


def _amount(part: SparePart, steps: list[Step], fittings: list[_Fitting]) -> int:
    """Return how many new ones were used; the sheet's quantity is of all its steps together."""
    new = [sum(f.new for f in fittings if f.step is step) for step in steps]
    each, rest = divmod(part.quantity, len(steps))
    return part.quantity * max(new) if rest else each * sum(new)


def _evidence(c: Context, part: SparePart, fittings: list[_Fitting]) -> str:
    """Return how it is known that the part was used, and how often."""
    used_again = sum(not fitting.new for fitting in fittings)
    if used_again == len(fittings):
        return c.t.say("no new one: the used one was put back")
    titles = {fitting.step.key: c.t.sheet(fitting.step.title) for fitting in fittings}
    known = [c.t.say("with the step “{step}”", step=title) for title in titles.values()]
    told = [_scanned(c, part.number) or c.t.listing(known)]
    if len(fittings) > len(titles):
        told.append(c.t.say("fitted {n} times", n=c.t.number(len(fittings))))
    if used_again:
        told.append(
            c.t.count(
                "once the used one was put back",
                "{n} times the used one was put back",
                used_again,
            )
        )
    return "; ".join(told)


def _fluids(c: Context) -> list[Supply]:
    rows = []
    for state in c.state.fluids:
        fluid = c.fluid(state.key)
        if fluid is None or not state.all_in:
            continue
        evidence = _scanned(c, fluid.specification) or c.t.say("sum of what was recorded")
        amount = c.quantity(state.all_in, state.unit)  # with what was drained again
        name, kind = c.t.sheet(fluid.name), c.t.sheet(fluid.specification)
        rows.append(Supply(name, kind, amount, "", evidence))
    return rows


def _scanned(c: Context, number: str | None) -> str:
    """Return where a bar code with this number was read; '' where none was."""
    for photo in c.state.photos:
        for code in codes_in(photo):
            if is_number(code, clean(number or "")):
                n = c.photo_numbers[photo.entry.id]
                return c.t.say("bar code {code} read in photo {n}", code=code, n=n)
    return ""
