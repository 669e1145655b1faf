"""Values of the job beside what the sheet specifies; all arithmetic is exact."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.history import History
from joblog.job.numbers import Number
from joblog.job.ranges import ends
from joblog.job.torques import angle_limits, angle_name, is_angle
from joblog.job.types import Value
from joblog.job.wrenches import at_fastener
from joblog.measure.units import Quantity, convert
from joblog.record.entry import Entry
from joblog.sheet.check_torques import adapter_of
from joblog.sheet.model import Sheet, Step


def step_named(sheet: Sheet, key: str | None) -> Step | None:
    """Return the step ``key`` of ``sheet``, or None."""
    return next((step for step in sheet.steps if step.key == key), None)


def pour_step(sheet: Sheet, fluid: str, direction: str) -> Step | None:
    """Return the first step at which ``fluid`` goes ``in`` or comes ``out``, or None."""
    return next(iter(pour_steps(sheet, fluid, direction)), None)


def pour_steps(sheet: Sheet, fluid: str, direction: str) -> list[Step]:
    """Return every step at which ``fluid`` goes ``in`` or comes ``out``: filled, then topped up."""
    return [
        step
        for step in sheet.steps
        if step.pour and step.pour.fluid == fluid and step.pour.direction == direction
    ]


def converted(value: Decimal | Fraction, unit: str, to: str) -> Fraction | None:
    """Return ``value`` in ``to``, exactly, or None where the units measure different things."""
    try:
        return convert(Quantity(value, unit), to).exact
    except InputError:
        return None


def values_of(sheet: Sheet, history: History) -> tuple[Value, ...]:
    """Return every torque, quantity and reading that counts; what can't be read is left out."""
    made = (
        value_of(sheet, event.entry, event.corrected_from)
        for event in history.of("torque", "quantity", "reading")
    )
    return tuple(value for value in made if value is not None)


def value_of(sheet: Sheet, entry: Entry, corrected: tuple[Entry, ...] = ()) -> Value | None:
    """Return the value that ``entry`` holds, or None where its body holds none."""
    try:
        said, upper = ends(entry.body)
    except (KeyError, ValueError, ZeroDivisionError):
        return None
    unit = str(entry.body.get("unit", ""))
    step = step_named(sheet, entry.body.get("step"))
    turn = entry.kind == "reading" and step is not None and is_angle(step, entry)
    if upper is not None and (turn or entry.kind != "reading"):
        return None
    if entry.kind == "torque":
        return _torque(sheet, entry, said, unit, step, corrected)
    if entry.kind == "quantity":
        return _quantity(sheet, entry, said, unit, corrected)
    if turn and step is not None:
        return _angle(entry, said, unit, step, corrected)
    return _reading(entry, (said, upper), unit, step, corrected)


def _torque(  # noqa: PLR0917 - one value from all that is known of it
    sheet: Sheet,
    entry: Entry,
    said: Decimal | Fraction,
    unit: str,
    step: Step | None,
    old: tuple[Entry, ...],
) -> Value:
    wanted = step.torque if step else None
    if step is None or wanted is None:
        return Value("torque", said, unit, entry, entry.body.get("step"), corrected_from=old)
    low, high = wanted.value - wanted.tolerance, wanted.value + wanted.tolerance
    wrench = str(entry.body.get("wrench") or "")
    exact = at_fastener(sheet, step, said, unit, wrench)
    adapter = adapter_of(sheet, step)
    return Value(
        name=f"torque {wanted.fastener}",
        value=said,
        unit=unit,
        entry=entry,
        step=step.key,
        low=low,
        high=high,
        nominal=wanted.value,
        within=exact is not None and low <= exact <= high,
        corrected_from=old,
        spec_unit=wanted.unit,
        in_spec_unit=exact,
        wrench=wrench,
        adapter=adapter.key if adapter else "",
    )


def _quantity(
    sheet: Sheet, entry: Entry, said: Decimal | Fraction, unit: str, old: tuple[Entry, ...]
) -> Value:
    fluid, direction = str(entry.body.get("fluid", "")), str(entry.body.get("direction", ""))
    name = next((f.name for f in sheet.fluids if f.key == fluid), fluid)
    step = step_named(sheet, entry.body.get("step")) or pour_step(sheet, fluid, direction)
    label = f"{name} {'drained' if direction == 'out' else 'filled'}"
    return Value(label, said, unit, entry, step.key if step else None, corrected_from=old)


def _reading(
    entry: Entry,
    both: tuple[Number, Number | None],
    unit: str,
    step: Step | None,
    old: tuple[Entry, ...],
) -> Value:
    """Return a reading: one number, or both ends of a range, which is within where both are."""
    name, (said, upper) = str(entry.body.get("name", "reading")), both
    wanted = step.reading if step else None
    if step is None or wanted is None:
        key = entry.body.get("step")
        return Value(name, said, unit, entry, key, corrected_from=old, upper=upper)
    exact = converted(said, unit, wanted.unit)
    above = None if upper is None else converted(upper, unit, wanted.unit)
    within = None
    if wanted.low is not None or wanted.high is not None:
        ends_told = (exact,) if upper is None else (exact, above)
        within = all(e is not None and _between(e, wanted.low, wanted.high) for e in ends_told)
    return Value(
        name=wanted.name,
        value=said,
        unit=unit,
        entry=entry,
        step=step.key,
        low=wanted.low,
        high=wanted.high,
        within=within,
        corrected_from=old,
        spec_unit=wanted.unit,
        in_spec_unit=exact,
        upper=upper,
        upper_in_spec_unit=above,
    )


def _angle(
    entry: Entry, said: Decimal | Fraction, unit: str, step: Step, old: tuple[Entry, ...]
) -> Value:
    assert step.torque is not None
    low, high = angle_limits(step.torque)
    exact = converted(said, unit, "deg")
    return Value(
        name=angle_name(step.torque),
        value=said,
        unit=unit,
        entry=entry,
        step=step.key,
        low=low,
        high=high,
        nominal=step.torque.angle,
        within=exact is not None and low <= exact <= high,
        corrected_from=old,
        spec_unit="deg",
        in_spec_unit=exact,
    )


def _between(exact: Fraction, low: Decimal | None, high: Decimal | None) -> bool:
    return (low is None or exact >= low) and (high is None or exact <= high)
