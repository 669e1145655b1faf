"""Everything that can be wrong with a sheet beyond its form, found all at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from joblog.errors import InputError
from joblog.measure.units import unit_of
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Amount, Sheet
from joblog.sheet.subtle import subtle_mistakes


@dataclass(frozen=True)
class Complaint:
    """One mistake: where it stands and one sentence that says what is wrong and what to write."""

    path: FieldPath
    sentence: str


def check(sheet: Sheet) -> list[Complaint]:
    """Return every mistake that the form alone can't show, in the order of the sheet."""
    complaints: list[Complaint] = []
    for rule in (_duplicates, _references, _cycles, _units, _windows, _amounts, _exclusions):
        complaints.extend(rule(sheet))
    complaints.extend(Complaint(path, sentence) for path, sentence in subtle_mistakes(sheet))
    return complaints


def _duplicates(sheet: Sheet) -> Iterator[Complaint]:
    for table in ("steps", "parts", "tools", "fluids"):
        rows = getattr(sheet, table)
        seen = Counter(row.key for row in rows)
        for i, row in enumerate(rows):
            if seen[row.key] > 1:
                yield Complaint(
                    (table, i, "key"), f"the key '{row.key}' is used twice; give each its own"
                )
                seen[row.key] = 0
    first_user: dict[str, str] = {}
    for i, step in enumerate(sheet.steps):
        for phrase in step.say:
            plain = " ".join(phrase.split())
            other = first_user.setdefault(plain, step.key)
            if other != step.key:
                yield Complaint(
                    ("steps", i, "say"),
                    f"the phrase '{plain}' already marks step '{other}'; say it differently here",
                )


def _references(sheet: Sheet) -> Iterator[Complaint]:
    steps = {s.key for s in sheet.steps}
    known = {
        "step": steps,
        "part": {p.key for p in sheet.parts},
        "tool": {t.key for t in sheet.tools},
        "fluid": {f.key for f in sheet.fluids},
        "condition": set(sheet.conditions),
    }

    def unknown(kind: str, keys: Iterable[str], path: FieldPath) -> Iterator[Complaint]:
        for key in keys:
            if key not in known[kind]:
                have = ", ".join(sorted(known[kind])) or "none"
                yield Complaint(path, f"there is no {kind} '{key}' in this sheet (it has: {have})")

    for i, step in enumerate(sheet.steps):
        at: FieldPath = ("steps", i)
        yield from unknown("step", step.after, (*at, "after"))
        yield from unknown("step", step.before, (*at, "before"))
        yield from unknown("part", step.parts, (*at, "parts"))
        yield from unknown("tool", step.tools, (*at, "tools"))
        for name in ("sets", "clears", "only_when", "not_while"):
            yield from unknown("condition", getattr(step, name), (*at, name))
        if step.pour:
            yield from unknown("fluid", [step.pour.fluid], (*at, "pour", "fluid"))
        if step.window:
            yield from unknown("step", [step.window.since], (*at, "window", "since"))
    yield from unknown("condition", sheet.initially, ("initially",))
    for i, caution in enumerate(sheet.cautions):
        yield from unknown("step", caution.steps, ("cautions", i, "steps"))


def _cycles(sheet: Sheet) -> Iterator[Complaint]:
    earlier: dict[str, set[str]] = {s.key: set(s.after) for s in sheet.steps}
    for step in sheet.steps:
        for later in step.before:
            earlier.setdefault(later, set()).add(step.key)
    done: set[str] = set()
    for i, step in enumerate(sheet.steps):
        loop = _loop_from(step.key, earlier, done)
        if loop:
            yield Complaint(
                ("steps", i, "after"),
                f"the order goes round in a circle: {' after '.join(loop)}; take one 'after' out",
            )
            return  # every step on the circle would tell the same story again


def _loop_from(start: str, earlier: dict[str, set[str]], done: set[str]) -> list[str]:
    """Return one circle reachable from ``start``, or []; walks without recursion."""
    trail: list[str] = []
    stack = [(start, iter(sorted(earlier.get(start, ()))))]
    trail.append(start)
    while stack:
        _, rest = stack[-1]
        following = next(rest, None)
        if following is None:
            stack.pop()
            done.add(trail.pop())
        elif following in trail:
            return [*trail[trail.index(following) :], following]
        elif following not in done:
            trail.append(following)
            stack.append((following, iter(sorted(earlier.get(following, ())))))
    return []


def _units(sheet: Sheet) -> Iterator[Complaint]:
    def wrong(unit: str, wanted: str, path: FieldPath) -> Iterator[Complaint]:
        try:
            found = unit_of(unit).dimension
        except InputError as error:
            yield Complaint(path, str(error))
            return
        if wanted and found != wanted:
            yield Complaint(path, f"'{unit}' is a unit of {found}, but a {wanted} belongs here")

    for i, step in enumerate(sheet.steps):
        if step.torque:
            yield from wrong(step.torque.unit, "torque", ("steps", i, "torque", "unit"))
        if step.reading:
            yield from wrong(step.reading.unit, "", ("steps", i, "reading", "unit"))
    for i, fluid in enumerate(sheet.fluids):
        for name in ("service", "total", "container", "tolerance"):
            amount: Amount | None = getattr(fluid, name)
            if amount:
                yield from wrong(amount.unit, "volume", ("fluids", i, name, "unit"))
    for i, tool in enumerate(sheet.tools):
        for name in ("lowest", "highest"):
            limit: Amount | None = getattr(tool, name)
            if limit:
                yield from wrong(limit.unit, "torque", ("tools", i, name, "unit"))
    due = sheet.sheet.next_due
    if due and due.distance:
        yield from wrong(due.distance.unit, "length", ("sheet", "next_due", "distance", "unit"))


def _windows(sheet: Sheet) -> Iterator[Complaint]:
    for i, step in enumerate(sheet.steps):
        window = step.window
        if window and window.closes is not None and window.closes <= window.opens:
            yield Complaint(
                ("steps", i, "window"),
                f"the window closes at {window.closes} s, before it opens at {window.opens} s; "
                "write the later time as 'closes'",
            )
        reading = step.reading
        if reading and None not in (reading.low, reading.high) and reading.low > reading.high:  # type: ignore[operator]
            yield Complaint(
                ("steps", i, "reading"),
                f"'low' ({reading.low}) is above 'high' ({reading.high}); exchange them",
            )


def _amounts(sheet: Sheet) -> Iterator[Complaint]:
    for i, fluid in enumerate(sheet.fluids):
        for name in ("service", "total", "container"):
            amount: Amount | None = getattr(fluid, name)
            if amount and amount.value <= Decimal(0):
                yield Complaint(
                    ("fluids", i, name, "value"),
                    f"{amount.value} {amount.unit} is no quantity; write a number above zero",
                )
    for i, step in enumerate(sheet.steps):
        torque = step.torque
        if torque and torque.tolerance >= torque.value:
            yield Complaint(
                ("steps", i, "torque", "tolerance"),
                f"a tolerance of {torque.tolerance} allows {torque.value} {torque.unit} to be "
                "nothing at all; write it in the unit of the torque",
            )


def _exclusions(sheet: Sheet) -> Iterator[Complaint]:
    for i, exclusion in enumerate(sheet.applies.not_to):
        if exclusion.unit in sheet.applies.to:
            yield Complaint(
                ("applies", "not_to", i, "unit"),
                f"'{exclusion.unit}' stands both under 'to' and under 'not_to'; keep one",
            )
