"""Draw drops of fluid on a paper towel with exactly known colour."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass
class Swatch:
    """What is drawn: colours are linear reflectances 0..1."""

    fluid: tuple[float, float, float] = (0.2, 0.03, 0.03)
    paper: tuple[float, float, float] = (0.82, 0.82, 0.8)
    light: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 0.9
    radius: float = 150.0
    drop: bool = False
    shade: float = 0.0
    blur: float = 0.7
    noise: float = 2.0  # of the sensor, in steps of 8 bits
    glare: tuple[float, float] = (0.0, 1.0)  # a lamp's light over the middle: strength, radius
    seed: int = 0
    surface: float = 0.0135  # white light that the wet surface throws back, part of the paper's


def draw_swatch(swatch: Swatch, size: tuple[int, int] = (800, 600)) -> np.ndarray:
    """Return the picture as uint8 RGB."""
    r = np.random.default_rng(swatch.seed)
    width, height = size
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    angle = np.arctan2(y - height / 2, x - width / 2)
    ragged = 1 + 0.05 * np.sin(3 * angle + 1) + 0.03 * np.sin(7 * angle)
    d = np.hypot(x - width / 2, y - height / 2) / (swatch.radius * ragged)
    # soaked core, then a pale ring that creeps outwards
    stain = np.clip(1.25 - 0.35 / (1 + np.exp((d - 0.86) / -0.015)), 0, 1)
    stain = np.where(d < 0.86, 1.0, 0.18) * (d < 1.0) * np.clip(stain, 0.9, 1)
    stain = cv2.GaussianBlur(stain.astype(np.float32), (0, 0), 3)[..., None]
    paper, fluid = (np.array(c, np.float32) for c in (swatch.paper, swatch.fluid))
    picture = np.exp(np.log(paper) * (1 - stain) + np.log(fluid) * stain)
    picture = picture + swatch.surface * stain * paper
    if swatch.drop:
        drop = cv2.GaussianBlur((d < 0.4).astype(np.float32), (0, 0), 2)[..., None]
        glint = ((d > 0.28) & (d < 0.32) & (angle > 0.2) & (angle < 1.2)).astype(np.float32)
        picture = picture + 0.012 * drop + cv2.GaussianBlur(glint, (0, 0), 1)[..., None]
    grain = cv2.GaussianBlur(r.normal(size=(height, width)).astype(np.float32), (0, 0), 2)
    picture = picture * np.exp(0.03 * grain / grain.std())[..., None]
    picture = picture * (1 - swatch.shade * x / width)[..., None]
    picture = picture * np.array(swatch.light, np.float32)
    strength, reach = swatch.glare
    away = np.hypot(x - width / 2, y - height / 2) / reach
    picture = picture + (strength * np.exp(-0.5 * away**2))[..., None]
    return photographed(picture * swatch.exposure, swatch.blur, r, swatch.noise)


def photographed(
    linear: np.ndarray, blur: float, r: np.random.Generator, noise: float = 2.0, quality: int = 85
) -> np.ndarray:
    """Return linear light as a phone's 8-bit sRGB, highlights rolled off, with noise and JPEG."""
    linear = cv2.GaussianBlur(linear, (0, 0), blur)
    low = 12.92 * linear
    coded = np.where(linear < 0.0031308, low, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    coded = np.where(coded > 0.8, 0.8 + 0.2 * (1 - np.exp(-(coded - 0.8) / 0.2)), coded)
    eight = np.clip(coded * 255 + r.normal(size=coded.shape) * noise, 0, 255).astype(np.uint8)
    data = cv2.imencode(".jpg", eight[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
