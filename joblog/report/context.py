"""What every part of a report is built from, and how an entry came to be known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date as Day  # noqa: N812  # as the language room has it
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Any

from joblog.job.guard_ended import ENDED
from joblog.job.history import History, history_of
from joblog.job.replay import replay
from joblog.job.torques import is_angle
from joblog.job.types import FindingKind, JobState, Photo, StepState, StepStatus, Value
from joblog.job.values import converted, step_named
from joblog.record.entry import Entry
from joblog.report.language import Language, Number, to_decimal
from joblog.report.numbers import as_decimal
from joblog.report.past import Past
from joblog.report.quantity import Units, between, on_the_meter, quantity, ranged
from joblog.report.settings import ShopSettings
from joblog.report.text import clean
from joblog.sheet.model import Fluid, Step

_FINEST_SHARE = 3  # decimals of a per cent; a photo measures far less finely
_SUREST = Decimal("0.99")  # what was heard is never told as certain: 0.997 is no 100 per cent


@dataclass(frozen=True)
class Context:
    """A job, and how it is told: language, units, shop, earlier services of the same unit."""

    state: JobState
    t: Language
    units: Units
    settings: ShopSettings
    earlier: tuple[Past, ...] = ()

    @cached_property
    def by_id(self) -> dict[str, Entry]:
        """Entries by their id."""
        return {entry.id: entry for entry in self.state.entries}

    @cached_property
    def history(self) -> History:
        """Which entries count."""
        return history_of(self.state.entries)

    @cached_property
    def _roots(self) -> dict[str, Entry]:
        return {e.entry.id: e.root for e in self.history.events}

    def root(self, entry: Entry) -> Entry:
        """Return the entry first recorded where ``entry`` corrects it, else ``entry`` itself."""
        return self._roots.get(entry.id, entry)

    @cached_property
    def photo_numbers(self) -> dict[str, int]:
        """Number of each photo in the report, by the id of its entry."""
        return {photo.entry.id: i for i, photo in enumerate(self.state.photos, 1)}

    @cached_property
    def _days(self) -> frozenset[Day]:
        """The days on which something was recorded, in the shop's zone."""
        return frozenset(self.t.local(entry.at).date() for entry in self.state.entries)

    def when(self, at: str, *, seconds: bool = True) -> str:
        """Return a time of the job, with its day where the job was worked on over several."""
        time = self.t.time(at, seconds=seconds)
        if len(self._days) < 2:
            return time
        several = len({day.year for day in self._days}) > 1
        return f"{self.t.day(at, year=several)} {time}"

    @cached_property
    def done(self) -> tuple[StepState, ...]:
        """Steps that were done, in the order in which they were."""
        done = [s for s in self.state.steps if s.status is not StepStatus.OPEN]
        seq = {s.step.key: s.entry.seq if s.entry else 0 for s in done}
        if self.set_back:
            return tuple(sorted(done, key=lambda s: seq[s.step.key]))
        return tuple(sorted(done, key=lambda s: (s.at or "", seq[s.step.key])))

    @cached_property
    def set_back(self) -> bool:
        """Whether the wall clock was set back during the job: then its times give no order."""
        return any(one.at > other.at for one, other in pairwise(self.state.entries))

    def before(self, entry: str) -> Context:
        """Return the same for the job as it stood just before an entry (its id)."""
        earlier = [e for e in self.state.entries if e.seq < self.by_id[entry].seq]
        return replace(self, state=replay(self.state.sheet, earlier))

    @property
    def aborted(self) -> bool:
        """Whether the job was stopped before it was done."""
        return self.state.closed == "aborted"

    @property
    def amounts_agree(self) -> bool:
        """Whether what came out and went in agrees; if not, nothing is worked out from it.

        Being confirmed makes no amount agree; what has ended since stands in no way.
        """
        unlike = (f for f in self.state.findings if f.kind is FindingKind.MISMATCH)
        return all(f.key.startswith(ENDED) for f in unlike)

    def worked_out(self, fluid: str) -> bool:
        """Return whether the share of new fluid can be told: not from amounts that can't be.

        Nor where nobody measured what came out: it may all be inside still, or all be pressed out.
        """
        wrong = f"quantity:{fluid}:"
        measured = any(f.key == fluid and f.poured_out for f in self.state.fluids)
        doubted = any(f.key.startswith(wrong) for f in self.state.findings)
        return measured and self.amounts_agree and not doubted

    def quantity(self, value: Number, unit: str) -> str:
        """Return a value in the reader's units."""
        return quantity(self.t, value, unit, self.units)

    def meter(self, value: Number, unit: str) -> str:
        """Return what an odometer or hour meter shows."""
        return on_the_meter(self.t, value, unit, self.units)

    def judged(self, value: Value) -> str:
        """Return a value in the reader's units; one outside its limits is not rounded onto them.

        Through an adapter that is what the fastener gets, where that is known.
        """
        if value.upper is not None:
            return self.both_ends(value)
        limit = None
        exact = value.in_spec_unit
        if value.adapter and exact is not None:
            return self.quantity(to_decimal(exact, 1), value.spec_unit)
        if value.within is False and exact is not None:
            over = value.high is not None and exact > value.high
            beyond = value.high if over else value.low
            limit = None if beyond is None else converted(beyond, value.spec_unit, value.unit)
        return quantity(
            self.t, value.value, value.unit, self.units, limit, limits_in=value.spec_unit
        )

    def both_ends(self, value: Value) -> str:
        """Return a range that was read in the reader's units, no end rounded onto its limit."""
        assert value.upper is not None
        limits = [
            None if limit is None else converted(limit, value.spec_unit, value.unit)
            for limit in (value.low, value.high)
        ]
        both = (value.value, value.upper)
        return ranged(self.t, both, value.unit, self.units, limits, limits_in=value.spec_unit)

    def between(self, low: Number | None, high: Number | None, unit: str) -> str:
        """Return a range in the reader's units."""
        return between(self.t, low, high, unit, self.units)

    def share(self, value: Number) -> str:
        """Return a level as per cent; one near a mark is not rounded onto it, or over it."""
        places = 0
        while places < _FINEST_SHARE:
            shown = to_decimal(value, places + 2)
            if shown not in {0, 1} or Fraction(shown) == Fraction(value):
                break
            places += 1
        return self.t.percent(value, places)

    def millimetres(self, value: Number, places: int | None = 1) -> str:
        """Return a length that was measured in mm, to a tenth; inches beside it where wanted."""
        shown = self.t.number(value, places) + "\u00a0mm"
        if self.units == "metric":
            return shown
        return f"{shown} ({self.t.number(Fraction(value) / Fraction('25.4'), 2)}\u00a0in)"

    def fluid(self, key: str) -> Fluid | None:
        """Return the sheet's fluid of that key."""
        return next((f for f in self.state.sheet.fluids if f.key == key), None)

    def step_title(self, key: str | None) -> str:
        """Return the title of a step, or ''."""
        titles = {s.key: s.title for s in self.state.sheet.steps}
        return self.t.sheet(titles.get(key or "", ""))

    def opened(self, *path: str) -> str:
        """Return a text from the body of ``job-opened``, '' where there is none."""
        at: Any = self.state.opened
        for name in path:
            at = at.get(name) if isinstance(at, dict) else None
        return clean(at) if isinstance(at, str | int) and not isinstance(at, bool) else ""


