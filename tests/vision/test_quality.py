"""The gate in front of every measurement."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from joblog.vision import quality


def edges(sigma: float) -> np.ndarray:
    """Return sharp steps blurred by a Gaussian of known width."""
    grey = np.full((240, 320), 40.0)
    grey[:, 80:240] = 200
    grey[60:180, 120:200] = 90
    soft = cv2.GaussianBlur(grey, (0, 0), sigma) if sigma else grey
    return np.repeat(soft[..., None], 3, axis=2).round().astype(np.uint8)


@pytest.mark.parametrize("sigma", [1.5, 2.0, 3.0, 4.0, 6.0])
def test_blur_width_is_that_of_the_drawn_edge(sigma):
    assert quality.blur_width(edges(sigma)) == pytest.approx(sigma, rel=0.2)


def test_a_shake_is_seen_across_its_direction_only():
    disc = np.full((240, 320, 3), 60, np.uint8)
    cv2.circle(disc, (160, 120), 80, (190, 190, 190), -1, cv2.LINE_AA)
    box = np.zeros((25, 25), np.float32)
    box[12] = 1 / 25
    shaken = cv2.filter2D(disc, -1, box)
    assert quality.shake_width(disc) < 1.5
    assert quality.shake_width(shaken) > 3.0
    assert quality.blur_width(shaken) < 3.0


def test_noise_does_not_hide_a_blur():
    noise = np.random.default_rng(2).normal(0, 4, (240, 320, 1))
    noisy = np.clip(edges(6.0) + noise, 0, 255).astype(np.uint8)
    assert quality.blur_width(noisy) > 3.0


@pytest.mark.parametrize(
    ("level", "said"), [(8, "too dark"), (35, "too dark"), (120, None), (240, "washed out")]
)
def test_exposure(level, said):
    rgb = np.full((50, 60, 3), level, np.uint8)
    why = quality.exposure_fault(rgb, subject="plug")
    assert (why is None) == (said is None)
    assert said is None or (said in str(why) and "plug" in str(why))


def test_glare_counts_on_the_subject_only():
    rgb = np.full((100, 100, 3), 90, np.uint8)
    rgb[:50] = 255
    top = np.zeros((100, 100), bool)
    top[:50] = True
    assert quality.glare_fault(rgb, ~top, "plug") is None
    assert "glare" in str(quality.glare_fault(rgb, top, "plug"))
    assert "glare" in str(quality.centre_glare_fault(rgb, "plug"))
    rgb[:] = 90
    rgb[:20] = 255
    assert quality.centre_glare_fault(rgb, "plug") is None


@pytest.mark.parametrize(("fading", "said"), [(0.0, None), (0.4, "glare hides the plug")])
def test_a_burnt_piece_that_fades_softly_is_glare_a_sharp_one_a_mirrored_lamp(fading, said):
    rows, columns = np.indices((200, 200)) - 100
    away = np.hypot(rows, columns)
    mask = away < 90
    light = 1.6 * np.exp(-0.5 * (away / (fading * 90)) ** 2) if fading else 2.0 * (away < 30)
    grey = 255 * np.clip((60 / 255) ** 2.2 + light, 0, 1) ** (1 / 2.2)
    rgb = np.repeat(grey[..., None], 3, axis=2).round().astype(np.uint8)
    why = quality.haze_fault(rgb, mask, "plug")
    assert (why is None) == (said is None)
    assert said is None or said in str(why)
