"""Everything that can be wrong with a sheet beyond its form, found all at once.

The rules stand in ``check_*.py`` by what they look at; each yields complaints and leaves alone what
another rule tells. A mistake stops a job from being opened with the sheet, a remark doesn't.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable

from joblog.errors import InputError
from joblog.measure.units import unit_of
from joblog.sheet.check_fluids import FLUID_RULES
from joblog.sheet.check_names import NAME_RULES
from joblog.sheet.check_order import ORDER_RULES
from joblog.sheet.check_readings import READING_RULES
from joblog.sheet.check_times import TIME_RULES
from joblog.sheet.check_torques import TORQUE_RULES
from joblog.sheet.check_words import WORD_RULES
from joblog.sheet.complaints import Complaint, Found
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Amount, Sheet


def check(sheet: Sheet) -> list[Complaint]:
    """Return every mistake that the form alone can't show, and every remark."""
    return [complaint for rule in _RULES for complaint in rule(sheet)]


def _duplicates(sheet: Sheet) -> Found:
    for table in ("steps", "parts", "tools", "fluids"):
        rows = getattr(sheet, table)
        seen = Counter(row.key for row in rows)
        used: set[str] = set()
        for i, row in enumerate(rows):
            if seen[row.key] > 1 and row.key in used:
                yield Complaint(
                    (table, i, "key"), f"the key '{row.key}' is used twice; give each its own"
                )
            used.add(row.key)


def _references(sheet: Sheet) -> Found:
    known = {
        "step": {s.key for s in sheet.steps},
        "part": {p.key for p in sheet.parts},
        "tool": {t.key for t in sheet.tools},
        "fluid": {f.key for f in sheet.fluids},
        "condition": set(sheet.conditions),
    }

    def unknown(kind: str, keys: Iterable[str], path: FieldPath) -> Found:
        for key in keys:
            if key not in known[kind]:
                have = ", ".join(sorted(known[kind])) or "none"
                yield Complaint(path, f"there is no {kind} '{key}' in this sheet (it has: {have})")

    for i, step in enumerate(sheet.steps):
        at: FieldPath = ("steps", i)
        yield from unknown("step", step.after, (*at, "after"))
        yield from unknown("step", step.before, (*at, "before"))
        yield from unknown("step", step.undoes, (*at, "undoes"))
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


def _units(sheet: Sheet) -> Found:
    def wrong(unit: str, wanted: str, path: FieldPath) -> Found:
        try:
            found = unit_of(unit).dimension
        except InputError as error:
            yield Complaint(path, str(error))
            return
        if wanted and found != wanted:
            yield Complaint(
                path,
                f"'{unit}' is a unit of {found}, but a {wanted} belongs here; "
                f"write {_SUCH_AS[wanted]}",
            )

    def amounts(table: str, names: dict[str, str]) -> Found:
        for i, row in enumerate(getattr(sheet, table)):
            for name, wanted in names.items():
                amount: Amount | None = getattr(row, name)
                if amount:
                    yield from wrong(amount.unit, wanted, (table, i, name, "unit"))

    for i, step in enumerate(sheet.steps):
        if step.torque:
            yield from wrong(step.torque.unit, "torque", ("steps", i, "torque", "unit"))
        if step.reading:
            yield from wrong(step.reading.unit, "", ("steps", i, "reading", "unit"))
    volumes = ("service", "total", "container", "tolerance")
    yield from amounts("fluids", dict.fromkeys(volumes, "volume"))
    lengths = dict.fromkeys(("length", "extension"), "length")
    yield from amounts("tools", {"lowest": "torque", "highest": "torque", **lengths})
    due = sheet.sheet.next_due
    if due and due.distance:
        yield from wrong(due.distance.unit, "length", ("sheet", "next_due", "distance", "unit"))


_SUCH_AS = {
    "torque": "N.m, lbf.ft, lbf.in or kgf.m",
    "volume": "L, mL, qt_us, pt_us, gal_us or floz_us",
    "length": "km or mi for a distance, mm or in for a tool",
}
_RULES: tuple[Callable[[Sheet], Found], ...] = (
    _duplicates,
    _references,
    _units,
    *WORD_RULES,
    *NAME_RULES,
    *ORDER_RULES,
    *TORQUE_RULES,
    *FLUID_RULES,
    *TIME_RULES,
    *READING_RULES,
)
