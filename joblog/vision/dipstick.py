"""Read a dipstick: the level between its two marks, and how sure that is.

The rules:

* The level is measured along the blade, from the lower mark (0) to the upper (1); it may lie
  outside them. Perspective is taken out with the blade's own width, which is the same all along.
* ``level_uncertainty`` is the half width of the interval that holds the true level in about 95 of
  100 shots: marks, wet edge and perspective together.
* A blade, a pair of marks or a wet edge that isn't clear gives no number but a reason. Two shots of
  one stick are weighed by their uncertainties, and when they disagree that is said.
"""

from __future__ import annotations

import time
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.dipstick_blade import Blade, find_blades, looks_like_a_blade, standing_out
from joblog.vision.dipstick_glare import in_glare
from joblog.vision.dipstick_hatch import hatch_signals
from joblog.vision.dipstick_level import FAINT, WetEdge, find_wet_edge, tip_first
from joblog.vision.dipstick_marks import elsewhere, find_marks, fits_distance
from joblog.vision.dipstick_reading import reading_of
from joblog.vision.dipstick_signals import Marks, unit_of
from joblog.vision.dipstick_strip import StripReading, marks_and_edge, read_strip
from joblog.vision.quality import (
    BLURRED,
    GLARE,
    NO_COLOURS,
    TOO_DARK,
    blur_width,
    exposure_fault,
    is_grey,
)
from joblog.vision.types import DipstickReading, Photo

NO_BLADE = "no dipstick blade found: lay the blade on a plain cloth and fill the picture with it"
NO_MARKS = "the two marks can't be made out: get both in the picture, in focus, without glare"
CUT_OFF_MARK = "a mark is cut off: step back until both marks are in the picture"
DOUBTFUL_MARKS = "two pairs of marks look alike: wipe drops off around the marks and take it again"
NO_FIT = (
    "the marks seen don't fit the mark distance of {distance:g} mm: get both marks whole into the "
    "picture, out of the glare, with no drops around them; if they are, check that it is the right "
    "dipstick and distance for this vehicle"
)
NO_EDGE = (
    "the wet edge can't be made out: get it into the picture with bare blade beyond it; if it is, "
    "wipe, dip again and hold the blade so that the fluid shines"
)
HIDDEN = (
    "something hides the blade at a mark or at the wet edge: take fingers and cloth away, "
    "turn it out of the glare and take it again"
)
# Limits are our own, set on rendered sticks; docs/eye.md says on which, and how well they hold.
OVERRULED = (NO_MARKS, DOUBTFUL_MARKS, NO_FIT, NO_EDGE)  # by the network, where it is sure
SAME_LEVEL = 0.12  # a level that differs by less is the same one
LEAST_MARK_SCORE = {True: 0.28, False: 0.36}  # of round marks, of a hatched zone
LEAST_MARK_MARGIN = {True: 0.015, False: 0.05}  # with a known distance, and without
SURE_MARKS = 0.45  # marks this clear: no other blade is looked for
WORK_PX = 1100  # longest side worked on; more shows nothing more of a blade
LEAST_PROBABILITY = 0.55  # of the wet edge's place against all others
HATCHED = 0.55  # hatching at the picture's rim that is no chance
AT_THE_END = 0.5  # half widths from where the blade's sides end; there an edge may be its tip
LIKE_GROUND = 0.1  # log ratio of strip and ground beside it, below which the strip is ground
LEAST_SEEN = 0.22  # of the usual strength of the blade's sides, below which they are hidden
MOST_UNSURE = 0.4  # a wider interval says nothing
MOST_BELOW, MOST_ABOVE = -1.5, 2.5  # beyond them it was no level that was seen
MOST_BLUR = 0.0036  # width of the sharpest edges, as a share of the picture's long side
LEAST_BRIGHT = 55  # of the blade's brightest parts, 8-bit
MOST_BURNT = 0.2  # share of the picture burnt out, above which glare is what went wrong
MOST_BURNT_BLADE = 0.33  # and of the blade alone; a quarter of dry steel may be, and all be seen


def measure_dipstick(photo: Photo, *, mark_distance_mm: float | None = None) -> DipstickReading:
    """Return the fluid level between the marks of the dipstick in ``photo``.

    ``photo.rgb`` is 8-bit sRGB (h, w, 3). ``mark_distance_mm`` is the known distance between the
    marks; it narrows down which marks are meant and scales the overlay. A photo that can't support
    a level gives ``usable`` false with the reason; nothing is raised.
    """
    started = time.perf_counter()
    reading = _measured(_shrunk(photo), mark_distance_mm)
    return replace(
        reading, mark_distance_mm=mark_distance_mm, seconds=time.perf_counter() - started
    )


class _NoLevelError(Exception):
    """The level can't be supported; the message is the reason to be shown."""


