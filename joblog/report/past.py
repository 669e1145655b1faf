"""One service as a later report remembers it: small enough to be kept inside that report."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Any

from joblog.job.guard_photos import debris_findings
from joblog.job.types import JobState, Photo
from joblog.measure.particles import CLASSES, size_class
from joblog.report.numbers import as_decimal, as_lab

Lab = tuple[float, float, float]

_FINEST = "F"  # a phone's photo resolves no finer class


def classes() -> list[tuple[str, int, int | None]]:
    """Return (letter, from, to) in µm of the ISO 16232 classes that a report shows, fine to coarse.

    ``to`` is None for the coarsest, which has no upper limit.
    """
    lows = [(letter, low) for letter, low in CLASSES.items() if low >= CLASSES[_FINEST]]
    highs = [low for _, low in lows[1:]]
    return [(*low, high) for low, high in zip(lows, [*highs, None], strict=True)]


@dataclass(frozen=True)
class Past:
    """The figures of one service; numbers are decimal text, so that they go through JSON."""

    job: str
    at: str
    title: str
    sheet: str
    odometer: str
    odometer_unit: str
    order: str
    hash: str
    closed: str
    drained: str = ""
    filled: str = ""
    unit: str = ""
    total: str = ""
    film: str = ""
    longest_mm: str = ""
    level: str = ""
    flakes: dict[str, int] = field(default_factory=dict)
    plug: bool = False  # whether the plug was measured at all
    plug_step: str = ""  # which plug that was: the step of its photo, and its width
    plug_mm: str = ""
    colour: str = ""  # L* a* b* of the fluid as it was found

    def same_plug(self, other: Past) -> bool:
        """Say whether both measured the same plug: on one sheet its step tells, else its width."""
        if not (self.plug and other.plug):
            return False
        if self.sheet == other.sheet:
            return self.plug_step == other.plug_step
        return bool(self.plug_mm) and self.plug_mm == other.plug_mm

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON."""
        return asdict(self)


def flakes_by_class(lengths_mm: list[Decimal]) -> dict[str, int]:
    """Return how many flakes are in each class."""
    counts: dict[str, int] = {}
    for length in lengths_mm:
        letter = size_class(length * 1000)
        if letter and CLASSES[letter] >= CLASSES[_FINEST]:
            counts[letter] = counts.get(letter, 0) + 1
    return counts


def flake_lengths(photo: Photo) -> list[Decimal]:
    """Return the lengths in mm of the flakes measured in a photo of a plug."""
    flakes = photo.measurement.get("flakes")
    if not isinstance(flakes, list | tuple):
        return []
    lengths = [as_decimal(f.get("length_mm")) for f in flakes if isinstance(f, dict)]
    return [length for length in lengths if length is not None and length > 0]


def plug_as_found(state: JobState) -> Photo | None:
    """Return the photo that shows what the plug had caught, before it was cleaned.

    Where another one shows more than the sheet's limits and that one doesn't, it is the other: the
    photos came in another order than was thought, or there are two plugs.
    """
    usable = [p for p in state.photos if p.kind == "plug" and p.usable]
    found = [p for p in usable if p.phase != "after"]
    over = [p for p in usable if any(debris_findings(state.sheet.debris, p))]
    if over and (not found or found[-1] not in over):
        return over[-1]
    return found[-1] if found else None


def level_at_end(state: JobState) -> Photo | None:
    """Return the last usable photo of the dipstick that was not taken before its time."""
    usable = [p for p in state.photos if p.kind == "dipstick" and p.usable and not p.early]
    after = [p for p in usable if p.phase != "before"]
    return after[-1] if after else None


def fluid_as_found(state: JobState) -> tuple[Photo, Lab] | None:
    """Return the first photo of the fluid that came out whose colour was measured, with it."""
    for photo in state.photos:
        lab = as_lab(photo.measurement.get("lab")) if photo.kind == "fluid" else None
        if lab is not None and photo.usable and photo.phase == "before":
            return photo, lab
    return None


def past_of(state: JobState) -> Past:
    """Return the figures of a job for later reports of the same unit."""
    unit = state.opened.get("unit") or {}
    fluid = state.fluids[0] if state.fluids else None
    plug, stick = plug_as_found(state), level_at_end(state)
    lengths = flake_lengths(plug) if plug else []
    fluid_seen = fluid_as_found(state)
    return Past(
        job=state.job,
        at=state.opened_at,
        title=state.sheet.sheet.title,
        sheet=state.sheet.sheet.key,
        odometer=str(unit.get("odometer") or ""),
        odometer_unit=str(unit.get("odometer_unit") or "km"),
        order=str(state.opened.get("order") or ""),
        hash=state.final_hash,
        closed=state.closed,
        drained=_text(fluid.poured_out) if fluid else "",
        filled=_text(fluid.poured_in) if fluid else "",
        unit=fluid.unit if fluid else "",
        total=str(fluid.total) if fluid and fluid.total is not None else "",
        film=_measured(plug, "film_coverage"),
        longest_mm=str(max(lengths)) if lengths else "",
        level=str(stick.level[0]) if stick and stick.level[0] is not None else "",
        flakes=flakes_by_class(lengths),
        plug=plug is not None,
        plug_step=plug_step(state, plug),
        plug_mm=_plug_mm(state, plug),
        colour=" ".join(str(part) for part in fluid_seen[1]) if fluid_seen else "",
    )


def plugs_alike(services: tuple[Past, ...], *, unmeasured: bool = False) -> list[Past]:
    """Return the services that measured the plug which the last of them with a plug measured.

    ``unmeasured``: also those on its sheet that measured none.
    """
    last = next((p for p in reversed(services) if p.plug), None)
    if last is None:
        return []
    missed = [p for p in services if unmeasured and not p.plug and p.sheet == last.sheet]
    return [p for p in services if p in missed or p.same_plug(last)]


def plug_step(state: JobState, plug: Photo | None) -> str:
    """Return the step that shows which plug a photo is of: for one "after", the one "before" it."""
    if plug is None or not plug.step:
        return ""
    before = ""
    for step in state.sheet.steps:
        wanted = step.photo if step.photo and step.photo.kind == "plug" else None
        if wanted and wanted.phase == "before":
            before = step.key
        if step.key == plug.step:
            return before if wanted and wanted.phase == "after" and before else step.key
    return plug.step


def _plug_mm(state: JobState, plug: Photo | None) -> str:
    step = state.step(plug.step) if plug and plug.step else None
    width = step.step.photo.plug_diameter_mm if step and step.step.photo else None
    return "" if width is None else str(width.normalize())


def _text(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}" if value.denominator != 1 else str(value)


def _measured(photo: Photo | None, name: str) -> str:
    value = photo.measurement.get(name) if photo else None
    return "" if value is None else str(value)
