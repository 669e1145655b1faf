"""The parts and fluids that were used, and how that is known."""

from __future__ import annotations

from joblog.job.label_codes import is_number
from joblog.job.marks import undone_by
from joblog.job.types import Mark
from joblog.report.context import Context
from joblog.report.model import Supply
from joblog.report.pictures import codes_in
from joblog.report.text import clean
from joblog.sheet.model import SparePart, Step


def supplies(c: Context) -> tuple[Supply, ...]:
    """Return the parts and fluids that were used."""
    return tuple(_parts(c) + _fluids(c))


def _parts(c: Context) -> list[Supply]:
    rows = []
    for part in c.state.sheet.parts:
        steps = [step for step in c.state.sheet.steps if part.key in step.parts]
        fitted = {step.key: _fitted(c, part, step) for step in steps}
        done = [step for step in steps if fitted[step.key]]
        if not done:
            continue
        amount, number = c.t.number(_amount(part, fitted)), clean(part.number or "")
        evidence = _evidence(c, part, done, [new for step in done for new in fitted[step.key]])
        how = c.t.sheet(part.fitted)
        rows.append(Supply(c.t.sheet(part.name), number, amount, how, evidence))
    return rows


def _fitted(c: Context, part: SparePart, step: Step) -> list[bool]:
    """Return, for every time that ``part`` was fitted at ``step``, whether it was a new one.

    A step that was undone is done with another part. Where it was told before the thing came off
    for the first time, nothing was fitted then.
    """
    found, begun, now = [], -1, False
    for mark in c.state.marks:
        if mark.step == step.key:
            now = True
        elif step.key in undone_by(c.state.sheet, mark) and now:
            if not mark.first:
                found.append(_new(c, part, step, begun, mark))
            begun, now = mark.root.seq, False
    return [*found, _new(c, part, step, begun, None)] if now else found


def _new(c: Context, part: SparePart, step: Step, begun: int, undone: Mark | None) -> bool:
    """Say whether the part that was fitted between two places in the record was a new one.

    It was, unless what was told of it last there is that the old one was used again.
    """
    told = [
        event.entry.body.get("state")
        for event in c.history.of("part")
        if event.entry.body.get("part") == part.key
        and event.entry.body.get("step") in (step.key, None)
        and begun < event.entry.seq < (undone.root.seq if undone else len(c.state.entries))
    ]
    return told[-1:] != ["reused"]


def _amount(part: SparePart, fitted: dict[str, list[bool]]) -> int:
    """Return how many new ones were used; the sheet's quantity is of all its steps together."""
    times = [sum(new) for new in fitted.values()]
    each, rest = divmod(part.quantity, len(times))
    return part.quantity * max(times) if rest else each * sum(times)


def _evidence(c: Context, part: SparePart, done: list[Step], fitted: list[bool]) -> str:
    """Return how it is known; ``fitted`` says of every time whether the part was a new one."""
    if not any(fitted):
        return c.t.say("no new one: the used one was put back")
    titles = [c.t.sheet(step.title) for step in done]
    known = [c.t.say("with the step “{step}”", step=title) for title in titles]
    told = [_scanned(c, part.number) or c.t.listing(known)]
    if len(fitted) > len(done):
        told.append(c.t.say("fitted {n} times", n=c.t.number(len(fitted))))
    if not all(fitted):
        told.append(
            c.t.count(
                "once the used one was put back",
                "{n} times the used one was put back",
                fitted.count(False),
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
