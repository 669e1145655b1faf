"""Quantities that can't be."""

from __future__ import annotations

from fractions import Fraction

from joblog.measure.volume import DENSITY_RANGE
from joblog.sheet.complaints import Complaint, Found, plain, size, told
from joblog.sheet.model import Fluid, Sheet

SMALLEST = Fraction(1, 1000)  # litres
LARGEST = Fraction(10_000)
MOST_CONTAINERS = 200


def _amounts(sheet: Sheet) -> Found:
    for i, fluid in enumerate(sheet.fluids):
        for name in ("service", "total", "container", "tolerance"):
            amount = getattr(fluid, name)
            litres = size(amount, "volume")
            if amount is None:
                continue
            path = ("fluids", i, name, "value")
            if amount.value <= 0:
                yield Complaint(path, f"{told(amount)} is no quantity; write a number above zero")
            elif litres is not None and not SMALLEST <= litres <= LARGEST:
                yield Complaint(
                    path, f"{told(amount)} can't be meant for one unit; check value and unit"
                )


def _sums(sheet: Sheet) -> Found:
    for i, fluid in enumerate(sheet.fluids):
        service, total = fluid.service, fluid.total
        used, whole = size(service, "volume"), size(total, "volume")
        if service and total and used is not None and whole is not None and used > whole:
            yield Complaint(
                ("fluids", i, "service"),
                f"'service' ({told(service)}) is more than the unit holds in 'total' "
                f"({told(total)}); check both",
            )
        yield from _containers(i, fluid)
        yield from _tolerance(i, fluid)
        low, high = DENSITY_RANGE
        if fluid.density is not None and not low <= fluid.density <= high:
            hint = f"write {plain(fluid.density * 1000)}" if fluid.density < 2 else "check it"
            yield Complaint(
                ("fluids", i, "density"),
                f"a density of {fluid.density} is no oil's in kg/m3 at 15 °C ({plain(low)} to "
                f"{plain(high)}, API MPMS 11.1); {hint}, or leave it out",
            )


def _containers(i: int, fluid: Fluid) -> Found:
    need = size(fluid.service or fluid.total, "volume")
    container = size(fluid.container, "volume")
    if need is None or container is None or container <= 0 or fluid.container is None:
        return
    if need / container > MOST_CONTAINERS:
        yield Complaint(
            ("fluids", i, "container"),
            f"{plain(need / container)} containers of {told(fluid.container)} would be needed; "
            "check value and unit of both",
        )


def _tolerance(i: int, fluid: Fluid) -> Found:
    need = size(fluid.service or fluid.total, "volume")
    around = size(fluid.tolerance, "volume")
    if need is None or around is None or fluid.tolerance is None or around * 2 <= need:
        return
    yield Complaint(
        ("fluids", i, "tolerance"),
        f"a tolerance of {told(fluid.tolerance)} is more than half of what goes in; "
        "write how far in and out may differ",
    )


def _poured(sheet: Sheet) -> Found:
    for i, fluid in enumerate(sheet.fluids):
        ways = [s.pour.direction for s in sheet.steps if s.pour and s.pour.fluid == fluid.key]
        if not ways:
            yield Complaint(
                ("fluids", i),
                f"no step pours '{fluid.key}' in or out: nobody can report how much; "
                f'write pour = {{ fluid = "{fluid.key}", direction = "in" }} at a step',
                True,
            )
        elif "out" in ways and "in" in ways and ways[0] == "in":
            yield Complaint(
                ("fluids", i),
                f"'{fluid.key}' goes in before it comes out; exchange the directions unless it is "
                "meant so",
                True,
            )


FLUID_RULES = (_amounts, _sums, _poured)
