"""One door for every kind of photo: plug, dipstick or fluid."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from joblog.errors import UsageError
from joblog.vision.dipstick import measure_dipstick
from joblog.vision.dipstick_reading import combine_dipstick
from joblog.vision.fluid import measure_fluid
from joblog.vision.load import load_photo
from joblog.vision.types import DipstickReading, Photo, Reading

KINDS = ("plug", "dipstick", "fluid")


def measure_photo(
    source: str | Path | bytes | Photo,
    kind: str,
    *,
    plug_diameter_mm: float | None = None,
    mark_distance_mm: float | None = None,
) -> Reading:
    """Read a picture and measure what ``kind`` says: "plug", "dipstick" or "fluid".

    ``source`` is a path, the file's bytes or a photo already read. ``seconds`` of the reading is
    the whole time, reading the file included. Raises :class:`~joblog.errors.PhotoError` for a
    picture that can't be read and :class:`~joblog.errors.UsageError` for an unknown kind or a plug
    without its diameter; a picture that can't support a number is no error but ``usable`` false.
    """
    started = time.perf_counter()
    if kind not in KINDS:
        raise UsageError(f"{kind!r} is no kind of photo: say one of {', '.join(KINDS)}.")
    for name, value in (("plug diameter", plug_diameter_mm), ("mark distance", mark_distance_mm)):
        if value is not None and not 0 < value < 1000:
            raise UsageError(f"A {name} of {value:g} mm can't be: give it in mm, above 0.")
    photo = source if isinstance(source, Photo) else load_photo(source)
    reading = _measured(photo, kind, plug_diameter_mm, mark_distance_mm)
    notes = (*reading.notes, photo.note) if photo.note else reading.notes
    return replace(reading, notes=notes, seconds=time.perf_counter() - started)


def _measured(
    photo: Photo, kind: str, plug_diameter_mm: float | None, mark_distance_mm: float | None
) -> Reading:
    if kind == "dipstick":
        return measure_dipstick(photo, mark_distance_mm=mark_distance_mm)
    if kind == "fluid":
        return measure_fluid(photo)
    if plug_diameter_mm is None:
        raise UsageError(
            "A plug photo needs the plug's outer diameter in mm, as the job sheet gives it: "
            "without it nothing in the picture has a size."
        )
    from joblog.vision.plug import measure_plug

    return measure_plug(photo, plug_diameter_mm=plug_diameter_mm)


def measure_dipstick_shots(
    sources: Sequence[str | Path | bytes | Photo], *, mark_distance_mm: float | None = None
) -> DipstickReading:
    """Measure several shots of the same stick and combine them into one reading.

    The same picture given twice is one shot: it says nothing that it didn't say before.
    """
    photos = [s if isinstance(s, Photo) else load_photo(s) for s in sources]
    different = {photo.sha256: photo for photo in photos}.values()
    shots = [measure_photo(p, "dipstick", mark_distance_mm=mark_distance_mm) for p in different]
    return combine_dipstick([shot for shot in shots if isinstance(shot, DipstickReading)])
