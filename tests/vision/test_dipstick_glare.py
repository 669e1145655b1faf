"""Glare at the wet edge fades; bright dry steel ends there."""

from __future__ import annotations

import numpy as np
import pytest

from joblog.vision.dipstick_blade import HALF_SPAN, Blade, Strip
from joblog.vision.dipstick_glare import in_glare
from joblog.vision.dipstick_level import WetEdge

UNIT, LENGTH, EDGE = 30, 600, 300  # columns; dry to the left of the edge, wet to the right


def blade(along: np.ndarray) -> Blade:
    """Return a straight blade of which all rows look as ``along`` (columns,), 0..255, says."""
    columns = np.arange(LENGTH, dtype=float)
    rows = int(2 * HALF_SPAN * UNIT)
    strip = Strip(
        pixels=np.repeat(np.repeat(along[None, :, None], rows, 0), 3, 2).astype(np.float32),
        axis=np.stack([columns, 0 * columns], 1),
        normal=np.tile((0.0, 1.0), (LENGTH, 1)),
        half_width=np.full(LENGTH, float(UNIT)),
        inside=np.ones(LENGTH, bool),
        pitch=1.0,
    )
    return Blade(strip, 0, LENGTH - 1, 1.0, np.zeros((2, LENGTH)), (0, LENGTH - 1))


def edge() -> WetEdge:
    return WetEdge(EDGE, 1.0, 1.0, False, 1.0, 0.5, np.full(15, float(EDGE)))


@pytest.mark.parametrize("dip", [8, 10, 12])
def test_bright_dry_steel_that_ends_sharply_is_no_glare(dip):
    """It lies about where burnt begins: the run of burnt columns ends before the edge by chance."""
    along = np.full(LENGTH, 140.0)
    along[:EDGE] = 247.0
    along[EDGE - dip : EDGE] = 243.0
    along[200:205] = 240.0
    assert not in_glare(blade(along), edge())


@pytest.mark.parametrize("radius", [0.6, 1.0, 1.4])
def test_glare_that_fades_into_the_fluid_is_found(radius):
    columns = np.arange(LENGTH)
    along = np.where(columns < EDGE, 200.0, 90.0)
    along = along + 510 * np.exp(-1.2 * ((columns - EDGE) / (radius * UNIT)) ** 2)
    assert in_glare(blade(np.minimum(along, 255.0)), edge())
