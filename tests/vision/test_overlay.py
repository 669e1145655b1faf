"""Drawn measurements: there, in the right place, and legible without colour."""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest
from draw_stick import Stick, draw_stick
from draw_swatch import Swatch, draw_swatch
from PIL import Image

from joblog.vision.dipstick import measure_dipstick
from joblog.vision.fluid import measure_fluid
from joblog.vision.overlay import WORDS, _tenths, _whole, draw_overlay, overlay_jpeg, side_by_side
from joblog.vision.overlay_pen import Pen, Spot, _broken, _round_length
from joblog.vision.types import DipstickReading, Ellipse, Flake, Photo, PlugReading


def photo(rgb: np.ndarray) -> Photo:
    return Photo(rgb=np.ascontiguousarray(rgb), sha256="", size=(rgb.shape[1], rgb.shape[0]))


def plug(mm_per_px: float, center: tuple[float, float]) -> PlugReading:
    ring = ((center[0] - 6, center[1]), (center[0] + 6, center[1]), (center[0], center[1] + 4))
    return PlugReading(
        usable=True,
        film_coverage=0.4,
        flakes=(Flake(0.8, center, ring),),
        magnet_diameter_mm=9.0,
        plug_diameter_mm=18.0,
        mm_per_px=mm_per_px,
        rim=Ellipse(center, (9 / mm_per_px, 9 / mm_per_px), 0.0),
        magnet=Ellipse(center, (4.5 / mm_per_px, 4.5 / mm_per_px), 0.0),
    )


def test_level_line_is_drawn_at_the_level_with_a_halo():
    picture = photo(draw_stick(Stick(), 3, (1024, 768))[0])
    reading = measure_dipstick(picture, mark_distance_mm=20.0)
    drawn = np.asarray(draw_overlay(picture, reading).convert("L"))
    assert drawn.shape[1] == 1024
    assert drawn.shape[0] > 768  # the caption lies below, over nothing
    a, b = (np.array(p) for p in reading.blade_edges_at_level_px)
    end = (a + b) / 2 + (b - a) * 1.05
    x, y = (round(float(v)) for v in end)
    around = drawn[y - 12 : y + 13, x - 12 : x + 13]
    assert around.max() > 240  # white line
    assert around.min() < 20  # in a black halo


def test_unusable_reading_shows_the_reason_and_no_number():
    picture = photo(np.full((600, 800, 3), 120, np.uint8))
    drawn = draw_overlay(picture, DipstickReading(usable=False, why="too dark: add light"))
    top = np.asarray(drawn)[:600]
    assert (top[: picture.rgb.shape[0]] == 120).all() or drawn.width != 800
    assert drawn.height > drawn.width * 600 / 800


def test_a_long_reason_is_as_large_as_a_short_one_and_is_broken_into_lines():
    picture = photo(np.full((600, 800, 3), 120, np.uint8))
    short, long = (
        draw_overlay(picture, DipstickReading(usable=False, why=why))
        for why in ("too dark: add light", "no dipstick found: lay it on a plain cloth, " * 4)
    )
    assert long.height >= short.height + 2 * 24
    band = np.asarray(long)[-90:]
    assert (band[:, -12:] == 255).all()


def test_a_line_is_not_broken_between_a_figure_and_its_unit():
    words = "give or take 12 %; 12 metal flakes found, the longest 3.3 mm; smaller ones"
    for room in range(150, 1200, 10):
        for line in _broken(words, 20, room):
            assert not line[-1].isdigit()
    assert _broken("", 20, 100) == []


def test_jpeg_is_bounded_and_bare_of_notes():
    picture = photo(draw_swatch(Swatch()))
    data = overlay_jpeg(picture, measure_fluid(picture), max_px=640)
    image = Image.open(io.BytesIO(data))
    assert image.width == 640
    assert not image.getexif()


def test_words_can_be_another_language():
    picture = photo(draw_swatch(Swatch()))
    reading = measure_fluid(picture)
    english = np.asarray(draw_overlay(picture, reading))
    other = np.asarray(draw_overlay(picture, reading, words={"fluid": "Color {lightness}"}))
    assert english.shape == other.shape
    assert (english != other).any()


