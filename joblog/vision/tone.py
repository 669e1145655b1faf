"""From a camera's encoded tones to light and colour, for whole pictures and single colours.

A phone's tones follow the sRGB curve (IEC 61966-2-1) up to a *shoulder*, above which highlights are
compressed ever more, so that they don't burn out (roll-off). ``joblog/measure/colour.py`` has the
same curve for one colour: this room imports nothing else of the house, a test holds both together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHOULDER = 0.8  # encoded tone, 0..1, above which phone cameras compress (our assumption)

# Linear sRGB to XYZ (IEC 61966-2-1); the white is what each row adds up to (D65).
_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], np.float64
)
LUMA = _TO_XYZ[1]  # weights of linear R, G and B in the luminance Y


def without_shoulder(encoded: Array, most: float) -> Array:
    """Return encoded tones 0..1 with the compression of highlights undone; they may exceed 1.

    It is modelled as ``0.8 + 0.2 (1 - exp(-(x - 0.8) / 0.2))``. White would come of any light, so
    no more than ``most`` (below 1) of the way from the shoulder to white is undone.
    """
    room = 1.0 - SHOULDER
    over = np.clip((encoded - SHOULDER) / room, 0.0, most)
    return np.asarray(np.where(over > 0, SHOULDER - room * np.log1p(-over), encoded))


def linear_from_srgb(encoded: Array) -> Array:
    """Return linear light of encoded sRGB (IEC 61966-2-1), both 0..1; more where more is given."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def srgb_from_linear(linear: Array) -> tuple[int, int, int]:
    """Return 8-bit sRGB of linear values 0..1 (IEC 61966-2-1)."""
    value = np.clip(np.asarray(linear, np.float64), 0.0, 1.0)
    coded = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    red, green, blue = (round(float(v) * 255) for v in coded)
    return red, green, blue


def lab_from_linear(linear: Array) -> tuple[float, float, float]:
    """Return CIELAB (D65, 2°) of linear sRGB where (1, 1, 1) is white (CIE 15, IEC 61966-2-1)."""
    xyz = (_TO_XYZ @ np.asarray(linear, np.float64)) / _TO_XYZ.sum(axis=1)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return (
        float(116 * f[1] - 16),
        float(500 * (f[0] - f[1])),
        float(200 * (f[1] - f[2])),
    )
