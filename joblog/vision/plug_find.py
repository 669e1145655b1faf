"""Find the plug's end face and its magnet as two ellipses.

The ``circles`` network looks at the whole picture, then more closely at where it found the rim,
every other time at a mirror image; each time an ellipse is fitted to the edge of its answer, until
two looks running agree. Their mean is the finding. Looks that go on disagreeing, an answer that is
no ellipse, or a magnet that isn't inside its rim is not a finding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import Floats, filled, from_map, mean_of, moved
from joblog.vision.plug_nets import CIRCLES_SIDE, Crop, circles

# Limits without another source were set on rendered plugs (docs/plug.md).
_CLOSE = 2.6  # side of a close look, in major semi-axes of the rim
_SAME = 0.035  # looks whose rims differ by less than this (in major semi-axes) agree
_MOST_TILT_ASPECT = 0.6  # minor / major axis at about 53 degrees: beyond it nothing is seen well
_MOST_LOOKS = 5  # closer ones, before it counts as no finding
# Misfit of rim and magnet: nine of ten plugs that the networks had never seen lay below 0.02. Rims
# between 0.03 and 0.045 on which two looks agreed were right within 1.5 %; magnets above 0.035
# were not.
_MOST_MISFIT = (0.045, 0.035)
_LEAST_SURE = 0.95  # mean of the network's answer within the ellipse, 0..1


@dataclass(frozen=True, eq=False)
class PlugFace:
    """The rim and the magnet's face, ellipses (5,) as in ``ellipse.py``, in working pixels.

    ``sure`` is False where the two looks disagree or an answer is no clean ellipse.
    """

    rim: Floats
    magnet: Floats
    sure: bool


def find_plug(rgb: NDArray[np.uint8]) -> PlugFace | None:
    """Return the plug's face in 8-bit ``rgb`` (h, w, 3), or None where none is seen.

    ModelError where the network's file is missing or altered.
    """
    height, width = rgb.shape[:2]
    wide = Crop((width - 1) / 2, (height - 1) / 2, max(width, height), CIRCLES_SIDE)
    face, agree = _look(rgb, wide), False
    for turn in range(_MOST_LOOKS):
        if face is None or agree:
            break
        side = _CLOSE * float(face.rim[2])
        crop = Crop(float(face.rim[0]), float(face.rim[1]), side, CIRCLES_SIDE)
        closer = _look(rgb, crop, mirrored=turn % 2 == 1)
        agree = turn > 0 and closer is not None and _same(face.rim, closer.rim)
        face = _mean(face, closer) if agree and closer is not None else closer
    if face is None:
        return None
    return PlugFace(face.rim, face.magnet, face.sure and agree and _nested(face))


def _mean(one: PlugFace, other: PlugFace) -> PlugFace:
    return PlugFace(
        mean_of(one.rim, other.rim),
        mean_of(one.magnet, other.magnet),
        one.sure and other.sure,
    )


def _same(one: Floats, other: Floats) -> bool:
    return bool(np.abs(one[:4] - other[:4]).max() < _SAME * other[2])


def _nested(face: PlugFace) -> bool:
    """Whether the magnet is inside the rim and neither is seen too flat."""
    apart = float(np.hypot(*(face.rim[:2] - face.magnet[:2])))
    flat = min(face.rim[3] / face.rim[2], face.magnet[3] / face.magnet[2])
    return bool(apart + face.magnet[2] < 1.05 * face.rim[2] and flat > _MOST_TILT_ASPECT)


def _look(rgb: NDArray[np.uint8], crop: Crop, *, mirrored: bool = False) -> PlugFace | None:
    maps = circles(rgb, crop, mirrored=mirrored)
    fits = [from_map(inside) for inside in maps]
    if fits[0] is None or fits[1] is None:
        return None
    sure = all(
        misfit < most and float(inside[filled(ellipse, inside.shape)].mean()) > _LEAST_SURE
        for (ellipse, misfit), inside, most in zip(
            (fits[0], fits[1]), maps, _MOST_MISFIT, strict=True
        )
    )
    return PlugFace(_outward(fits[0][0], crop), _outward(fits[1][0], crop), sure)


def _outward(ellipse: Floats, crop: Crop) -> Floats:
    ((x, y),) = crop.outward(np.zeros((1, 2)))
    return moved(ellipse, crop.step, float(x), float(y))
