"""Colour of a drop of fluid on white paper, corrected by that paper.

The rules:

* A colour is only as good as its white: the paper around the blot is the white, followed across
  the picture (light falls off towards one side), channel by channel in linear light.
* The colour is that of the soaked core. The pale ring that creeps outwards, the standing drop with
  its reflections and the veil of light that it throws back are not the fluid's colour.
* Wet paper throws back a little white light from its surface. What is left of it after the drop is
  excluded is taken off (`SURFACE_REFLECTION`), otherwise dark fluids read too light; never so much
  that less is left than any fluid throws back (`DARKEST`): not every surface shines alike.
* No white paper, no blot, blown-out or dark paper, glare on the blot: no colour, and a reason.
* Anything dark and round would do for a blot. A drop on paper has bare paper all round it, is one
  even stain, and is no grey (`_check_drop`): a plug, a dipstick or a shadow is not.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.quality import BLURRED, GLARE, NO_COLOURS, blur_width, is_grey
from joblog.vision.tone import (
    LUMA,
    lab_from_linear,
    linear_from_srgb,
    srgb_from_linear,
    without_shoulder,
)
from joblog.vision.types import FluidReading, Photo, Polygon

Array = NDArray[np.float64]
Array32 = NDArray[np.float32]
Mask = NDArray[np.bool_]

MOST_CORNERS = 60
WORK_PX = 512  # longest side worked on: a blot is a large soft thing, detail is noise here
LEAST_LIGHT = 0.06  # of the paper, linear: below it a dark fluid is a few steps of 8 bits
MOST_BLUR = 0.0075  # width of the sharpest edges at that size, as a share of its long side
NEAR = 0.6  # radii around the blot in which its sharpness is judged
MOST_HOLLOW = 0.06  # share of the blot's inside that is no stain: light thrown back hides it
MOST_BURNT = 0.03  # share of the picture burnt out, above which glare is what went wrong
MOST_BURNT_MIDDLE = 0.3  # share of its middle, where around it there is less than half of that
# Paper as bright as this in any channel lies where a camera squeezes all light into a few steps:
# how it does so is our assumption (tone.py), and what it threw away can't be known.
BLOWN_FROM = 249.0  # 8-bit, median
UNDONE = 0.97  # share of the way from a camera's shoulder to white that is undone
SURFACE_REFLECTION = 0.0135  # white light thrown back by wet paper, part of the paper's own light
DARKEST = 0.010  # least that a fluid's darkest channel throws back: of the twelve labelled, 0.0103

# What a drop on paper must look like. Set on rendered pictures (docs/eye.md says how they hold).
AROUND = (0.08, 0.6)  # ring that is looked at, in radii outside the blot's outline
RING_SEEN = 0.3  # least share of a whole ring that must lie in the picture
BARE = 0.08  # log10 of the ratio to paper up to which it is bare
BARE_SHARE = 0.85  # least share of the ring that is bare paper
BARE_BEYOND = 0.4  # and of all that lies outside the blot: a plug's bare steel is no sheet of paper
EVEN = 0.125  # most log10 between the dark and the light tenth of the core
VEIL = 0.03  # added to both of these: noise and the shine of a wet surface are no pattern
GREY = 4.0  # chroma up to which a spot is called grey
GREY_FROM = 20.0  # L* below which a fluid may be as grey as soot
_OTHER_KIND = "if this shows a plug or a dipstick, send it again as that"
NOT_A_DROP = (
    "{what}: put one large drop on plain white paper, with bare paper all round it; "
    f"{_OTHER_KIND}"
)
TOO_DARK = (
    "too dark: put the paper in brighter light, with bare paper all round the drop, "
    "and take it again"
)
GREY_SPOT = "the spot is as grey as metal or a shadow"
GLARE_ON_DROP = f"{GLARE.format(subject='fluid')}; {_OTHER_KIND}"


class _NoColourError(Exception):
    """The colour can't be supported; the message is the reason to be shown."""


@dataclass(frozen=True)
class _Blot:
    core: Mask
    outline: NDArray[np.int32]
    center: tuple[float, float]
    radius: float
    hollow: float


def measure_fluid(photo: Photo) -> FluidReading:
    """Return the colour of the largest blot of fluid on white paper.

    The reading's ``lab`` is CIELAB under D65 (2° observer) with the paper as white, ``srgb`` the
    same colour as 8-bit sRGB. A photo that can't support a colour gives ``usable`` false with the
    reason; nothing is raised.
    """
    started = time.perf_counter()
    try:
        reading = _measured(photo)
    except _NoColourError as reason:
        reading = FluidReading(usable=False, why=_explained(str(reason), photo.rgb))
    return replace(reading, seconds=time.perf_counter() - started)