def test_the_words_below_never_say_that_a_flake_is_the_only_one():
    for key in ("no_flakes", "one_flake", "flakes"):
        assert "found" in WORDS[key]
        assert "may not be seen" in WORDS[key]


def test_words_stand_below_the_picture_alone():
    """A report in another language cuts that band off: none of them may be left."""
    stick, swatch = photo(draw_stick(Stick(), 3, (1024, 768))[0]), photo(draw_swatch(Swatch()))
    measured = [
        (stick, measure_dipstick(stick, mark_distance_mm=20.0)),
        (swatch, measure_fluid(swatch)),
        (stick, plug(0.03, (500, 400))),
    ]
    for picture, reading in measured:
        plain = draw_overlay(picture, reading)
        other = draw_overlay(picture, reading, words=dict.fromkeys(WORDS, "Wort"))
        height = round(plain.width * picture.rgb.shape[0] / picture.rgb.shape[1])
        inside = [np.asarray(image)[:height] for image in (plain, other)]
        assert (inside[0] == inside[1]).all(), reading
        below = [np.asarray(image)[height:] for image in (plain, other)]
        assert below[0].shape != below[1].shape or (below[0] != below[1]).any()


def test_pair_is_at_the_same_scale():
    """A rim of 18 mm comes out equally large though one photo was taken from twice as far."""
    near, far = (photo(np.full((800, 1000, 3), 90, np.uint8)) for _ in range(2))
    pair = side_by_side((near, plug(0.03, (500, 400))), (far, plug(0.06, (300, 500))), side_px=500)
    grey = np.asarray(pair.convert("L"))
    halves = grey[:500, :500], grey[:500, pair.width - 500 :]
    widths = []
    for half in halves:
        down = np.flatnonzero(half[8:-8, 250] > 200)  # beside the flake's length and the names
        widths.append(down.max() - down.min())
    # the rim is 18 of the 24.3 mm shown: 370 px
    assert abs(widths[0] - 370) <= 8
    assert abs(widths[1] - 370) <= 8