def how_known(c: Context, entry: Entry) -> tuple[str, str]:
    """Return how ``entry`` is known, and how sure: ('heard “drain plug ...”', '98 %')."""
    t = c.t
    heard = c.by_id.get(str(entry.body.get("heard", "")))
    if heard is not None:
        sure = as_decimal(heard.body.get("confidence"))
        said = t.say("heard: “{text}”", text=clean(heard.body.get("text", "")))
        return said, t.percent(min(sure, _SUREST)) if sure is not None else ""
    if entry.id in c.photo_numbers:
        return t.say("measured in photo {n}", n=c.photo_numbers[entry.id]), ""
    if entry.source == "hand":
        by = clean(entry.by)
        return (t.say("typed by {by}", by=by) if by else t.say("typed by hand")), ""
    names = {
        "voice": t.say("spoken"),
        "photo": t.say("photo"),
        "clock": t.say("from the clock"),
        "import": t.say("taken over from elsewhere"),
        "program": t.say("worked out by the program"),
    }
    return names.get(entry.source, clean(entry.source)), ""


def value_name(c: Context, value: Value) -> str:
    """Return what a value is a value of, in the reader's language."""
    t, step = c.t, next((s for s in c.state.sheet.steps if s.key == value.step), None)
    if value.entry.kind == "torque" and step and step.torque:
        name = t.say("Torque, {fastener}", fastener=t.sheet(step.torque.fastener))
        return of_fastener(c, step, _which(value), name)
    if value.entry.kind == "quantity":
        fluid = c.fluid(str(value.entry.body.get("fluid", "")))
        name = t.sheet(fluid.name if fluid else str(value.entry.body.get("fluid", "")))
        out = value.entry.body.get("direction") == "out"
        return t.say("{fluid}, out", fluid=name) if out else t.say("{fluid}, in", fluid=name)
    if step and step.torque and is_angle(step, value.entry):
        name = t.say("Angle, {fastener}", fastener=t.sheet(step.torque.fastener))
        return of_fastener(c, step, _which(value), name)
    name = t.sheet(value.name)
    return of_fastener(c, step, _which(value), name[:1].upper() + name[1:])


def value_name_at(c: Context, value: Value) -> str:
    """Return what a value is a value of, with its step where several want one of that name."""
    name, step = value_name(c, value), step_named(c.state.sheet, value.step)
    if step is None or value.entry.kind == "quantity":  # amounts are summed over the steps
        return name
    own = _wanted(value, step)
    alike = [s for s in c.state.sheet.steps if own and _wanted(value, s) == own]
    if len(alike) < 2:
        return name
    return c.t.say("{name}, “{step}”", name=name, step=c.t.sheet(step.title))


def _wanted(value: Value, step: Step) -> str:
    """Return the name by which ``step`` wants a value like ``value``, '' where it wants none."""
    if value.entry.kind == "torque" or is_angle(step, value.entry):
        return " ".join(step.torque.fastener.lower().split()) if step.torque else ""
    return " ".join(step.reading.name.lower().split()) if step.reading else ""


def _which(value: Value) -> str:
    return clean(str(value.entry.body.get("which", "")))


def of_fastener(c: Context, step: Step | None, which: str, name: str) -> str:
    """Return ``name`` with the number of the fastener it is about, 'all' for all of the step."""
    if which == "all" and step and step.torque:
        return c.t.say("{name} (all {count})", name=name, count=step.torque.count)
    return c.t.say("{name} (no. {which})", name=name, which=which) if which else name


def photo_name(c: Context, photo: Photo) -> str:
    """Return what a photo shows: 'Magnetic plug, as found'."""
    t = c.t
    kinds = {
        "plug": t.say("Magnetic plug"),
        "dipstick": t.say("Dipstick"),
        "fluid": t.say("Fluid on white paper"),
        "label": t.say("Label"),
    }
    name = kinds.get(photo.kind) or c.step_title(photo.step) or t.say("Photo")
    phases = {"before": t.say("as found"), "after": t.say("afterwards")}
    phase = phases.get(photo.phase)
    return f"{name}, {phase}" if phase else name
