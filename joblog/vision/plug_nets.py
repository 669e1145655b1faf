"""Two networks that read a plug, trained on rendered plugs (tools/plug_render).

``circles`` sees the whole plug and says where the discs of its rim and of its magnet's face are,
also where debris hides them. ``debris`` sees the magnet and says for each pixel how surely it is
film and how surely flake. Both take a square crop and give one map for each answer, 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.networks import Maps, network

# Sides of the crops that the networks were trained on, in pixels.
CIRCLES_SIDE = 256
DEBRIS_SIDE = 384


@dataclass(frozen=True)
class Crop:
    """A square of a picture: centre (x, y) and side in its pixels, ``pixels`` a side."""

    x: float
    y: float
    side: float
    pixels: int

    @property
    def step(self) -> float:
        """Picture pixels per pixel of the crop."""
        return self.side / self.pixels

    def cut(self, rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Return the crop (pixels, pixels, 3), 0 to 1; beyond the picture its edge goes on."""
        source = rgb
        x, y, step = self.x, self.y, self.step
        if step > 1.3:  # shrink by averaging first, or fine texture turns into false marks
            size = round(rgb.shape[1] / step), round(rgb.shape[0] / step)
            source = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
            fx, fy = size[0] / rgb.shape[1], size[1] / rgb.shape[0]
            x, y, step = (x + 0.5) * fx - 0.5, (y + 0.5) * fy - 0.5, step * (fx + fy) / 2
        half = (self.pixels - 1) / 2 * step
        matrix = np.array([[step, 0.0, x - half], [0.0, step, y - half]])
        cut = cv2.warpAffine(
            source,
            matrix,
            (self.pixels, self.pixels),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return cut.astype(np.float32) / np.float32(255)

    def outward(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return (n, 2) points of the crop in pixels of the picture."""
        return (points - (self.pixels - 1) / 2) * self.step + (self.x, self.y)


def _looked(name: str, cuts: NDArray[np.float32]) -> Maps:
    """Return the answers (n, channels, h, w) for (n, h, w, 3) crops: logits made 0 to 1."""
    return np.asarray(1.0 / (1.0 + np.exp(-network(name)(cuts.transpose(0, 3, 1, 2)))), np.float32)


def circles(rgb: NDArray[np.uint8], crop: Crop, *, mirrored: bool = False) -> Maps:
    """Return (2, side, side), each 0 to 1: inside of the plug's rim, inside of the magnet's face.

    ``mirrored`` shows the network the mirror image; the answer is as if it hadn't been. ModelError
    where its file is missing or altered.
    """
    cut = crop.cut(rgb)
    looked = _looked("plug-circles", (cut[:, ::-1] if mirrored else cut)[None])[0]
    return np.ascontiguousarray(looked[:, :, ::-1]) if mirrored else looked


def debris(rgb: NDArray[np.uint8], crop: Crop) -> Maps:
    """Return (4, side, side), 0 to 1: the magnet's face, film, flake, a flake's inner part.

    The mean of three looks (test-time augmentation): as it is, mirrored left to right, and mirrored
    top to bottom; docs/plug.md says what fewer cost. ModelError where its file is missing.
    """
    cut = crop.cut(rgb)
    looks = _looked("plug-debris", np.stack([cut, cut[:, ::-1], cut[::-1]]))
    return np.asarray((looks[0] + looks[1][:, :, ::-1] + looks[2][:, ::-1]) / 3, np.float32)
