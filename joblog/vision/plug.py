"""Measure a magnetic drain plug in a photo: film coverage, flakes, the magnet's size.

Rules, in this order:

1. The photo must be sharp and lit well enough; else it is refused with what to do.
2. The rim of the plug's end and the magnet must both be found surely, whole and large enough.
3. The scale comes from the rim: its major axis is the outer diameter of the thread, whatever the
   tilt, because a circle's longest chord is never foreshortened.
4. Film is counted on the magnet's face only; flakes of at least 0.3 mm are counted and sized by
   their maximum Feret diameter; smaller grains are no flakes.
"""

from __future__ import annotations

import time
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.errors import InputError
from joblog.vision import quality
from joblog.vision.ellipse import filled, to_value
from joblog.vision.particles import flakes_in
from joblog.vision.plug_debris import Debris, find_debris
from joblog.vision.plug_find import PlugFace, find_plug
from joblog.vision.plug_scale import scale_of
from joblog.vision.types import Photo, PlugReading, Polygon

LEAST_FLAKE_MM = 0.3
SUBJECT = "plug"
_REFERENCE_SIDE = 1024  # the long side for which the blur limit below was set
_MOST_BLUR = 3.0  # pixels, as quality.shake_width measures it; set on rendered plugs
_MOST_MM_PER_PX = 0.1  # a 0.3 mm flake must cover three pixels
# How far off the magnet's diameter may be, by how much of its edge lies under film. Of pictures
# that no network had seen one of 40 with less than 0.3 of it was off by more than 3 %, none of 38
# below 0.6 by more than 5 % and none of 47 above by more than 10 % (docs/plug.md).
_MAGNET_UNCERTAINTY = ((0.3, 0.03), (0.6, 0.05), (1.1, 0.10))
# How far off the coverage may be, for each 1 of the network's own doubt: 2.5 covered 124 of 125
# such pictures, 2 covered 117. A magnet of another size would have more or less of its edge's film.
_FILM_UNCERTAINTY, _LEAST_UNCERTAINTY = 2.5, 0.01


def measure_plug(photo: Photo, *, plug_diameter_mm: float) -> PlugReading:
    """Return what is on the plug; a photo that can't be measured gives ``usable`` False and why.

    ``plug_diameter_mm`` is the outer diameter of the plug's thread, from the job sheet. Raises
    :class:`~joblog.errors.InputError` where that isn't a positive length.
    """
    if not (np.isfinite(plug_diameter_mm) and 4.0 <= plug_diameter_mm <= 80.0):
        raise InputError(
            f"a plug diameter of {plug_diameter_mm} mm can't be meant: "
            "give the thread's outer diameter in millimetres, for example 18."
        )
    started = time.perf_counter()
    reading = _measure(photo, plug_diameter_mm)
    return replace(
        reading, plug_diameter_mm=plug_diameter_mm, seconds=time.perf_counter() - started
    )


def _measure(photo: Photo, plug_diameter_mm: float) -> PlugReading:
    why = _photo_fault(photo.rgb)
    if why:
        return PlugReading(usable=False, why=why)
    face = find_plug(photo.rgb)
    if face is None:
        return PlugReading(usable=False, why=quality.MISSING.format(subject=SUBJECT))
    why = _face_fault(photo.rgb, face, plug_diameter_mm)
    if why:
        return PlugReading(usable=False, why=why)
    debris = find_debris(photo.rgb, face)
    if not debris.sure:
        return PlugReading(usable=False, why=quality.UNSURE.format(subject=SUBJECT))
    return _reading(photo, face, debris, plug_diameter_mm)


def _photo_fault(rgb: NDArray[np.uint8]) -> str | None:
    """Return what is wrong with the picture as a whole."""
    why = quality.exposure_fault(rgb, subject=SUBJECT) or quality.centre_glare_fault(rgb, SUBJECT)
    if why is None and _blur(rgb, max(rgb.shape[:2])) > _MOST_BLUR:
        return quality.BLURRED.format(subject=SUBJECT)
    return why


def _blur(rgb: NDArray[np.uint8], long_side: int) -> float:
    return quality.shake_width(rgb) * _REFERENCE_SIDE / long_side


