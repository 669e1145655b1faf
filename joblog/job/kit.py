"""Before the job: what to fetch and open, whether the wrench can do it, how long it takes."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from joblog.job.types import JobState
from joblog.job.wording import shown
from joblog.job.wrenches import good_range
from joblog.measure.torque import InRange, check_range, tool_range
from joblog.measure.units import Quantity
from joblog.measure.volume import Containers, containers
from joblog.sheet.check_torques import adapter_of, setting_on
from joblog.sheet.model import Fluid, Sheet, SparePart, Step, Tool


@dataclass(frozen=True)
class FluidNeed:
    """A fluid to fetch: how many containers to open, and what is left over in the last."""

    fluid: Fluid
    amount: Quantity
    containers: Containers | None  # None where the sheet doesn't say how it is packed

    @property
    def sentence(self) -> str:
        """Such as 'Open 4 of 1 US qt for 3.7 US qt; 0.3 US qt is left over'."""
        need = shown(self.amount.value, self.amount.unit)
        if self.containers is None or self.fluid.container is None:
            return f"{self.fluid.name}: {need}."
        size = shown(self.fluid.container.value, self.fluid.container.unit)
        left = self.containers.leftover
        rest = f"; {shown(left.value, left.unit)} is left over" if left.exact else ""
        return f"{self.fluid.name}: open {self.containers.count} of {size} for {need}{rest}."


@dataclass(frozen=True)
class WrenchCheck:
    """A torque of the sheet against the range of the wrench that the step names.

    ``torque`` is what the wrench is set to: less than the sheet's where an adapter is used.
    """

    step: Step
    tool: Tool
    torque: Quantity
    low: Quantity
    high: Quantity
    verdict: InRange

    @property
    def fits(self) -> bool:
        """Whether the torque lies within the range."""
        return self.verdict is InRange.IN

    @property
    def sentence(self) -> str:
        """What is wrong with the wrench, or that it fits."""
        fastener = self.step.torque.fastener if self.step.torque else self.step.title
        value = shown(self.torque.value, self.torque.unit)
        span = f"{shown(self.low.value, '')} to {shown(self.high.value, self.high.unit)}"
        if self.fits:
            return f"{self.tool.name} ({span}) fits {value} at the {fastener}."
        return (
            f"{self.tool.name} is good for {span}, but the {fastener} wants {value}: fetch another "
            "wrench."
        )


@dataclass(frozen=True)
class Kit:
    """Everything to fetch before the job starts."""

    fluids: tuple[FluidNeed, ...]
    parts: tuple[SparePart, ...]
    tools: tuple[Tool, ...]
    wrenches: tuple[WrenchCheck, ...]
    minutes: Decimal | None
    cautions: tuple[str, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """What would go wrong with this kit."""
        return tuple(w.sentence for w in self.wrenches if not w.fits)


def kit_list(sheet: Sheet) -> Kit:
    """Return what a job of ``sheet`` needs."""
    return Kit(
        fluids=tuple(need for fluid in sheet.fluids if (need := _fluid_need(sheet, fluid))),
        parts=sheet.parts,
        tools=sheet.tools,
        wrenches=tuple(_wrench_checks(sheet)),
        minutes=time_estimate(sheet),
        cautions=tuple(caution.text for caution in sheet.cautions),
    )


def kit_of_job(state: JobState) -> Kit:
    """Return the kit of the job's own sheet, in the revision that it was opened with."""
    return kit_list(state.sheet)


def _fluid_need(sheet: Sheet, fluid: Fluid) -> FluidNeed | None:
    amount = fluid.service or fluid.total
    goes_in = any(
        s.pour and s.pour.fluid == fluid.key and s.pour.direction == "in" for s in sheet.steps
    )
    if amount is None or not goes_in:
        return None
    need = Quantity(amount.value, amount.unit)
    size = fluid.container
    packed = containers(need, Quantity(size.value, size.unit)) if size else None
    return FluidNeed(fluid, need, packed)


def _wrench_checks(sheet: Sheet) -> list[WrenchCheck]:
    checks = []
    for step in sheet.steps:
        for tool in sheet.tools:
            if step.torque and tool.key in step.tools and tool.highest:
                setting = setting_on(step, tool, adapter_of(sheet, step))
                if setting is not None:
                    checks.append(_wrench_check(step, tool, setting))
    return checks


def _wrench_check(step: Step, tool: Tool, torque: Quantity) -> WrenchCheck:
    low, top = good_range(tool) or (Fraction(0), Fraction(0))
    assert tool.highest is not None
    band = tool_range(Quantity(top, tool.highest.unit), Quantity(low, tool.highest.unit))
    return WrenchCheck(step, tool, torque, band.low, band.high, check_range(torque, band))


def time_estimate(sheet: Sheet) -> Decimal | None:
    """Return the minutes for the job: the sheet's own number, else the sum of its steps."""
    if sheet.sheet.minutes is not None:
        return Decimal(sheet.sheet.minutes)
    minutes = [step.minutes for step in sheet.steps if step.minutes is not None]
    return sum(minutes, Decimal(0)) if minutes else None


def minutes_left(state: JobState) -> Decimal | None:
    """Return the minutes that the steps still to be done should take."""
    settled = state.settled
    left = [
        s.step.minutes
        for s in state.steps
        if s.step.key not in settled and s.step.minutes is not None
    ]
    return sum(left, Decimal(0)) if left else None
