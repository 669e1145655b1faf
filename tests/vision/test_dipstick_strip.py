"""The network that reads dipsticks beside the rules, on drawn sticks that it never saw.

Truth is that of tests/vision/draw_stick.py; the network learnt from seeds of 700 001 on.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from draw_stick import draw_stick, random_stick
from numpy.typing import NDArray

from joblog.errors import ModelError
from joblog.vision.dipstick import measure_dipstick
from joblog.vision.dipstick_blade import find_blades
from joblog.vision.dipstick_strip import read_strip, strip_of
from joblog.vision.load import load_photo
from joblog.vision.networks import nets_from
from joblog.vision.types import DipstickReading, Photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


def measured(seed: int, distance: bool = True) -> tuple[DipstickReading, float]:
    """Return the reading of a drawn stick, and its true level."""
    rgb, truth = draw_stick(random_stick(seed), seed)
    known = truth["mark_distance_mm"] if distance else None
    photo = Photo(rgb=rgb, sha256="", size=(rgb.shape[1], rgb.shape[0]))
    return measure_dipstick(photo, mark_distance_mm=known), truth["level_fraction"]


@pytest.mark.parametrize("seed", [1153, 1216])
@pytest.mark.parametrize("distance", [True, False])
def test_marks_that_the_rules_are_not_sure_of_are_read(seed: int, distance: bool) -> None:
    reading, level = measured(seed, distance)
    assert reading.usable
    assert reading.level_fraction == pytest.approx(level, abs=0.05)


def test_where_both_see_different_marks_the_sure_network_counts() -> None:
    reading, level = measured(1231)  # the rules alone: 0.15 off, said +-0.06
    assert reading.level_fraction == pytest.approx(level, abs=0.03)


@pytest.mark.parametrize("seed", [1184, 1217, 1222])
def test_clear_fluid_is_read_where_its_streaks_and_lip_are_seen(seed: int) -> None:
    assert random_stick(seed).fluid == "clear"
    reading, level = measured(seed)
    assert reading.level_fraction == pytest.approx(level, abs=0.04)


def test_clear_fluid_that_may_lie_on_either_side_is_not_read() -> None:
    reading, _ = measured(1242)  # its edge is seen well, but not which side is wet
    assert not reading.usable
    assert "wet edge" in reading.why


@pytest.mark.parametrize("place", ["lower_mark_px", "upper_mark_px", "wet_edge_px"])
def test_what_a_finger_hides_is_not_read(place: str) -> None:
    rgb, truth = draw_stick(replace(random_stick(1153), level=0.5), 1153)
    x, y = (round(v) for v in truth[place])
    r = np.random.default_rng(3)
    finger = np.array([196, 146, 120]) + r.normal(0, 4, (*rgb.shape[:2], 1))
    rows, columns = np.indices(rgb.shape[:2])
    over = np.hypot(rows - y, columns - x) < 0.11 * rgb.shape[1]
    hidden = np.where(over[..., None], np.clip(finger, 0, 255), rgb).astype(np.uint8)
    photo = Photo(rgb=hidden, sha256="", size=(rgb.shape[1], rgb.shape[0]))
    reading = measure_dipstick(photo, mark_distance_mm=truth["mark_distance_mm"])
    assert not reading.usable, reading.level_fraction


def strip_places(rgb: NDArray[np.uint8]) -> tuple[NDArray[np.float64], int]:
    blade = next(find_blades(rgb, 1))
    seen = read_strip(blade)
    return np.array([seen.lower, seen.upper, seen.edge]), blade.strip.pixels.shape[1]


def test_the_reading_turns_with_the_picture() -> None:
    stick = replace(random_stick(1153), turn_deg=20.0)
    rgb, _ = draw_stick(stick, 1153)
    places, length = strip_places(rgb)
    turned, same = strip_places(np.ascontiguousarray(rgb[::-1, ::-1]))
    either = min(np.abs(turned - places).max(), np.abs(same - 1 - turned - places).max())
    assert either < 0.02 * length


def test_the_strip_has_the_networks_size_whatever_the_pictures() -> None:
    rgb, _ = draw_stick(random_stick(1153), 1153)
    blade = next(find_blades(rgb, 1))
    pixels, per_column = strip_of(blade)
    assert pixels.shape == (60, round(blade.strip.pixels.shape[1] * per_column), 3)


def test_a_missing_network_is_named(tmp_path: Path) -> None:
    with nets_from(tmp_path), pytest.raises(ModelError, match="stick-strip is missing or altered"):
        measured(1153)


def test_which_side_is_wet_is_told_by_its_colour_not_by_the_networks() -> None:
    """Another renderer's stick, whose dry steel is streaked: the networks take that for wet."""
    photo = load_photo((SAMPLES / "dipstick-before.jpg").read_bytes())
    reading = measure_dipstick(photo, mark_distance_mm=20.0)
    assert reading.level_fraction == pytest.approx(0.46, abs=0.03)
    blade = next(find_blades(photo.rgb, 1))
    seen = read_strip(blade)
    lower = np.hypot(*(blade.strip.axis - reading.lower_mark_px).T).argmin()
    assert abs(seen.upper - lower) < abs(seen.lower - lower)
    assert seen.certainty > 0.9
