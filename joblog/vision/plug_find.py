"""Find the plug's end face and its magnet as two ellipses.

The ``circles`` network looks at the whole picture, then twice more closely at where it found the
rim; each time an ellipse is fitted to the edge of its answer. Two looks that disagree, an answer
that is no ellipse, or a magnet that isn't inside its rim is not a finding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import Floats, from_map, moved
from joblog.vision.plug_nets import CIRCLES_SIDE, Crop, circles

_CLOSE = 2.6  # side of a close look, in major semi-axes of the rim
_MOST_MISFIT = 0.03
_LEAST_SURE = 0.85


@dataclass(frozen=True, eq=False)
class PlugFace:
    """The rim and the magnet's face, each as (5,) in pixels of the working picture."""

    rim: Floats
    magnet: Floats


def find_plug(rgb: NDArray[np.uint8]) -> PlugFace | None:
    """Return the plug's face, or None where no rim with a magnet in it is seen surely."""
    height, width = rgb.shape[:2]
    crop = Crop((width - 1) / 2, (height - 1) / 2, max(width, height), CIRCLES_SIDE)
    face = _look(rgb, crop)
    for _ in range(2):
        if face is None:
            return None
        side = _CLOSE * float(face.rim[2])
        crop = Crop(float(face.rim[0]), float(face.rim[1]), side, CIRCLES_SIDE)
        face = _look(rgb, crop)
    return face


def _look(rgb: NDArray[np.uint8], crop: Crop) -> PlugFace | None:
    rim_map, magnet_map = circles(rgb, crop)
    rim, magnet = from_map(rim_map), from_map(magnet_map)
    if rim is None or magnet is None:
        return None
    return PlugFace(_outward(rim[0], crop), _outward(magnet[0], crop))


def _outward(ellipse: Floats, crop: Crop) -> Floats:
    ((x, y),) = crop.outward(np.zeros((1, 2)))
    return moved(ellipse, crop.step, float(x), float(y))