def _explained(why: str, rgb: NDArray[np.uint8]) -> str:
    """Return why there is no colour; where glare or missing colours explain it, that."""
    if _OTHER_KIND not in why:
        return why
    if why == NOT_A_DROP.format(what=GREY_SPOT) and is_grey(rgb):
        return NO_COLOURS
    return GLARE_ON_DROP if float((rgb.min(axis=2) >= 250).mean()) > MOST_BURNT else why


def _measured(photo: Photo) -> FluidReading:
    small, scale = _shrunk(photo.rgb)
    _check_glare(small)
    linear = _linear_light(small)
    paper, white = _paper_light(linear, small)
    ratio = linear / paper
    blot = _main_blot(ratio)
    _check_sharp(ratio, blot, small)
    colour = _core_colour(ratio, blot)
    _check_drop(ratio, blot, colour)
    if is_grey(photo.rgb):
        raise _NoColourError(NO_COLOURS)

    def original(points: Sequence[Sequence[float]]) -> Polygon:
        return photo.polygon_to_original(
            ((x + 0.5) * scale - 0.5, (y + 0.5) * scale - 0.5) for x, y in points
        )

    return FluidReading(
        usable=True,
        lab=lab_from_linear(colour),
        srgb=srgb_from_linear(colour),
        paper_srgb=srgb_from_linear(white),
        blot_center_px=original([blot.center])[0],
        blot_radius_px=blot.radius * scale * photo.scale,
        blot_outline_px=original(_few_corners(blot.outline).tolist()),
    )


def _few_corners(outline: NDArray[np.int32]) -> NDArray[np.int32]:
    """Return the outline (n, 2) with at most 60 corners (Douglas-Peucker, ever coarser).

    It is kept in the record to be drawn over the photo: more corners wouldn't be seen.
    """
    tolerance = 0.5
    while len(outline) > MOST_CORNERS:
        outline = np.asarray(cv2.approxPolyDP(outline, tolerance, closed=True)[:, 0], np.int32)
        tolerance *= 1.5
    return outline


def _shrunk(rgb: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Return the picture at working size and the factor back to full size."""
    height, width = rgb.shape[:2]
    scale = max(1.0, max(height, width) / WORK_PX)
    if scale == 1.0:
        return rgb, 1.0
    size = (max(1, round(width / scale)), max(1, round(height / scale)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8), scale


def _check_glare(rgb: NDArray[np.uint8]) -> None:
    """Refuse a picture whose middle is burnt out, and far more so than what lies around it."""
    burnt = rgb.min(axis=2) >= 250
    height, width = burnt.shape
    middle = burnt[height // 4 : height - height // 4, width // 4 : width - width // 4]
    around = (burnt.sum() - middle.sum()) / (burnt.size - middle.size)
    if float(middle.mean()) > MOST_BURNT_MIDDLE and around < 0.5 * middle.mean():
        raise _NoColourError(GLARE_ON_DROP)


def _linear_light(rgb: NDArray[np.uint8]) -> Array32:
    """Return the light of 8-bit sRGB, the camera's roll-off undone; 1 is white without it."""
    codes = linear_from_srgb(without_shoulder(np.arange(256) / 255.0, UNDONE))
    return np.asarray(codes.astype(np.float32)[rgb])


def _paper_light(linear: Array32, rgb: NDArray[np.uint8]) -> tuple[Array32, Array]:
    """Return the light that bare paper sends back at every pixel, and its middle value.

    A second-order surface in the logarithm of each channel, fitted to the paper only; what is
    paper is decided anew after every fit.
    """
    smooth = cv2.GaussianBlur(linear, (0, 0), 2.5)
    luma = smooth @ LUMA
    bright = float(np.percentile(luma, 92))
    if bright < LEAST_LIGHT:
        raise _NoColourError(TOO_DARK)
    mask = luma > 0.55 * bright
    step = 8
    height, width = luma.shape
    y, x = np.mgrid[0:height:step, 0:width:step]
    basis = _surface(x / width - 0.5, y / height - 0.5)
    logs = np.log(np.maximum(smooth[::step, ::step], 1e-4)).reshape(-1, 3)
    inside = mask[::step, ::step].ravel()
    coefficients = np.zeros((basis.shape[1], 3))
    for _ in range(6):
        if inside.sum() < 0.08 * inside.size:
            raise _NoColourError(NOT_A_DROP.format(what="no white paper found"))
        coefficients = np.linalg.lstsq(basis[inside], logs[inside], rcond=None)[0]
        off = np.abs(logs - basis @ coefficients).max(axis=1)
        inside = off < max(0.05, 2.5 * float(np.median(off[inside])))
    _check_white(np.exp(coefficients[0]), rgb, mask)
    y, x = np.mgrid[0:height, 0:width]
    fitted = _surface(x / width - 0.5, y / height - 0.5) @ coefficients
    return np.exp(fitted.astype(np.float32)).reshape(height, width, 3), np.exp(coefficients[0])


def _surface(x: Array, y: Array) -> Array:
    x, y = x.ravel(), y.ravel()
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def _check_white(white: Array, rgb: NDArray[np.uint8], paper: Mask) -> None:
    """Refuse paper that is blown out, or far from any white that a lamp could explain."""
    if float(np.median(rgb[paper], axis=0).max()) >= BLOWN_FROM:
        raise _NoColourError(
            "the paper is blown out: away from the lamp, no flash, and take it again"
        )
    red, green, blue = (float(v) for v in white)
    # Lamps from candle light to blue sky stay well inside these ratios, coloured cloth does not.
    if (green < 0.45 * max(red, blue) and green < 0.8 * min(red, blue)) or blue > 2.4 * red:
        raise _NoColourError(NOT_A_DROP.format(what="the background isn't white paper"))
    if red > 9.0 * blue or red > 3.2 * green:
        raise _NoColourError(NOT_A_DROP.format(what="the background isn't white paper"))


def _main_blot(ratio: Array32) -> _Blot:
    """Return the largest stained region that lies well inside the picture."""
    smooth = np.clip(cv2.GaussianBlur(ratio, (0, 0), 1.5), 1e-3, None)
    density, deepest = -np.log10(smooth.max(axis=2)), -np.log10(smooth.min(axis=2))
    over = ((deepest > 0.12) & (density > -0.05)).astype(np.uint8)
    stained = np.asarray(cv2.morphologyEx(over, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)))
    count, labels, stats, centers = cv2.connectedComponentsWithStats(stained)
    height, width = stained.shape
    best, best_score = 0, 0.0
    for index in range(1, count):
        score = _blot_score(stats[index], centers[index], width, height)
        if score > best_score:
            best, best_score = index, score
    if best == 0 or stats[best][cv2.CC_STAT_AREA] < 0.004 * height * width:
        raise _NoColourError(NOT_A_DROP.format(what="no blot of fluid found"))
    return _blot_of(labels == best, deepest)


