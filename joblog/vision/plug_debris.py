"""What lies on the magnet: film, flakes, or nothing."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import Floats, filled, moved
from joblog.vision.plug_find import PlugFace
from joblog.vision.plug_nets import DEBRIS_SIDE, Crop, debris

Mask = NDArray[np.bool_]

LIKELY_FLAKE, SURELY_FLAKE = 0.5, 0.75
_SIDE = 2.6  # side of the look, in major semi-axes of the magnet


@dataclass(frozen=True, eq=False)
class Debris:
    """What the look at the magnet gave, all on the crop's grid of pixels.

    ``film`` and ``flake`` are how surely a pixel is one, 0 to 1; ``face`` is the magnet's face.
    """

    crop: Crop
    face: Mask
    film: NDArray[np.float32]
    flake: NDArray[np.float32]

    @property
    def coverage(self) -> float:
        """Film / (film + bare magnet), 0 to 1; flakes count in neither."""
        weight = self.face * (1.0 - self.flake)
        return float((self.film * weight).sum() / max(1.0, float(weight.sum())))

    @property
    def flakes(self) -> Mask:
        """Pixels that are rather flake than not, in pieces that are surely flake somewhere."""
        likely = (self.flake > LIKELY_FLAKE).astype(np.uint8)
        _, pieces = cv2.connectedComponents(likely, connectivity=8)
        sure = np.unique(pieces[self.flake > SURELY_FLAKE])
        return np.isin(pieces, sure[sure > 0])

    @property
    def film_mask(self) -> Mask:
        """Pixels of the magnet's face that are rather film than not."""
        return (self.film > 0.5) & self.face & ~self.flakes


def find_debris(rgb: NDArray[np.uint8], found: PlugFace) -> Debris:
    """Tell film, flakes and bare magnet apart."""
    x, y, a = (float(value) for value in found.magnet[:3])
    crop = Crop(x, y, _SIDE * a, DEBRIS_SIDE)
    _, film, flake, _ = debris(rgb, crop)
    face = filled(_inward(found.magnet, crop), film.shape)
    return Debris(crop, face, film, flake)


def _inward(ellipse: Floats, crop: Crop) -> Floats:
    middle = (crop.pixels - 1) / 2
    return moved(ellipse, 1 / crop.step, middle - crop.x / crop.step, middle - crop.y / crop.step)
