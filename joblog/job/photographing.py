"""A photo brought to an entry: which step it documents, what it measures, what is kept."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any

from joblog.errors import InputError
from joblog.job.guard_labels import own_vin
from joblog.job.numbers import without_floats
from joblog.job.photos import photo_step, shot_before, shots_behind
from joblog.job.types import JobState, Photo
from joblog.job.values import step_named
from joblog.measure.vin_labels import as_vin, label_vin, same_vin
from joblog.record.clock import Moment
from joblog.sheet.model import PhotoWanted, Step

KINDS = ("plug", "dipstick", "fluid", "label", "other")
NO_DIAMETER = (
    "the sheet doesn't give the plug's diameter: sent as “other” it is kept, and not measured"
)
LEAST_DOUBT = 0.5  # of the best shot's: that of four which err apart
MEASURED = ("plug", "dipstick", "fluid")
LOOKS_KEPT = 4  # of photos that are measured and not yet recorded

Look = tuple[dict[str, Any], bytes | None]  # the photo command's fields, the picture drawn on
_looks: OrderedDict[tuple[str, ...], Look] = OrderedDict()
_looking = Lock()


@dataclass(frozen=True)
class Taken:
    """A photo as it comes in: the bytes of a JPEG, PNG or HEIC file, and what is known of it.

    ``kind`` is plug, dipstick, fluid, label or other; ``name`` a remark on where it came from;
    ``ago`` are the seconds since it was taken, ``replaces`` the id of a photo that it takes the
    place of.
    """

    data: bytes
    kind: str
    step: str | None = None
    phase: str | None = None
    name: str = ""
    ago: float = 0.0
    replaces: str | None = None


@dataclass(frozen=True)
class Part:
    """Bytes to be kept as media."""

    data: bytes
    mime: str
    role: str
    name: str = ""


@dataclass(frozen=True)
class Shot:
    """A photo ready to be recorded."""

    body: dict[str, Any]
    parts: tuple[Part, ...]


def measured_photo(
    state: JobState, taken: Taken, now: Moment, done: frozenset[str] | None = None
) -> Shot:
    """Measure a photo and return what to record.

    ``now`` is the time, and ``done`` holds the steps that were done when it was taken, where that
    was not just now. Raises PhotoError where it is no photo, InputError for an unknown kind or
    step. Asked again soon for the same it takes no time: to measure takes a second at most, which
    no phrase of the job need wait for, so a session asks once before it holds the job, and once
    while it does.
    """
    data, kind, step, phase = taken.data, taken.kind, taken.step, taken.phase
    if kind not in KINDS:
        raise InputError(f"'{kind}' is no kind of photo; use one of {', '.join(KINDS)}")
    state = replace(state, photos=tuple(p for p in state.photos if p.entry.id != taken.replaces))
    if step is None and phase is None and _of_what_went_in(state, kind):
        phase = "after"
    before = shot_before(state, kind, now)
    found = _step(state, kind, step, phase, state.done if done is None else done, before=before)
    wanted = found.photo if found else None
    measurement, overlay = _look(data, kind, wanted, own_vin(state))
    as_now = kind == "dipstick" and done in (None, state.done)
    if as_now and before is not None and found is not None and before.step == found.key:
        measurement = measurement | _together(state, before, measurement)
    body = {
        "step": found.key if found else None,
        "kind": kind,
        "phase": wanted.phase if wanted else (phase or "once"),
        "measurement": without_floats(measurement),
        "trial": 1 + sum(1 for p in state.photos if p.step == (found.key if found else None)),
    }
    parts = [Part(data, mime_of(data), "photo", taken.name)]
    if overlay is not None:
        parts.append(Part(overlay, mime_of(overlay), "overlay"))
    return Shot(body, tuple(parts))


def _step(
    state: JobState,
    kind: str,
    step: str | None,
    phase: str | None,
    done: frozenset[str],
    *,
    before: Photo | None,
) -> Step | None:
    if step is not None:
        found = step_named(state.sheet, step)
        if found is None:
            raise InputError(f"there is no step '{step}' in this job's sheet")
        return found
    just = next((mark.step for mark in reversed(state.marks) if mark.step in done), "")
    found = photo_step(
        state.sheet,
        state.photos,
        done,
        kind,
        phase,
        left_out=state.left_out,
        just=just,
        before=before,
    )
    if found is None and (kind, phase) == ("fluid", "after"):
        return next((s for s in state.sheet.steps if s.pour and s.pour.direction == "in"), None)
    return found


def _of_what_went_in(state: JobState, kind: str) -> bool:
    """Say whether an unnamed photo of fluid shows the new one: the old one's is there, and
    fluid has gone in since; it must not stand as what was found.
    """
    wanting = [s for s in state.sheet.steps if s.photo and s.photo.kind == kind]
    have = {p.step for p in state.photos if p.usable}
    had = bool(wanting) and all(s.key in have for s in wanting)
    return kind == "fluid" and had and any(f.poured_in for f in state.fluids)


def _look(data: bytes, kind: str, wanted: PhotoWanted | None, vin: str) -> Look:
    """Measure a photo, or look up what the same one gave a moment ago."""
    asked = (hashlib.sha256(data).hexdigest(), kind, vin, repr(wanted))
    with _looking:
        known = _looks.get(asked)
    if known is not None:
        return known
    look = _measure(data, kind, wanted, vin)
    with _looking:
        _looks[asked] = look
        while len(_looks) > LOOKS_KEPT:
            _looks.popitem(last=False)
    return look


def _measure(data: bytes, kind: str, wanted: PhotoWanted | None, vin: str) -> Look:
    """Return the photo command's fields and the picture with the measurement drawn on it."""
    from joblog.vision.load import load_photo
    from joblog.vision.measure_photo import measure_photo
    from joblog.vision.overlay import overlay_jpeg

    if kind == "label":
        return _labels(data, vin), None
    photo = load_photo(data)
    if kind not in MEASURED:
        return {"usable": True, "why": None}, None
    diameter = wanted.plug_diameter_mm if wanted else None
    if kind == "plug" and diameter is None:
        return {"usable": False, "why": NO_DIAMETER}, None
    distance = wanted.mark_distance_mm if wanted else None
    reading = measure_photo(
        photo,
        kind,
        plug_diameter_mm=None if diameter is None else float(diameter),
        mark_distance_mm=None if distance is None else float(distance),
    )
    return reading.to_json(), overlay_jpeg(photo, reading)