def _blot_score(stats: NDArray[np.int32], center: Array, width: int, height: int) -> float:
    """Larger, rounder and nearer to the middle is more likely the blot that is meant."""
    left, top, wide, high, area = (float(v) for v in stats[:5])
    touches = (left <= 1) + (top <= 1) + (left + wide >= width - 1) + (top + high >= height - 1)
    off = np.hypot(center[0] / width - 0.5, center[1] / height - 0.5)
    filled = min(1.0, area / (0.785 * wide * high))
    return float(area * filled**2 * np.exp(-2.0 * off) * (0.35**touches))


def _check_sharp(ratio: Array32, blot: _Blot, rgb: NDArray[np.uint8]) -> None:
    """Refuse a picture so blurred that core, ring and paper run into each other.

    Two witnesses must agree, as a smooth towel has few edges and a wet blot a soft rim: the
    sharpest edges in and around the blot (what else is in the picture may be sharp), and the
    steepest part of the stain's rim.
    """
    depth = cv2.GaussianBlur(-np.log10(np.clip(ratio.min(axis=2), 1e-3, None)), (0, 0), 0.8)
    gy, gx = np.gradient(depth)
    rim = np.zeros(depth.shape, np.uint8)
    width = max(3, round(0.5 * blot.radius))
    cv2.polylines(rim, [blot.outline.reshape(-1, 1, 2)], True, 1, width)
    steepest = float(np.percentile(np.hypot(gx, gy)[rim > 0], 97))
    soft_rim = steepest * blot.radius < 6.0 * float(np.median(depth[blot.core]))
    left, top, wide, high = cv2.boundingRect(blot.outline.reshape(-1, 1, 2))
    beside = round(NEAR * blot.radius)
    near = rgb[max(0, top - beside) : top + high + beside, max(0, left - beside) :]
    near = np.ascontiguousarray(near[:, : left + wide + beside - max(0, left - beside)])
    # Of both, since in noise a small part looks sharper than it is.
    if soft_rim and max(blur_width(rgb), blur_width(near)) > MOST_BLUR * max(rgb.shape[:2]):
        raise _NoColourError(BLURRED.format(subject="blot"))