def _measured(photo: Photo, mark_distance_mm: float | None) -> DipstickReading:
    try:
        fault = exposure_fault(photo.rgb, None, "dipstick")
        if fault:
            raise _NoLevelError(fault)
        blade, pairs = _marked_blade(photo, mark_distance_mm)
        try:
            return _weighed(photo, blade, pairs, mark_distance_mm)
        except _NoLevelError as reason:
            burnt = str(reason) == NO_EDGE and _burnt(blade) > MOST_BURNT_BLADE
            raise _NoLevelError(GLARE.format(subject="dipstick") if burnt else reason) from None
    except _NoLevelError as reason:
        return _refused(photo, str(reason), mark_distance_mm)


def _weighed(
    photo: Photo, blade: Blade, pairs: list[Marks], mark_distance_mm: float | None
) -> DipstickReading:
    """Return what the rules say, or the network where it is sure and sees otherwise, or raise."""
    strip = read_strip(blade)
    ruled: DipstickReading | _NoLevelError
    try:
        ruled = _by_rules(photo, blade, strip, pairs, mark_distance_mm)
    except _NoLevelError as reason:
        if str(reason) not in OVERRULED:
            raise
        ruled = reason
    seen = marks_and_edge(blade, strip, pairs, mark_distance_mm)
    if seen is not None:
        try:
            other = _checked(photo, blade, *seen)
        except _NoLevelError:
            seen = None
    if isinstance(ruled, _NoLevelError):
        if seen is None:
            raise ruled
        return other
    if seen is None or abs((other.level_fraction or 0) - (ruled.level_fraction or 0)) <= SAME_LEVEL:
        return ruled
    return other


def _by_rules(
    photo: Photo,
    blade: Blade,
    strip: StripReading,
    pairs: list[Marks],
    mark_distance_mm: float | None,
) -> DipstickReading:
    fault = _fault_of_marks(blade, pairs, mark_distance_mm)
    if fault:
        raise _NoLevelError(fault)
    edge = find_wet_edge(blade, pairs[0])
    if edge is None or edge.probability < LEAST_PROBABILITY or strip.doubts_edge(pairs[0], edge):
        raise _NoLevelError(NO_EDGE)
    if strip.doubts_marks(pairs[0]):
        raise _NoLevelError(NO_MARKS)
    told = strip.told_by(edge, unit_of(blade))
    if told is None:
        raise _NoLevelError(NO_EDGE)
    return _checked(photo, blade, *strip.refined(pairs[0], told))


def _checked(photo: Photo, blade: Blade, marks: Marks, edge: WetEdge) -> DipstickReading:
    """Return the reading of marks and edge, or raise where they can't be what they seem to be."""
    if _is_the_tip(blade, edge):
        raise _NoLevelError(NO_EDGE)
    if _is_hidden(blade, marks, edge):
        raise _NoLevelError(HIDDEN)
    if in_glare(blade, edge):
        raise _NoLevelError(GLARE.format(subject="dipstick"))
    if edge.contrast <= FAINT and tip_first(blade, marks) * (1 if edge.wet_first else -1) < 0:
        raise _NoLevelError(NO_EDGE)  # without colour, the blade's shape must not say the opposite
    reading = reading_of(photo, blade, marks, edge)
    likely = MOST_BELOW <= (reading.level_fraction or 0.0) <= MOST_ABOVE
    if not likely or (reading.level_uncertainty or 0.0) > MOST_UNSURE:
        raise _NoLevelError(NO_EDGE)
    return reading


def _marked_blade(photo: Photo, mark_distance_mm: float | None) -> tuple[Blade, list[Marks]]:
    """Return the blade and what may be its marks, or raise with the reason."""
    found: tuple[float, Blade, list[Marks]] | None = None
    for order, blade in enumerate(find_blades(photo.rgb, 2)):
        if not looks_like_a_blade(blade):
            continue
        pairs = find_marks(blade, mark_distance_mm)
        score = pairs[0].score * blade.support * (0.75**order) if pairs else 0.0
        if found is None or score > found[0]:
            found = (score, blade, pairs)
        if score > SURE_MARKS:
            break
    if found is None:
        raise _NoLevelError(NO_BLADE)
    _, blade, pairs = found
    if _too_dark(blade):
        raise _NoLevelError(TOO_DARK.format(subject="dipstick"))
    if _blurred(photo, blade):
        raise _NoLevelError(BLURRED.format(subject="dipstick"))
    return blade, pairs


def _fault_of_marks(blade: Blade, pairs: list[Marks], mark_distance_mm: float | None) -> str | None:
    """Return why the first of ``pairs`` can't be taken for the marks, or None where it can."""
    if not any(_clear(pair, pair.clearness) for pair in pairs):
        return NO_MARKS
    if _clear(pairs[0], pairs[0].score) and _runs_out(blade, pairs[0]):
        return CUT_OFF_MARK
    if mark_distance_mm is not None and not fits_distance(blade, pairs, mark_distance_mm):
        return NO_FIT
    if not _clear(pairs[0], pairs[0].score):
        return NO_MARKS
    doubtful = _margin(pairs) < LEAST_MARK_MARGIN[mark_distance_mm is not None]
    return DOUBTFUL_MARKS if doubtful else None


def _clear(pair: Marks, score: float) -> bool:
    return score >= LEAST_MARK_SCORE[pair.radius > 0]


