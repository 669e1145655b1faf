"""The benchmark's arithmetic and its table, on a tiny labelled folder."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from draw_stick import Stick, draw_stick
from PIL import Image

from joblog.cli import main
from joblog.errors import InputError
from joblog.vision.bench_score import Scores, add_score, kind_of, matched, true_lab
from joblog.vision.bench_vision import _truth, stands_out, table
from joblog.vision.types import DipstickReading, FluidReading, PlugReading

SAMPLES = Path(__file__).parents[2] / "sample_images"


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
        "plug_outer_diameter_mm": 18.0,
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
    assert kind_of("dipstick-blurred.jpg", {"usable": False}) == "dipstick"
    assert kind_of("shot.jpg", {"usable": False, "kind": "plug"}) == "plug"
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
    assert list(_truth(tmp_path)[0]) == ["stick-1.jpg"]
    (tmp_path / "truth.json").write_text("[1]")
    with pytest.raises(InputError, match="must hold one object"):
        _truth(tmp_path)


def test_a_folder_labelled_in_part_is_measured_as_far_as_it_goes(tmp_path, capsys, monkeypatch):
    """The project's own sample pictures: no film, no boxes, colour as sRGB, a kind by name only."""
    pytest.importorskip("skimage")
    monkeypatch.setattr("joblog.vision.bench_vision._enlarged", lambda data: data)  # for speed
    labels = json.loads((SAMPLES / "truth.json").read_text())
    for name in ("plug-before.jpg", "dipstick-blurred.jpg", "fluid-new.jpg"):
        shutil.copy(SAMPLES / name, tmp_path)
    shutil.copy(SAMPLES / "plug-after.jpg", tmp_path / "photo17.jpg")
    (tmp_path / "plug-cut.jpg").write_bytes((SAMPLES / "plug-after.jpg").read_bytes()[:300])
    labels |= {"photo17.jpg": {"usable": True}, "plug-cut.jpg": {"usable": False}, "_by": "hand"}
    (tmp_path / "truth.json").write_text(json.dumps(labels))
    assert main(["bench", "vision", str(tmp_path)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("4 pictures of")
    left_out = [line.removeprefix("left out: ") for line in said if line.startswith("left out")]
    assert left_out == [
        "_by (no such picture)",
        "dipstick-after.jpg (no such picture)",
        "dipstick-before.jpg (no such picture)",
        "fluid-old.jpg (no such picture)",
        'photo17.jpg (give it a "kind": plug, dipstick, fluid)',
        "plug-after.jpg (no such picture)",
    ]
    rows = {line[:38].strip(): line[38:].split() for line in said}
    assert rows["usable or not decided right"][2] == "4/4"
    assert rows["film coverage, mean error"][-2:] == ["-", "-"]
    assert rows["flakes >= 0.3 mm, F1"][2] == "-"
    assert rows["longest flake within 8 % or 0.15 mm"][1:3] == ["100", "%"]
    assert float(rows["fluid CIEDE2000, median"][2]) < 4


def test_labels_that_are_missing_or_odd_leave_out_what_hangs_on_them():
    readings = [
        PlugReading(usable=True, film_coverage=0.1, magnet_diameter_mm=10.0),
        DipstickReading(usable=True, level_fraction=0.5, level_uncertainty=0.02),
        FluidReading(usable=True, lab=(50.0, 20.0, 10.0)),
    ]
    for truth in (
        {},
        {"usable": True},
        {"flakes": None, "level_fraction": "half", "fluid_srgb_d65_relative_to_paper": [1, 2]},
        {"plug_outer_diameter_mm": 18.0, "flakes": [{"length_mm": 1.0}], "magnet_diameter_mm": 0},
        {"plug_outer_diameter_mm": 18.0, "flakes": [{"bbox_px": [0, 0, 9, 9]}]},
    ):
        scores = Scores()
        for reading in readings:
            add_score(scores, "a", truth, reading)
        assert scores.decided_right == 3
        assert scores.f1 is None
        assert not scores.level_errors
        assert not scores.colours
        assert not scores.magnet_errors


def test_a_colour_in_srgb_is_that_colour():
    # Lindbloom's calculator: sRGB red is L 53.24, a 80.09, b 67.20
    red = true_lab({"fluid_srgb_d65_relative_to_paper": [255, 0, 0]})
    assert red == pytest.approx((53.24, 80.09, 67.20), abs=0.05)


def test_coins_on_unevenly_lit_ground_are_counted():
    """24 coins in skimage.data.coins(), counted by eye; the picture comes with the library."""
    data = pytest.importorskip("skimage.data")
    measure = pytest.importorskip("skimage.measure")
    assert int(measure.label(stands_out(data.coins())).max()) == 24
