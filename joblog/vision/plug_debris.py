"""What lies on the magnet: film, flakes, or nothing."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.ellipse import filled
from joblog.vision.plug_find import PlugFace
from joblog.vision.quality import luma

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Debris:
    """Masks (h, w) of the working picture: the magnet's face, film on it, and flakes."""

    magnet: Mask
    film: Mask
    flakes: Mask

    @property
    def coverage(self) -> float:
        """Film / (film + bare magnet), 0 to 1; flakes count in neither."""
        face = self.magnet & ~self.flakes
        return float((self.film & face).sum()) / max(1, int(face.sum()))


def find_debris(rgb: NDArray[np.uint8], face: PlugFace) -> Debris:
    """Tell film (dark and rough) from bare magnet (smooth) and flakes (bright, compact)."""
    magnet = filled(face.magnet, rgb.shape[:2])
    grey = luma(rgb).astype(np.float32)
    fine = cv2.GaussianBlur(grey, (0, 0), 1.0)
    wide = cv2.GaussianBlur(grey, (0, 0), 4.0)
    rough = cv2.GaussianBlur(np.abs(fine - wide), (0, 0), 3.0)
    inside = fine[magnet]
    cut, _ = cv2.threshold(inside.astype(np.uint8).reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)
    low, high = inside[inside <= cut], inside[inside > cut]
    apart = len(low) and len(high) and float(np.median(high) - np.median(low)) > 25
    dark = fine < (cut if apart else 40.0)
    film = magnet & dark & ((rough > 2.0) | (fine < 25))
    near_film = cv2.dilate(film.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    bright = magnet & near_film & (fine - wide > 25) & ~film
    flakes = cv2.morphologyEx(bright.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return Debris(magnet, film, flakes > 0)