def _face_fault(rgb: NDArray[np.uint8], face: PlugFace, plug_diameter_mm: float) -> str | None:
    """Return what keeps a found plug from being measured."""
    if _is_cut_off(face, rgb.shape[:2]):
        return quality.CUT_OFF.format(subject=SUBJECT)
    if plug_diameter_mm / (2 * face.rim[2]) > _MOST_MM_PER_PX:
        return quality.TOO_SMALL.format(subject=SUBJECT)
    rim, magnet = filled(face.rim, rgb.shape[:2]), filled(face.magnet, rgb.shape[:2])
    why = (
        quality.exposure_fault(rgb, rim, SUBJECT)
        or quality.glare_fault(rgb, rim, SUBJECT, most=0.25)
        or quality.glare_fault(rgb, magnet, SUBJECT, most=0.3)
        or quality.haze_fault(rgb, magnet, SUBJECT)
    )
    if why:
        return why
    rows, columns = np.nonzero(rim)
    plug = rgb[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    if _blur(np.ascontiguousarray(plug), max(rgb.shape[:2])) > _MOST_BLUR:
        return quality.BLURRED.format(subject=SUBJECT)
    return None if face.sure else quality.UNSURE.format(subject=SUBJECT)


def _is_cut_off(face: PlugFace, shape: tuple[int, ...]) -> bool:
    cx, cy, a, b, angle = face.rim
    half_width = float(np.hypot(a * np.cos(angle), b * np.sin(angle)))
    half_height = float(np.hypot(a * np.sin(angle), b * np.cos(angle)))
    slack = 0.01 * float(a)
    return bool(
        cx - half_width < -slack
        or cy - half_height < -slack
        or cx + half_width > shape[1] - 1 + slack
        or cy + half_height > shape[0] - 1 + slack
    )


def _reading(photo: Photo, face: PlugFace, debris: Debris, plug_diameter_mm: float) -> PlugReading:
    long_side = max(photo.rgb.shape[:2])
    scale = scale_of(face.rim, debris.magnet, plug_diameter_mm, long_side, _focal(photo))
    aspect = float(face.rim[3] / face.rim[2])
    magnet_doubt = next(share for most, share in _MAGNET_UNCERTAINTY if debris.edge_film < most)
    flakes = flakes_in(
        debris.flakes,
        debris.crop,
        photo,
        mm_per_px=scale.magnet,
        tilt=(aspect, float(face.rim[4])),
        least_mm=LEAST_FLAKE_MM,
    )
    return PlugReading(
        usable=True,
        film_coverage=debris.coverage,
        film_uncertainty=_film_uncertainty(debris, magnet_doubt),
        flakes=flakes,
        magnet_diameter_mm=float(2 * debris.magnet[2] * scale.magnet),
        magnet_uncertainty=magnet_doubt,
        mm_per_px=scale.magnet / photo.scale,
        tilt_deg=float(np.rad2deg(np.arccos(min(1.0, aspect)))),
        rim=to_value(face.rim, photo.scale),
        magnet=to_value(debris.magnet, photo.scale),
        film_outlines_px=_outlines(debris, photo),
    )


def _film_uncertainty(debris: Debris, magnet_doubt: float) -> float:
    """Return how far off the coverage may be, by the network's doubt and by the magnet's size."""
    seen = _FILM_UNCERTAINTY * debris.film_doubt
    sized = 2.0 * magnet_doubt * abs(debris.edge_film - debris.coverage)
    return max(_LEAST_UNCERTAINTY, float(np.hypot(seen, sized)))


def _focal(photo: Photo) -> float | None:
    """Return the focal length in long sides of the picture, where its notes say it."""
    try:
        film = float(photo.exif.get("FocalLengthIn35mmFilm", "0"))
    except ValueError:
        return None
    return film / 36.0 if 10 <= film <= 400 else None


def _outlines(debris: Debris, photo: Photo, least_px: float = 12.0) -> tuple[Polygon, ...]:
    """Return the outlines of the film's larger pieces, in the original's pixels."""
    found, _ = cv2.findContours(
        debris.film_mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    drawn = [cv2.approxPolyDP(outline, 1.0, closed=True)[:, 0] for outline in found]
    kept = [shape for shape in drawn if cv2.contourArea(shape) >= least_px]
    return tuple(
        photo.polygon_to_original(debris.crop.outward(shape.astype(np.float64)).tolist())
        for shape in kept
    )
