"""Drawn measurements: there, in the right place, and legible without colour."""

from __future__ import annotations

import io

import numpy as np
from draw_stick import Stick, draw_stick
from draw_swatch import Swatch, draw_swatch
from PIL import Image

from joblog.vision.dipstick import measure_dipstick
from joblog.vision.fluid import measure_fluid
from joblog.vision.overlay import WORDS, draw_overlay, overlay_jpeg, side_by_side
from joblog.vision.overlay_pen import Pen, _round_length
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
        assert (np.asarray(plain)[height:] != np.asarray(other)[height:]).any()


def test_pair_is_at_the_same_scale():
    """A rim of 18 mm comes out equally large though one photo was taken from twice as far."""
    near, far = (photo(np.full((800, 1000, 3), 90, np.uint8)) for _ in range(2))
    pair = side_by_side((near, plug(0.03, (500, 400))), (far, plug(0.06, (300, 500))), side_px=500)
    grey = np.asarray(pair.convert("L"))
    halves = grey[:500, :500], grey[:500, pair.width - 500 :]
    widths = []
    for half in halves:
        down = np.flatnonzero(half[:, 250] > 200)  # beside the flake's length and the names
        widths.append(down.max() - down.min())
    # the rim is 18 of the 24.3 mm shown: 370 px
    assert abs(widths[0] - 370) <= 8
    assert abs(widths[1] - 370) <= 8


def test_words_are_seven_points_high_in_the_report_and_stand_on_a_plate():
    """The report shows a photo 45 mm wide; over black, white or both a word reads as well."""
    for shade in (0, 255):
        pen = Pen(Image.new("RGB", (1600, 1200), (shade,) * 3))
        pen.words((800, 600), "1.3 mm", scale=0.85)
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


def test_scale_bars_have_round_lengths():
    assert [_round_length(v) for v in (0.7, 1.0, 1.9, 4.9, 12.0, 99.0)] == [0.5, 1, 1, 2, 10, 50]