def test_words_are_seven_points_high_in_the_report_and_stand_on_a_plate():
    """The report shows a photo 45 mm wide; over black, white or both a word reads as well."""
    for shade in (0, 255):
        pen = Pen(Image.new("RGB", (1600, 1200), (shade,) * 3))
        pen.words([Spot((800, 600), "lm", (800, 600))], "1.3 mm", scale=0.85)
        drawn = np.asarray(pen.image.convert("L"))
        rows, columns = np.nonzero(drawn != shade)
        plate = drawn[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
        assert (plate > 200).mean() > 0.6  # black on white
        figures = plate[5:-5, 5:-5]
        high = np.flatnonzero((figures < 60).any(axis=1))
        capital = 0.66  # of a letter's size: the least height of a figure
        assert np.ptp(high) / 1600 * 45 / 25.4 * 72 >= 7 * capital


def test_a_flakes_length_covers_nothing_of_the_magnet():
    picture = photo(np.full((1200, 1600, 3), 90, np.uint8))
    reading = plug(0.02, (800, 600))  # the magnet ends at x = 1025
    drawn = np.asarray(draw_overlay(picture, reading).convert("L"))[:1200]
    white = drawn[540:660] > 200
    inside, beside = white[:, 830:1005], white[:, 1030:1300]
    assert inside.mean() < 0.1  # a thin line alone
    assert beside.mean() > 0.2


Box = Sequence[float]


@pytest.fixture
def plates(monkeypatch: pytest.MonkeyPatch) -> list[Box]:
    """Return the boxes of all words that are drawn, in the order of their drawing."""
    written: list[Box] = []
    write = Pen._write

    def noted(pen: Pen, plate: list[float], text: str, scale: float) -> None:
        written.append(plate)
        write(pen, plate, text, scale)

    monkeypatch.setattr(Pen, "_write", noted)
    return written


def apart(a: Box, b: Box) -> bool:
    return a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


def lying(level: float, degrees: float, size: tuple[int, int]) -> DipstickReading:
    """A stick through the middle of the picture, its marks 300 pixels apart."""
    along = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    across = np.array([-along[1], along[0]]) * 40
    middle = np.array(size) / 2

    def point(share: float) -> tuple[float, float]:
        x, y = middle + along * 300 * (share - 0.5)
        return float(x), float(y)

    edge = np.array(point(level))
    return DipstickReading(
        usable=True,
        level_fraction=level,
        level_uncertainty=0.03,
        mark_distance_mm=20.0,
        lower_mark_px=point(0.0),
        upper_mark_px=point(1.0),
        wet_edge_px=point(level),
        blade_edges_at_level_px=tuple(
            (float(x), float(y)) for x, y in (edge - across, edge + across)
        ),
        axis_px=tuple(point(share) for share in np.linspace(-0.6, 1.6, 40)),
    )


@pytest.mark.parametrize("degrees", [0, 30, 45, 75, 90, 120, 180, 230, 300])
@pytest.mark.parametrize("level", [-0.2, -0.05, 0.0, 0.04, 0.5, 0.96, 1.05, 1.3])
def test_figures_cover_neither_each_other_nor_the_blade(
    plates: list[Box], level: float, degrees: float
) -> None:
    """Near a mark the level's figure and the mark's once lay on one another."""
    for size in ((1200, 900), (900, 1200)):
        plates.clear()
        reading = lying(level, degrees, size)
        draw_overlay(photo(np.full((*size[::-1], 3), 90, np.uint8)), reading)
        assert len(plates) == 4  # level, both marks, the scale's length
        for first, second in combinations(plates, 2):
            assert apart(first, second)
        for left, top, right, bottom in plates:
            assert left >= 0
            assert top >= 0
            assert right < size[0]
            assert bottom < size[1]
            for x, y in reading.axis_px:
                assert not (left < x < right and top < y < bottom)


@pytest.mark.parametrize("center", [(1230, 600), (370, 600), (800, 370), (800, 830)])
def test_a_flakes_length_keeps_off_the_magnet_near_a_border(
    plates: list[Box], center: tuple[float, float]
) -> None:
    reading = plug(0.025, center)  # a rim of 360 pixels around it, a magnet of 180
    draw_overlay(photo(np.full((1200, 1600, 3), 90, np.uint8)), reading)
    length, scale = plates
    nearest = [
        np.clip(c, low, high) for c, low, high in zip(center, length[:2], length[2:], strict=True)
    ]
    assert np.hypot(*np.subtract(nearest, center)) > 180
    assert apart(length, scale)


def test_the_scale_bar_is_as_long_as_it_says_and_lies_beside_the_plug(plates: list[Box]) -> None:
    for center, left in (((800, 600), True), ((460, 740), False)):
        plates.clear()
        drawn = draw_overlay(photo(np.full((1200, 1600, 3), 90, np.uint8)), plug(0.02, center))
        x0, _, x1, y1 = (round(v) for v in plates[-1])
        assert (x0 < 100) is left
        white = np.asarray(drawn.convert("L"))[y1 + 6 : 1190, max(0, x0 - 20) : x1 + 300] > 240
        bar = max(int(row.sum()) for row in white)
        assert bar == pytest.approx(5 / 0.02, abs=10)  # at most 0.3 of 1200 px are 7.2 mm


def test_figures_are_rounded_as_the_report_rounds_them() -> None:
    assert [_whole(v) for v in (0.445, 0.285, 0.4449999, -0.085, 1.005)] == [45, 29, 45, -9, 101]
    assert [_tenths(v) for v in (1.25, 1.2494, 0.85, 2.04999)] == ["1.3", "1.2", "0.9", "2.1"]


def test_scale_bars_have_round_lengths():
    assert [_round_length(v) for v in (0.7, 1.0, 1.9, 4.9, 12.0, 99.0)] == [0.5, 1, 1, 2, 10, 50]
