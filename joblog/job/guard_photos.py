"""Photos that can't be used, and what the plug's photo shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from typing import Any

from joblog.job.guard_wanted import missing_finding
from joblog.job.history import History
from joblog.job.levels import disagreement, level_findings, percent
from joblog.job.order import required_before
from joblog.job.photo_faults import unusable_aloud
from joblog.job.types import Finding, FindingKind, JobState, Mark, Photo, StepState, StepStatus
from joblog.job.values import step_named
from joblog.job.wording import step_name
from joblog.measure.numbers import rounded
from joblog.sheet.model import DebrisLimits, Step

FLAKE_COUNTED_MM = 0.3  # smaller bright spots are dust and reflections; common practice, no source
_UNSEEN = "smaller ones may not be seen"  # of those under 1 mm half are not: docs/plug.md


def photo_findings(state: JobState, _: History) -> Iterator[Finding]:
    """Photos that can't be taken any more, unusable ones, debris and levels that mean something."""
    yield from _lost(state)
    for photo in state.photos:
        if not photo.usable:
            yield _unusable(state, photo)
        elif photo.kind == "plug":
            yield from debris_findings(state.sheet.debris, photo)
        elif photo.kind == "dipstick" and photo.phase != "before":
            yield from level_findings(photo, _retaken(state, photo))
        if photo.kind == "dipstick" and photo.together.get("usable") is False:
            yield disagreement(photo, _retaken(state, photo))


def _lost(state: JobState) -> Iterator[Finding]:
    """Yield photos of how a thing was found that were still missing when it was changed.

    It is what is missing at the end, told at the one moment when it may not be too late yet, so it
    bears the same key: whoever confirms it now isn't asked again.
    """
    for found in state.steps:
        photo = found.step.photo
        lacks = photo is not None and f"photo of the {photo.kind}" in found.missing
        if photo is None or not lacks or found.status is StepStatus.OPEN:
            continue  # a step that nobody has done is told as out of order
        if photo.phase == "before":
            mark = next((m for m in state.marks if _changed(state, found.step, m)), None)
            if mark is not None:
                yield _late(state, found, photo.kind, mark)


def _changed(state: JobState, found: Step, mark: Mark) -> bool:
    """Say whether ``mark`` is the next step's, which photographs the same thing once changed."""
    step = step_named(state.sheet, mark.step)
    if step is None or step.photo is None or found.photo is None or not mark.first:
        return False
    same = (step.photo.kind, step.photo.phase) == (found.photo.kind, "after")
    return same and found.key in required_before(state.sheet, step)


def _late(state: JobState, found: StepState, kind: str, mark: Mark) -> Finding:
    what = f"photo of the {kind}"
    step = step_named(state.sheet, mark.step)
    after = step_name(step) if step else mark.step
    return replace(
        missing_finding(found, what, mark.entry.id, mark.root.at),
        text=f"{found.step.title}: {what} missing; after “{after}” it can't be taken any more.",
        advice="Not done yet? Disregard, and photograph first.",
    )


def _retaken(state: JobState, photo: Photo) -> bool:
    misread = bool(photo.measurement.get("vin_trouble"))  # a bottle's code says nothing of a VIN
    return any(
        p.usable
        and p.kind == photo.kind
        and p.step == photo.step
        and (not misread or "vin" in p.measurement)
        for p in state.photos
        if p.entry.seq > photo.entry.seq
    )


def _tried_again(state: JobState, photo: Photo) -> bool:
    """Say whether a later photo of the same is of no use either: that one is to be answered for."""
    later = (p for p in state.photos if p.entry.seq > photo.entry.seq and not p.usable)
    return any((p.kind, p.step) == (photo.kind, photo.step) for p in later)


def _unusable(state: JobState, photo: Photo) -> Finding:
    why = str(photo.measurement.get("why") or "it can't be measured").strip().rstrip(".")
    retaken = _retaken(state, photo) or _tried_again(state, photo)
    return Finding(
        key=f"photo:{photo.entry.id}",
        kind=FindingKind.UNSURE,
        text=f"Photo of the {photo.kind} not usable, {why}.",
        spoken=unusable_aloud(photo.kind, why),
        step=photo.step,
        entry=photo.entry.id,
        at=photo.entry.at,
        resolved="photo retaken" if retaken else "",
        customer=_unusable_for_customer(state, photo, retaken),
    )


def _unusable_for_customer(state: JobState, photo: Photo, retaken: bool) -> str:
    """Say that a photo was of no use; what to do about it is said to the technician alone."""
    step = step_named(state.sheet, photo.step)
    what = f"photo{f' for “{step.title}”' if step else ''} was not usable"
    return f"A first {what} and was taken again." if retaken else f"One {what}."


def debris_findings(limits: DebrisLimits, photo: Photo) -> Iterator[Finding]:
    """Flakes and film over the limits in a usable photo of a plug.

    In one that is taken for the cleaned plug, too: it wasn't clean, or it is another plug than was
    thought. What the photo shows was there in either case.
    """
    flakes = [float(f["length_mm"]) for f in photo.measurement.get("flakes") or () if _sized(f)]
    longest = max(flakes, default=0.0)
    size = rounded(Decimal(str(longest)), 1)
    counted = sum(1 for length in flakes if length >= FLAKE_COUNTED_MM)
    film = photo.measurement.get("film_coverage")
    cleaned = photo.phase == "after"
    plug, magnet = ("the plug", "the magnet") if not cleaned else ("the cleaned plug",) * 2
    if longest >= float(limits.flake_mm):
        yield _observation(
            photo,
            "flake",
            f"A flake of {size} mm, the longest found on {plug}; {_UNSEEN}. "
            f"{limits.flake_mm} mm and more is shown to the customer.",
            f"The longest metal flake found on the magnet is {size} mm long; {_UNSEEN}. "
            "Fine grey film is normal wear; a piece that the eye can see is not, and its cause "
            "should be looked for.",
        )
    if counted >= limits.flakes:
        noun, were = ("flake", "was") if counted == 1 else ("flakes", "were")
        yield _observation(
            photo,
            "flakes",
            f"{counted} {noun} of {FLAKE_COUNTED_MM} mm and more found on {plug}; "
            "more may not be seen.",
            f"{counted} metal {noun} of {FLAKE_COUNTED_MM} mm and more {were} found on the magnet; "
            "more may not be seen.",
        )
    if isinstance(film, float) and film > float(limits.film_coverage):
        yield _observation(
            photo,
            "film",
            f"Film covers {percent(film)} % of {magnet}; compare with the last service.",
            f"Fine metal film covered {percent(film)} % of the magnet, which is much; the next "
            "service will show whether it grows.",
        )


def _sized(flake: Any) -> bool:
    return isinstance(flake, dict) and isinstance(flake.get("length_mm"), int | float)


def _observation(photo: Photo, what: str, text: str, customer: str) -> Finding:
    return Finding(
        key=f"debris:{what}:{photo.entry.id}",
        kind=FindingKind.OBSERVATION,
        text=text,
        spoken="Flakes on the plug." if what != "film" else "Much film on the plug.",
        step=photo.step,
        entry=photo.entry.id,
        at=photo.entry.at,
        customer=customer,
    )
