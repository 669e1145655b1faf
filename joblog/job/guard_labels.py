"""A label whose VIN is another vehicle's than the job's."""

from __future__ import annotations

from collections.abc import Iterator

from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, JobState, Photo
from joblog.measure.vin_labels import same_vin, unlike_ends


def label_findings(state: JobState, _: History) -> Iterator[Finding]:
    """Yield each label's photo with another VIN; one with the job's own, taken later, ends it.

    A job without a VIN says nothing of a label, and a label without one nothing of a job.
    """
    own = own_vin(state)
    for photo in state.photos if own else ():
        vin = vin_on(photo)
        if not vin or same_vin(vin, own):
            continue
        label, job = unlike_ends(vin, own)
        yield Finding(
            key=f"label:{photo.entry.id}",
            kind=FindingKind.OTHER_VEHICLE,
            text=f"The label's VIN ends in {label}, the job's in {job}.",
            advice="Is it another vehicle's label? Disregard, and photograph this one's.",
            spoken="Label of another vehicle.",
            step=photo.step,
            entry=photo.entry.id,
            at=photo.entry.at,
            resolved="photo retaken" if _retaken(state, photo, own) else "",
            customer=f"The VIN on a photographed label ends in {label}, this vehicle's in {job}.",
        )


def own_vin(state: JobState) -> str:
    """Return the VIN that the job was opened with, or ''."""
    return str((state.opened.get("unit") or {}).get("vin") or "").strip()


def vin_on(photo: Photo) -> str:
    """Return the VIN that was read on a label, or ''; as it stands in the record, a text."""
    measured = photo.entry.body.get("measurement") or {}
    return str(measured.get("vin") or "") if photo.kind == "label" else ""


def _retaken(state: JobState, photo: Photo, own: str) -> bool:
    later = (p for p in state.photos if p.entry.seq > photo.entry.seq)
    return any(same_vin(vin_on(p), own) for p in later if vin_on(p))
