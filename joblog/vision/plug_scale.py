"""Millimetres per pixel on a plug: at the rim from its known diameter, at the magnet by height.

The rim's major axis is the plug's diameter whatever the tilt. The magnet's face usually stands
nearer to the camera than the rim, and what is nearer looks larger: at 60 mm distance, 2 mm of
height make 3 %. Its height H over the rim's plane shows in how far the magnet's ellipse is shifted
along the tilt. With tilt t, camera distance d and radii R (rim) and r (magnet)::

    shift = sin t (H + (R^2 - r^2) / d)        the second part: a tilted circle's centre is not
    scale at magnet = scale at rim (1 - H cos t / d)                     its ellipse's centre

d follows from the picture's field of view. Where the picture doesn't say it, a phone held close is
assumed to see as a 54 mm lens on 35 mm film does; the correction is a few per cent, and half of it
would be left if that were wrong by a factor of two. With little tilt the shift says nothing and a
usual height is taken instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from joblog.vision.ellipse import Floats

USUAL_FOCAL = 1.5  # focal length in widths (long sides) of the picture: 54 mm / 36 mm
USUAL_HEIGHT_MM = 1.0  # of a magnet's face over the chamfer's outer edge
# sin^2 of the tilt (about 6 degrees) at which shift and usual height weigh alike (our own choice)
_TILT_WEIGHT = 0.01
_MOST_HEIGHT = 0.25  # of the rim's radius; more is an ellipse seen badly, not a magnet


@dataclass(frozen=True)
class Scale:
    """``rim`` and ``magnet`` are mm per working pixel across the line of sight at each plane."""

    rim: float
    magnet: float


def scale_of(
    rim: Floats, magnet: Floats, plug_diameter_mm: float, long_side: int, focal: float | None = None
) -> Scale:
    """Return the scales for two ellipses (5,), as in ``ellipse.py``, in working pixels.

    ``plug_diameter_mm`` is the rim's true diameter, ``long_side`` the picture's, in working pixels;
    ``focal`` is the focal length in long sides, None where it isn't known.
    """
    radius = plug_diameter_mm / 2
    at_rim = radius / float(rim[2])
    inner = float(magnet[2]) * at_rim
    distance = (focal or USUAL_FOCAL) * long_side * at_rim
    aspect = min(1.0, float(rim[3] / rim[2]))
    sine = float(np.sqrt(1.0 - aspect * aspect))
    along = np.array([-np.sin(rim[4]), np.cos(rim[4])])
    shift = abs(float((magnet[:2] - rim[:2]) @ along)) * at_rim
    shown = shift / max(sine, 0.05) - (radius**2 - inner**2) / distance
    weight = sine**2 / (sine**2 + _TILT_WEIGHT)
    limit = _MOST_HEIGHT * radius
    height = weight * float(np.clip(shown, -limit, limit)) + (1 - weight) * USUAL_HEIGHT_MM
    return Scale(at_rim, at_rim * (1.0 - height * aspect / distance))
