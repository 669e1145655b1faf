"""Is a photo good enough to measure in? Asked before anything is measured.

Each check returns None where all is well, else one sentence that a technician can act on. The
checks look at a region of 8-bit sRGB; ``mask`` (h, w) marks the subject in it. Limits are our own,
set on rendered pictures.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_Gradient = tuple[cv2.typing.MatLike, cv2.typing.MatLike]

TOO_DARK = "too dark: light the {subject} from the side and take the photo again"
WASHED_OUT = "washed out: move the light away or turn the {subject} and take the photo again"
GLARE = "glare hides the {subject}: light it from the side, without flash, and take it again"
BLURRED = "blurred: hold still, wipe the lens, tap the {subject} to focus, and take it again"
CUT_OFF = "the {subject} is cut off: step back until all of it is in the picture"
TOO_SMALL = "too small to measure: go closer until the {subject} fills a third of the picture"
NO_COLOURS = "the photo has no colours: switch the camera to colour and take it again"
UNSURE = (
    "the {subject} isn't clear enough to measure: fill a third of the picture with it, "
    "seen straight from the front, on a plain cloth"
)
MISSING = (
    "no {subject} found: put it in the middle of the picture, on a plain cloth, "
    "and go closer until it fills a third of it"
)


_THREE = np.ones((3, 3), np.uint8)
_LEAST_HAZE = 0.06  # of the subject; the largest burnt piece of 21 labelled magnets has 0.039
_HAZY = (
    130  # least channel around it, 8-bit; 188 and more in glare, 46 beside a lamp's mirror image
)


def exposure_fault(
    rgb: NDArray[np.uint8], mask: NDArray[np.bool_] | None = None, subject: str = "part"
) -> str | None:
    """Return what is wrong with the light on a region: too dark or washed out."""
    grey = luma(rgb)
    values = grey[mask] if mask is not None else grey.ravel()
    low, middle, high = np.percentile(values, (10, 50, 95))
    if high < 50 or (middle < 13 and high < 90):
        return TOO_DARK.format(subject=subject)
    if low > 225 or float((values > 250).mean()) > 0.6:
        return WASHED_OUT.format(subject=subject)
    return None


def glare_fault(
    rgb: NDArray[np.uint8], mask: NDArray[np.bool_], subject: str = "part", most: float = 0.35
) -> str | None:
    """Return the glare sentence where more than ``most`` of the subject is burnt out."""
    white = rgb >= 250
    burnt = white[..., 0] & white[..., 1] & white[..., 2] & mask
    if float(burnt.sum()) > most * max(1, int(mask.sum())):
        return GLARE.format(subject=subject)
    return None


def haze_fault(
    rgb: NDArray[np.uint8], mask: NDArray[np.bool_], subject: str = "part"
) -> str | None:
    """Return the glare sentence where a burnt piece of the subject fades softly into what it hides.

    A lamp that bare metal mirrors ends sharply, and beside it all can be seen. Of glare across the
    lens or on a film of oil more is lost than is burnt.
    """
    least = rgb.min(axis=2)
    burnt = cv2.morphologyEx(((least >= 250) & mask).astype(np.uint8), cv2.MORPH_CLOSE, _THREE)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(burnt)
    if count < 2:
        return None
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    area = float(stats[largest, cv2.CC_STAT_AREA])
    if area < _LEAST_HAZE * max(1, int(mask.sum())):
        return None
    away = cv2.distanceTransform((labels != largest).astype(np.uint8), cv2.DIST_L2, 5)
    away /= np.sqrt(area / np.pi)
    around = least[(away > 0.3) & (away <= 0.5) & mask]
    if len(around) and float(np.percentile(around, 15)) > _HAZY:
        return GLARE.format(subject=subject)
    return None


def centre_glare_fault(rgb: NDArray[np.uint8], subject: str = "part") -> str | None:
    """Return the glare sentence where a third of the picture's middle is burnt out."""
    grey = luma(rgb)
    height, width = grey.shape
    middle = grey[height // 4 : height - height // 4, width // 4 : width - width // 4]
    return GLARE.format(subject=subject) if float((middle >= 247).mean()) > 0.33 else None


def is_grey(rgb: NDArray[np.uint8]) -> bool:
    """Say whether a picture was taken or kept without colours."""
    part = rgb[::4, ::4].astype(np.int16)
    return bool(np.percentile(part.max(axis=2) - part.min(axis=2), 99.9) <= 1)


def blur_width(rgb: NDArray[np.uint8]) -> float:
    """Return about how wide (standard deviation, pixels) the sharpest edges of a region are.

    The strongest gradients of a picture and of a copy blurred by a known amount are compared: an
    edge of width s, blurred by t, loses the factor s / sqrt(s^2 + t^2).
    """
    sharp, soft = _two_gradients(rgb)
    along = cv2.magnitude(*sharp)
    strong = _strong(along)
    return _width(along[strong], cv2.magnitude(*soft)[strong])


def shake_width(rgb: NDArray[np.uint8]) -> float:
    """Return the greatest of :func:`blur_width` across four directions.

    A hand that moved blurs along one direction only; edges along it stay sharp and would hide the
    blur. Meant for subjects that have edges in all directions, such as a round plug.
    """
    sharp, soft = _two_gradients(rgb)
    widths = []
    for turn in np.deg2rad((0.0, 45.0, 90.0, 135.0)):
        cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
        along = np.abs(sharp[0] * cos + sharp[1] * sin)
        strong = _strong(along)
        widths.append(_width(along[strong], np.abs(soft[0][strong] * cos + soft[1][strong] * sin)))
    return max(widths)


_ADDED = 2.0  # the known blur, pixels


def _two_gradients(rgb: NDArray[np.uint8]) -> tuple[_Gradient, _Gradient]:
    grey = cv2.GaussianBlur(luma(rgb).astype(np.float32), (0, 0), 1.0)
    return _gradient(grey), _gradient(cv2.GaussianBlur(grey, (0, 0), _ADDED))


def _strong(sharp: cv2.typing.MatLike) -> NDArray[np.bool_]:
    """Return where the hundredth part with the strongest gradients is."""
    return np.asarray(sharp >= np.percentile(sharp[::2, ::2], 99.0))


def _width(sharp: cv2.typing.MatLike, soft: cv2.typing.MatLike) -> float:
    """Return the width from gradients (n,) of edges, as they are and blurred."""
    ratio = float(np.median(soft / np.maximum(sharp, 1e-3)))
    ratio = min(max(ratio, 0.05), 0.995)
    return float(np.sqrt(max(_ADDED**2 * ratio**2 / (1 - ratio**2) - 1.0, 0.0)))


def luma(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the 8-bit grey picture."""
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)


def _gradient(grey: cv2.typing.MatLike) -> _Gradient:
    return (
        cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3),
        cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3),
    )
