"""What lies on the magnet: film, flakes, or nothing."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import Floats, filled, from_map, moved
from joblog.vision.plug_find import PlugFace
from joblog.vision.plug_nets import DEBRIS_SIDE, Crop, debris

Mask = NDArray[np.bool_]

# On pictures left out of training, on 36 and on 72 fresh rendered ones: at 0.9 one more is made up
# on the first; from 0.93 to 0.97 nothing changes there and the middle was taken, though of the 72
# at 0.9 six more of 136 flakes are found. Wrong is worse than absent.
LIKELY_FLAKE, SURELY_FLAKE = 0.5, 0.95
_SIDE = 2.6  # side of the look, in major semi-axes of the magnet
_INNER = 0.97  # film leans over the magnet's edge: its outermost 3 % say little about coverage
_RING = 0.1  # width of the ring along the edge, in semi-axes
_MOST_MISFIT = 0.035  # root mean square distance from the ellipse, in semi-axes (as in plug_find)
_MOST_CHANGE = 0.15  # of the magnet's major semi-axis, from the look at the whole plug to this one


@dataclass(frozen=True, eq=False)
class Debris:
    """What the look at the magnet gave, all on the crop's grid of pixels.

    ``film`` and ``flake`` are how surely a pixel is one, 0 to 1; ``face`` is the magnet's face
    without its outermost edge, ``edge`` the ring inside that. ``magnet`` is that face's outline,
    (5,) in pixels of the working picture, as seen from this near; ``sure`` is False where that is
    no clean ellipse.
    """

    crop: Crop
    magnet: Floats
    sure: bool
    face: Mask
    edge: Mask
    film: NDArray[np.float32]
    flake: NDArray[np.float32]

    @property
    def coverage(self) -> float:
        """Film / (film + bare magnet), 0 to 1; flakes count in neither."""
        return self._on_face(self.film)

    @property
    def film_doubt(self) -> float:
        """Mean of p (1 - p) for the film's p on the magnet's face: 0 for sure, 0.25 for a guess."""
        return self._on_face(self.film * (1.0 - self.film))

    def _on_face(self, values: NDArray[np.float32]) -> float:
        """Return the mean of a map on the magnet's face, flakes left out."""
        weight = self.face * (1.0 - self.flake)
        return float((values * weight).sum() / max(1.0, float(weight.sum())))

    @property
    def edge_film(self) -> float:
        """Share of the ring along the magnet's edge that lies under film, 0 to 1."""
        return float((self.film[self.edge] > 0.5).mean()) if self.edge.any() else 0.0

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
    """Tell film, flakes and bare magnet apart in 8-bit ``rgb`` (h, w, 3), pixel by pixel.

    ModelError where the network's file is missing or altered.
    """
    x, y, a = (float(value) for value in found.magnet[:3])
    crop = Crop(x, y, _SIDE * a, DEBRIS_SIDE)
    inside, film, flake, _ = debris(rgb, crop)
    magnet, sure = _refined(inside, crop, found.magnet)
    inward, shape = _inward(magnet, crop), (DEBRIS_SIDE, DEBRIS_SIDE)
    face = filled(inward, shape, _INNER)
    edge = face & ~filled(inward, shape, _INNER - _RING)
    return Debris(crop, magnet, sure, face, edge, film, flake)


def _refined(inside: NDArray[np.float32], crop: Crop, coarse: Floats) -> tuple[Floats, bool]:
    """Return the magnet as this look sees it; the coarse one, not sure, where it sees no ellipse.

    From the whole plug a small magnet is 30 pixels wide and 1 of them is 3 % of its diameter; here
    it is 150.
    """
    fit = from_map(inside, enlarge=2)
    if fit is None or fit[1] > _MOST_MISFIT:
        return coarse, False
    ((x, y),) = crop.outward(np.zeros((1, 2)))
    magnet = moved(fit[0], crop.step, float(x), float(y))
    change = float(np.abs(magnet[:4] - coarse[:4]).max() / coarse[2])
    return (magnet, True) if change < _MOST_CHANGE else (coarse, False)


def _inward(ellipse: Floats, crop: Crop) -> Floats:
    middle = (crop.pixels - 1) / 2
    return moved(ellipse, 1 / crop.step, middle - crop.x / crop.step, middle - crop.y / crop.step)