def _refused(photo: Photo, why: str, mark_distance_mm: float | None) -> DipstickReading:
    """Return an unusable reading; glare, blur or missing colours explain more."""
    if why not in (NO_BLADE, NO_MARKS, DOUBTFUL_MARKS, NO_FIT, NO_EDGE):
        return DipstickReading(usable=False, why=why)
    burnt = float((photo.rgb.min(axis=2) >= 250).mean())
    if burnt > MOST_BURNT:
        why = GLARE.format(subject="dipstick")
    elif blur_width(photo.rgb) > MOST_BLUR * max(photo.rgb.shape[:2]):
        why = BLURRED.format(subject="dipstick")
    elif why == NO_EDGE and is_grey(photo.rgb):
        why = NO_COLOURS
    return DipstickReading(usable=False, why=why.format(distance=mark_distance_mm))


def _too_dark(blade: Blade) -> bool:
    """Say whether even the bright parts of the blade, bare metal, are nearly black."""
    return float(np.percentile(_inner(blade).mean(axis=2), 92)) < LEAST_BRIGHT


def _burnt(blade: Blade) -> float:
    """Return the share of the blade that is burnt out: there neither mark nor edge can be seen."""
    return float((_inner(blade).min(axis=2) >= 250).mean())


def _inner(blade: Blade) -> NDArray[np.float32]:
    """Return the pixels (rows, length, 3) of the blade without its sides."""
    strip = blade.strip
    return strip.pixels[np.abs(strip.across) < 0.85, blade.first : blade.last + 1]


def _runs_out(blade: Blade, marks: Marks) -> bool:
    """Say whether a hatched zone runs out of the picture: its end, a mark, isn't seen."""
    inside = np.flatnonzero(blade.strip.inside)
    room = 0.75 * unit_of(blade)
    if marks.radius == 0 and (marks.a - inside[0] < room or inside[-1] - marks.b < room):
        return True
    hatch = hatch_signals(blade)[0]
    reach = max(3, round(room))
    ends = [hatch[inside[0] : inside[0] + reach], hatch[inside[-1] - reach : inside[-1]]]
    seen_there = (blade.first <= inside[0] + reach, blade.last >= inside[-1] - reach)
    return any(
        seen and float(end.mean()) > HATCHED for end, seen in zip(ends, seen_there, strict=True)
    )


def _is_the_tip(blade: Blade, edge: WetEdge) -> bool:
    """Say whether the edge is where the blade ends: beyond it lies what lies beside it, too."""
    strip, unit = blade.strip, unit_of(blade)
    reach = np.arange(round(0.25 * unit), max(3, round(1.1 * unit)))
    across = strip.across
    beside = [(side * across > 1.15) & (side * across < 1.5) for side in (-1, 1)]
    for end, way in ((blade.first, -1), (blade.last, 1)):
        beyond = round(edge.column) + way * reach
        beyond = beyond[(beyond >= 0) & (beyond < strip.pixels.shape[1])]
        if abs(end - edge.column) > AT_THE_END * unit or len(beyond) < 3:
            continue
        logs = np.log(strip.pixels[:, beyond] + 6.0)
        inner, *ground = (
            np.median(logs[part], axis=(0, 1)) for part in (np.abs(across) < 0.7, *beside)
        )
        if min(float(np.abs(inner - one).max()) for one in ground) < LIKE_GROUND:
            return True
    return False


def _is_hidden(blade: Blade, marks: Marks, edge: WetEdge) -> bool:
    """Say whether the blade's sides are lost at a mark, at the edge or between them.

    A finger has an edge, too, and its own colour: what it covers can't be seen.
    """
    unit = unit_of(blade)
    level = standing_out(blade.strip)
    usual = float(np.percentile(level[blade.first : blade.last + 1], 80))
    window = max(3, round(0.8 * unit))
    seen = np.convolve(level, np.ones(window) / window, "same")
    places = (marks.a, marks.b, edge.column)
    first, last = max(0, round(min(places) - 0.8 * unit)), round(max(places) + 0.8 * unit)
    return float(seen[first : last + 1].min()) < LEAST_SEEN * usual


def _blurred(photo: Photo, blade: Blade) -> bool:
    """Say whether the blade itself is out of focus or smeared, whatever its surroundings are."""
    strip = np.clip(blade.strip.pixels[:, blade.first : blade.last + 1], 0, 255).astype(np.uint8)
    limit = MOST_BLUR * max(photo.rgb.shape[:2])
    return bool(blur_width(np.ascontiguousarray(strip)) * blade.strip.pitch > limit)


def _shrunk(photo: Photo) -> Photo:
    """Return the photo at the size that is worked on, its scale adjusted."""
    height, width = photo.rgb.shape[:2]
    factor = max(height, width) / WORK_PX
    if factor <= 1.0:
        return photo
    size = (round(width / factor), round(height / factor))
    rgb = np.asarray(cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    return replace(photo, rgb=rgb, scale=photo.scale * width / size[0])


def _margin(pairs: list[Marks]) -> float:
    """Return by how much the best pair beats the best that lies elsewhere."""
    return pairs[0].score - max((pair.score for pair in elsewhere(pairs)), default=0.0)