def _blot_of(region: Mask, deepest: Array32) -> _Blot:
    """Find the soaked core of a stained region: where the stain's depth has levelled off."""
    contours = cv2.findContours(region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[
        0
    ]
    outline = max(contours, key=cv2.contourArea)
    filled = np.zeros(region.shape, np.uint8)
    cv2.drawContours(filled, [outline], -1, 1, cv2.FILLED)
    area = float(filled.sum())
    radius = float(np.sqrt(area / np.pi))
    _check_round(np.asarray(outline, np.int32), area)
    plateau = float(np.percentile(deepest[filled > 0], 70))
    deep = ((deepest > 0.75 * plateau) & (filled > 0)).astype(np.uint8)
    soaked = np.asarray(cv2.morphologyEx(deep, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8)))
    depth = cv2.distanceTransform(soaked, cv2.DIST_L2, 5)
    core = depth > 0.22 * float(depth.max())
    if core.sum() < 60:
        raise _NoColourError("the blot is too small to measure: go nearer, or use a larger drop")
    moments = cv2.moments(filled, True)
    center = (moments["m10"] / moments["m00"], moments["m01"] / moments["m00"])
    hollow = 1.0 - float(region.sum()) / area
    return _Blot(core, outline[:, 0, :].astype(np.int32), center, radius, hollow)


def _check_round(outline: NDArray[np.int32], area: float) -> None:
    """Refuse what no drop on paper looks like: strips, corners, shapes full of bays."""
    hull = float(cv2.contourArea(cv2.convexHull(outline)))
    reach = cv2.minEnclosingCircle(outline)[1]
    if area < 0.75 * hull or area < 0.4 * np.pi * reach**2:
        raise _NoColourError(NOT_A_DROP.format(what="no round blot found"))


def _check_drop(ratio: Array32, blot: _Blot, colour: Array) -> None:
    """Refuse what is dark and round, but no drop of fluid on paper: a plug, a stick, a shadow."""
    smooth = np.maximum(np.asarray(cv2.GaussianBlur(ratio, (0, 0), 2.5), np.float32), 1e-3)
    if not _paper_around(smooth, blot):
        raise _NoColourError(NOT_A_DROP.format(what="no white paper around the dark spot"))
    if blot.hollow > MOST_HOLLOW:
        raise _NoColourError(GLARE_ON_DROP)
    dark, light = np.percentile((smooth @ LUMA)[blot.core], [10, 90]) + VEIL
    if np.log10(light / dark) > EVEN:
        raise _NoColourError(NOT_A_DROP.format(what="the dark spot is no even stain"))
    lightness, a, b = lab_from_linear(colour)
    if lightness > GREY_FROM and np.hypot(a, b) < GREY:
        raise _NoColourError(NOT_A_DROP.format(what=GREY_SPOT))


def _paper_around(smooth: Array32, blot: _Blot) -> bool:
    """Say whether the ring around the blot lies in the picture and is paper, as most else is."""
    outside = np.ones(smooth.shape[:2], np.uint8)
    cv2.drawContours(outside, [blot.outline.reshape(-1, 1, 2)], -1, 0, cv2.FILLED)
    distance = cv2.distanceTransform(outside, cv2.DIST_L2, 5) / blot.radius
    ring = (distance > AROUND[0]) & (distance < AROUND[1])
    whole = np.pi * blot.radius**2 * ((1 + AROUND[1]) ** 2 - (1 + AROUND[0]) ** 2)
    if ring.sum() < RING_SEEN * whole:
        return False
    bare = np.abs(np.log10(smooth)).max(axis=2) < BARE
    beyond = float(bare[outside > 0].mean())
    return float(bare[ring].mean()) >= BARE_SHARE and beyond >= BARE_BEYOND


def _core_colour(ratio: Array32, blot: _Blot) -> Array:
    """Return the core's colour, linear and relative to the paper.

    A standing drop only ever adds light, so the darker half of the core is the part without it;
    the picture is smoothed first, so that the darker half isn't merely the noise.
    """
    smooth = cv2.GaussianBlur(ratio, (0, 0), max(1.5, blot.radius / 30))
    pixels = smooth[blot.core]
    luma = pixels @ LUMA
    low, high = np.percentile(luma, [8, 45])
    chosen = pixels[(luma >= low) & (luma <= high)]
    colour = np.median(chosen, axis=0)
    # What would leave less than any fluid throws back was no light of the surface.
    surface = min(SURFACE_REFLECTION, max(0.0, float(colour.min()) - DARKEST))
    return np.asarray(np.clip(colour - surface, 0.0005, 1.0), np.float64)