def _together(state: JobState, before: Photo, measurement: dict[str, Any]) -> dict[str, Any]:
    """Return what shots of a dipstick say together: a field of the last one's measurement."""
    from joblog.vision.dipstick_reading import combine_dipstick
    from joblog.vision.types import DipstickReading

    shots = shots_behind(state.photos, before)
    measured = [*(shot.measurement for shot in shots), measurement]
    if not all(shot.get("usable") for shot in measured):
        return {}
    both = combine_dipstick([DipstickReading.from_json(shot) for shot in measured]).to_json()
    told = {
        key: both[key] for key in ("usable", "why", "level_fraction", "level_uncertainty", "notes")
    }
    if both["level_uncertainty"] is not None:  # many shots share what they err in
        best = min(float(shot["level_uncertainty"] or 0) for shot in measured)
        told["level_uncertainty"] = max(float(both["level_uncertainty"]), best * LEAST_DOUBT)
    with_ = [shot.entry.id for shot in shots]
    return {"together": told | {"first": before.entry.id, "with": with_}}


def _labels(data: bytes, own: str) -> dict[str, Any]:
    """Return the bar codes on a label: evidence of fluid, part number or VIN, without typing.

    A VIN that isn't ``own``, the vehicle's, must fit its check digit: else it may be misread.
    """
    from joblog.vision.labels import load_for_labels, read_labels

    found = [label.to_json() for label in read_labels(load_for_labels(data))]
    why = None if found else "no bar code could be read: hold it flat, sharp and near"
    vin, trouble = label_vin([label["text"] for label in found], own)
    if trouble and not same_vin(vin, own):
        why, vin = trouble, ""
    else:
        trouble = ""
    for label in found:
        label["text"] = as_vin(label["text"])
    measured = {"kind": "label", "usable": not why, "why": why, "labels": found}
    told = {"vin": vin, "vin_trouble": trouble}
    return measured | {key: text for key, text in told.items() if text}


def mime_of(data: bytes) -> str:
    """Return the media type by the first bytes of a picture."""
    if data.startswith(b"\xff\xd8"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG"):
        return "image/png"
    if data[4:8] == b"ftyp":
        return "image/heic"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return "application/octet-stream"
