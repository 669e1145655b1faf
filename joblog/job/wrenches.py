"""Which wrench, through which adapter, and what the fastener gets from it.

Through a crow-foot the wrench shows less than the fastener gets: T·L/(L + E·cos a) with L from the
middle of the drive to the middle of the grip and E from there to the middle of the fastener
[handbook: US Army TM 9-254]. What is said is what the wrench shows; what is judged is what the
fastener gets.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.types import JobState
from joblog.job.wording import said, shown
from joblog.measure.torque import crow_foot_applied
from joblog.measure.units import Quantity, convert
from joblog.sheet.check_torques import LOWEST_SHARE, adapter_of, setting_on, wrenches_of
from joblog.sheet.complaints import size
from joblog.sheet.model import Sheet, Step, Tool


def tool_named(sheet: Sheet, key: str | None) -> Tool | None:
    """Return the tool ``key`` of ``sheet``, or None."""
    return next((tool for tool in sheet.tools if tool.key == key), None)


def wrench_meant(state: JobState, step: Step, spoken: str, corrected: str | None) -> str:
    """Return the key of the wrench used: the one said, else the only one it can be, else ''.

    A correction keeps the wrench of what it corrects, and the next of several fasteners that of
    the one before.
    """
    if spoken:
        return spoken
    mine = [v for v in state.values if v.entry.kind == "torque" and v.step == step.key]
    old = next((v for v in mine if v.entry.id == corrected), None) or (mine[-1] if mine else None)
    if old is not None and old.wrench:
        return old.wrench
    named = wrenches_of(state.sheet, step)
    return named[0].key if len(named) == 1 else ""


def at_fastener(
    sheet: Sheet, step: Step, value: Decimal | Fraction, unit: str, wrench: str
) -> Fraction | None:
    """Return what the fastener gets, in the unit of the step's torque, exactly.

    None where the unit is none of torque, or where an adapter is used on a wrench whose length
    nobody knows: what can't be told is not judged as right.
    """
    assert step.torque is not None
    try:
        shows = convert(Quantity(value, unit), step.torque.unit)
    except InputError:
        return None
    adapter = adapter_of(sheet, step)
    if adapter is None:
        return shows.exact
    tool = tool_named(sheet, wrench)
    arm = size(tool.length, "length") if tool else None
    reach = size(adapter.extension, "length")
    if arm is None or reach is None:
        return None
    try:
        return crow_foot_applied(shows, arm, reach, adapter.extension_angle).exact
    except InputError:
        return None


def good_range(wrench: Tool) -> tuple[Fraction, Fraction] | None:
    """Return the least and greatest torque of ``wrench`` in its own unit, None where not stated.

    From its lowest mark [standard: ISO 6789-1:2017, 5.1.3], else from 20 % of its maximum, the
    lowest test point of ISO 6789:2003.
    """
    if wrench.highest is None:
        return None
    top = Fraction(wrench.highest.value)
    if wrench.lowest is None:
        return top * LOWEST_SHARE, top
    low = Quantity(wrench.lowest.value, wrench.lowest.unit)
    return convert(low, wrench.highest.unit).exact, top


def to_set(sheet: Sheet, step: Step) -> tuple[str, str]:
    """Return, said and shown, what to set the wrench to at a step with an adapter; '' elsewhere."""
    adapter = adapter_of(sheet, step)
    if step.torque is None or adapter is None:
        return "", ""
    for wrench in wrenches_of(sheet, step):
        setting = setting_on(step, wrench, adapter)
        if setting is None:
            continue
        value = round(Decimal(setting.exact.numerator) / Decimal(setting.exact.denominator), 1)
        gets = shown(step.torque.value, step.torque.unit)
        return (
            f"Torque {said(value, setting.unit)}.",
            f"Set {wrench.name} to {shown(value, setting.unit)}: through {adapter.name} the "
            f"{step.torque.fastener} gets {gets}.",
        )
    return "", ""
