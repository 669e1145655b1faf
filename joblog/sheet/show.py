"""A sheet as a page of text, for a person to read before the job."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from joblog.measure.units import unit_of
from joblog.sheet.check_torques import adapter_of, setting_on, wrenches_of
from joblog.sheet.model import Amount, Sheet, Step

WIDTH = 88
EXAMPLE = "EXAMPLE VALUES: replace every one of them from service information before real work."


def _amount(amount: Amount | None) -> str:
    return f"{amount.value} {unit_of(amount.unit).symbol}" if amount else "not stated"


def folded(lead: str, text: str) -> list[str]:
    """Return ``text`` in lines of at most 88 characters, the first behind ``lead``."""
    return wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))


def sheet_lines(sheet: Sheet) -> list[str]:
    """Return the sheet as lines of at most 88 characters."""
    head = sheet.sheet
    lines = [
        head.title,
        "=" * len(head.title),
        f"{head.key}, revision {head.revision}, {head.trade}",
    ]
    lines += [EXAMPLE] if head.example else []
    lines += ["", *wrap(head.summary, WIDTH)]
    if sheet.applies.to:
        lines += ["", f"For: {', '.join(sheet.applies.to)}"]
    for exclusion in sheet.applies.not_to:
        use = f"; use '{exclusion.use}'" if exclusion.use else ""
        lines += folded("Not for: ", f"{exclusion.unit}, {exclusion.why}{use}")
    lines += ["", "Cautions"]
    for caution in sheet.cautions:
        source = f" [{caution.source}]" if caution.source else ""
        lines += folded("  ! ", caution.text + source)
    lines += ["", "Fluids and parts", *_materials(sheet)]
    lines += ["", "Steps"]
    for number, step in enumerate(sheet.steps, start=1):
        lines += folded(f"{number:>3}. ", step.title)
        lines += [f"       {line}" for line in _step_lines(step, sheet)]
    return lines


def _materials(sheet: Sheet) -> Iterator[str]:
    for fluid in sheet.fluids:
        yield (
            f"  {fluid.name}: {fluid.specification}; service {_amount(fluid.service)}, "
            f"total {_amount(fluid.total)}"
        )
    for part in sheet.parts:
        how = f", {part.fitted}" if part.fitted else ""
        yield f"  {part.quantity} x {part.name} {part.number or ''}{how}"


def _step_lines(step: Step, sheet: Sheet) -> Iterator[str]:
    yield "say: " + " | ".join(step.say)
    if step.after:
        yield "after: " + ", ".join(step.after)
    for name, keys in (("only when", step.only_when), ("not while", step.not_while)):
        if keys:
            yield f"{name}: " + ", ".join(sheet.conditions[key] for key in keys)
    torque = step.torque
    if torque:
        unit = unit_of(torque.unit).symbol
        around = f" ± {torque.angle_tolerance}" if torque.angle_tolerance is not None else ""
        turn = f", then {torque.angle}{around} degrees further" if torque.angle else ""
        times = f", {torque.count} of them" if torque.count > 1 else ""
        yield f"torque {torque.fastener}: {torque.value} ± {torque.tolerance} {unit}{turn}{times}"
        adapter = adapter_of(sheet, step)
        for wrench in wrenches_of(sheet, step) if adapter else ():
            setting = setting_on(step, wrench, adapter)
            if setting is not None and adapter is not None:
                figure = f"{float(setting.exact):.1f} {unit}"
                yield f"set {wrench.name} to {figure}, through {adapter.name}"
    if step.pour:
        yield f"quantity {step.pour.direction}: {step.pour.fluid}"
    if step.window:
        closes = f" to {step.window.closes}" if step.window.closes is not None else " or more"
        yield f"read {step.window.opens}{closes} s after '{step.window.since}'"
    if step.photo:
        wanted = "wanted" if step.photo.required else "if possible"
        yield f"photo of the {step.photo.kind} ({step.photo.phase}), {wanted}"
    if step.reading:
        low, high = step.reading.low, step.reading.high
        limits = " to ".join(str(v) for v in (low, high) if v is not None)
        yield f"reading: {step.reading.name} {limits} {unit_of(step.reading.unit).symbol}"
