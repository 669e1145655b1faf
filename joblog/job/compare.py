"""This service beside the last one of the same unit."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from joblog.job.sums import reading_at
from joblog.job.types import JobState, Photo, Value
from joblog.job.values import converted
from joblog.job.wording import shown
from joblog.measure.units import Quantity, convert
from joblog.sheet.check_readings import same_unit as same_type


@dataclass(frozen=True)
class Change:
    """One thing that can be compared: its value last time and now, as text and as numbers."""

    name: str
    before: str
    now: str
    difference: Fraction | None = None

    @property
    def sentence(self) -> str:
        """Such as 'Film on the plug: 31 % now, 24 % last time'."""
        return f"{self.name}: {self.now} now, {self.before} last time."


def same_unit(first: JobState, second: JobState) -> bool:
    """Say whether two jobs are about the same unit of the same vehicle, by VIN, else by plate.

    A vehicle has several units: its gearbox says nothing of its rear axle.
    """
    return _vehicles(first, second) == "same" and _unit_agrees(first, second)


def not_earlier(before: JobState, now: JobState) -> str:
    """Say why ``before`` is no earlier service of the unit of ``now``; '' where it is one.

    Where neither a VIN nor a plate tells the vehicles apart, they count as one: so they do where
    somebody names the earlier job.
    """
    if before.job == now.job:
        return "it is this job itself"
    if _vehicles(before, now) == "other":
        return "it is about another vehicle"
    if not _unit_agrees(before, now):
        one, other = (s.opened.get("unit") or {} for s in (before, now))
        types = [str(u.get("type") or "") for u in (one, other)]
        which = f" ({types[0]}, not {types[1]})" if all(types) else ""
        return f"it is about another unit of the vehicle{which}"
    if (before.opened_at, before.job) > (now.opened_at, now.job):
        return "it was opened later"
    return "" if before.closed else "it is still open"


def _vehicles(first: JobState, second: JobState) -> str:
    """Return 'same' or 'other' vehicle, '' where nothing tells."""
    one, other = (s.opened.get("unit") or {} for s in (first, second))
    for key in ("vin", "plate"):
        if one.get(key) and other.get(key):
            same = str(one[key]).strip().upper() == str(other[key]).strip().upper()
            return "same" if same else "other"
    return ""


def _unit_agrees(first: JobState, second: JobState) -> bool:
    """Say whether the types of the units agree; where one isn't known, whether the sheets do."""
    one, other = (str((s.opened.get("unit") or {}).get("type") or "") for s in (first, second))
    if one and other:
        return same_type(one, other)
    return first.sheet.sheet.key == second.sheet.sheet.key


def compare(now: JobState, before: JobState) -> tuple[Change, ...]:
    """Return what changed since the job ``before``; what only one of them has is left out."""
    changes = [
        *_interval(now, before),
        *_amounts(now, before),
        *_readings(now, before),
        *_plugs(now, before),
        *_levels(now, before),
    ]
    return tuple(changes)


def _interval(now: JobState, before: JobState) -> list[Change]:
    changes = []
    first, second = reading_at(before), reading_at(now)
    if first.day and second.day:
        days = (second.day - first.day).days
        changes.append(
            Change("Date", first.day.isoformat(), second.day.isoformat(), Fraction(days))
        )
    if first.distance and second.distance:
        driven = second.distance.exact - convert(first.distance, second.distance.unit).exact
        changes.append(Change("Odometer", _text(first.distance), _text(second.distance), driven))
    return changes


def _text(quantity: Quantity) -> str:
    return shown(quantity.value, quantity.unit)


def _amounts(now: JobState, before: JobState) -> list[Change]:
    changes = []
    for fluid in now.fluids:
        old = next((f for f in before.fluids if f.key == fluid.key), None)
        if old is None or not fluid.poured_out or not old.poured_out:
            continue
        was = converted(old.poured_out, old.unit, fluid.unit)
        if was is not None:
            changes.append(
                Change(
                    f"{fluid.name} drained",
                    shown(old.poured_out, old.unit),
                    shown(fluid.poured_out, fluid.unit),
                    fluid.poured_out - was,
                )
            )
    return changes


def _readings(now: JobState, before: JobState) -> list[Change]:
    changes = []
    for value in _last_readings(now):
        old = next((v for v in _last_readings(before) if v.name == value.name), None)
        was = None if old is None else converted(old.value, old.unit, value.unit)
        if old is not None and was is not None:
            changes.append(
                Change(
                    value.name[:1].upper() + value.name[1:],
                    shown(old.value, old.unit),
                    shown(value.value, value.unit),
                    Fraction(value.value) - was,
                )
            )
    return changes


def _last_readings(state: JobState) -> list[Value]:
    latest = {v.name: v for v in state.values if v.entry.kind == "reading"}
    return list(latest.values())


def _photo(state: JobState, kind: str, phases: tuple[str, ...]) -> Photo | None:
    fitting = [p for p in state.photos if p.kind == kind and p.usable and p.phase in phases]
    return fitting[-1] if fitting else None


def _plugs(now: JobState, before: JobState) -> list[Change]:
    new, old = (_photo(s, "plug", ("before", "once")) for s in (now, before))
    if new is None or old is None:
        return []
    changes = []
    film = [p.measurement.get("film_coverage") for p in (old, new)]
    if all(isinstance(f, int | float) for f in film):
        was, is_now = (Fraction(str(f)) for f in film)
        changes.append(Change("Film on the plug", _percent(was), _percent(is_now), is_now - was))
    flakes = [p.measurement.get("flake_count") for p in (old, new)]
    if all(isinstance(f, int | float) for f in flakes):
        was, is_now = (Fraction(str(f)) for f in flakes)
        changes.append(Change("Flakes on the plug", str(int(was)), str(int(is_now)), is_now - was))
    return changes


def _percent(share: Fraction) -> str:
    return f"{float(share) * 100:.0f} %"


def _levels(now: JobState, before: JobState) -> list[Change]:
    new, old = (_photo(s, "dipstick", ("before", "once")) for s in (now, before))
    levels = [p.measurement.get("level_fraction") if p else None for p in (old, new)]
    if not all(isinstance(level, int | float) for level in levels):
        return []
    was, is_now = (Fraction(str(level)) for level in levels)
    return [Change("Level as found", f"{float(was):.2f}", f"{float(is_now):.2f}", is_now - was)]
