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
from joblog.vision.networks import nets_from
from joblog.vision.types import DipstickReading, Photo


def measured(seed: int, distance: bool = True) -> tuple[DipstickReading, float]:
    """Return the reading of a drawn stick, and its true level."""
    rgb, truth = draw_stick(random_stick(seed), seed)
    known = truth["mark_distance_mm"] if distance else None
    photo = Photo(rgb=rgb, sha256="", size=(rgb.shape[1], rgb.shape[0]))
    return measure_dipstick(photo, mark_distance_mm=known), truth["level_fraction"]


@pytest.mark.parametrize("seed", [1153, 1198, 1216])
@pytest.mark.parametrize("distance", [True, False])
def test_marks_that_the_rules_are_not_sure_of_are_read(seed: int, distance: bool) -> None:
    reading, level = measured(seed, distance)
    assert reading.usable
    assert reading.level_fraction == pytest.approx(level, abs=0.05)


def test_where_both_see_different_marks_the_sure_network_counts() -> None:
    reading, level = measured(1231)  # the rules alone: 0.15 off, said +-0.06
    assert reading.level_fraction == pytest.approx(level, abs=0.03)


def test_a_pale_edge_where_the_network_expects_none_is_no_edge() -> None:
    reading, _ = measured(1222)  # clear fluid; the rules alone: 0.9 off, said +-0.04
    assert not reading.usable
    assert "wet edge" in reading.why


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
    assert pixels.shape == (40, round(blade.strip.pixels.shape[1] * per_column), 3)


def test_a_missing_network_is_named(tmp_path: Path) -> None:
    with nets_from(tmp_path), pytest.raises(ModelError, match="stick-strip is missing or altered"):
        measured(1153)
