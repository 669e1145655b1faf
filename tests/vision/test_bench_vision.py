"""The benchmark's arithmetic and its table, on a tiny labelled folder."""

from __future__ import annotations

import json

import pytest
from draw_stick import Stick, draw_stick
from PIL import Image

from joblog.errors import InputError
from joblog.vision.bench_score import Scores, add_score, kind_of, matched
from joblog.vision.bench_vision import _truth, stands_out, table
from joblog.vision.types import DipstickReading, FluidReading, PlugReading


def test_each_box_takes_one_centre():
    boxes = [[0, 0, 10, 10], [20, 20, 30, 30]]
    assert matched(boxes, [(5, 5), (6, 6)]) == 1
    assert matched(boxes, [(5, 5), (25, 25), (90, 90)]) == 2


def test_scores_of_readings():
    scores = Scores()
    truth = {"usable": True, "level_fraction": 0.5}
    add_score(
        scores,
        "a",
        truth,
        DipstickReading(usable=True, level_fraction=0.53, level_uncertainty=0.02),
    )
    add_score(scores, "b", truth, DipstickReading(usable=False, why="x"))
    add_score(scores, "c", {"usable": False}, FluidReading(usable=False, why="x"))
    assert scores.level_errors == [pytest.approx(0.03)]
    assert scores.level_covered == [False]
    assert (scores.decided_right, scores.photos, scores.wrongly) == (2, 3, ["b"])


def test_flakes_of_a_clean_plug():
    scores = Scores()
    truth = {
        "usable": True,
        "film_coverage": 0.1,
        "magnet_diameter_mm": 10.0,
        "flakes": [],
        "longest_flake_mm": 0,
    }
    reading = PlugReading(usable=True, film_coverage=0.15, magnet_diameter_mm=10.2)
    add_score(scores, "a", truth, reading)
    assert scores.f1 is None
    assert scores.longest_right == [True]
    assert scores.magnet_errors == [pytest.approx(0.02)]


def test_kind_by_fields_then_by_name():
    assert kind_of("x.jpg", {"level_fraction": 0.1}) == "dipstick"
    assert kind_of("swatch-002.jpg", {"usable": False}) == "fluid"
    assert kind_of("cat.jpg", {"usable": False}) is None


def test_table_has_a_line_for_every_bar():
    lines = table(Scores(level_errors=[0.01, 0.03]), Scores())
    assert any("0.020" in line and "level error, median" in line for line in lines)
    assert len(lines) == 11


def test_folder_without_truth_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"truth\.json"):
        _truth(tmp_path)
    (tmp_path / "truth.json").write_text(json.dumps({"stick-1.jpg": {"usable": True}}))
    with pytest.raises(InputError, match="no picture"):
        _truth(tmp_path)
    rgb, truth = draw_stick(Stick(), 3, (400, 300))
    Image.fromarray(rgb).save(tmp_path / "stick-1.jpg")
    (tmp_path / "truth.json").write_text(json.dumps({"stick-1.jpg": truth}))
    assert list(_truth(tmp_path)) == ["stick-1.jpg"]


def test_coins_on_unevenly_lit_ground_are_counted():
    """24 coins in skimage.data.coins(), counted by eye; the picture comes with the library."""
    data = pytest.importorskip("skimage.data")
    measure = pytest.importorskip("skimage.measure")
    assert int(measure.label(stands_out(data.coins())).max()) == 24
