"""``joblog photo`` as others call it: one JSON object a file, and what happens to bad files."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from draw_stick import Stick, draw_stick
from draw_swatch import Swatch, draw_swatch
from PIL import Image

from joblog.cli import main

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture
def stick_file(tmp_path):
    path = tmp_path / "stick.jpg"
    Image.fromarray(draw_stick(Stick(level=0.6), 3, (1024, 768))[0]).save(path, quality=92)
    return path


def lines(capsys):
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_dipstick_contract(stick_file, capsys):
    args = ["photo", "--kind", "dipstick", "--mark-distance-mm", "20", "--jsonl", str(stick_file)]
    assert main(args) == 0
    (line,) = lines(capsys)
    assert line["file"] == str(stick_file)
    assert line["usable"] is True
    assert line["why"] is None
    assert line["seconds"] > 0
    assert line["level_fraction"] == pytest.approx(0.6, abs=0.03)
    assert 0 < line["level_uncertainty"] < 0.2


def test_fluid_contract_and_overlay(tmp_path, capsys):
    path = tmp_path / "drop.png"
    Image.fromarray(draw_swatch(Swatch())).save(path)
    out = tmp_path / "measured"
    assert main(["photo", "--kind", "fluid", "--jsonl", "--overlay", str(out), str(path)]) == 0
    (line,) = lines(capsys)
    assert len(line["lab"]) == len(line["srgb"]) == 3
    with Image.open(out / "drop.jpg") as drawn:
        assert drawn.width >= 800


def test_flakes_are_told_as_found_and_one_is_one_flake(capsys):
    file = str(SAMPLES / "plug-before.jpg")
    assert main(["photo", "--kind", "plug", "--plug-diameter-mm", "18", file]) == 0
    told = capsys.readouterr().out
    assert "1 flake found, longest 1.3 mm (smaller ones may not be seen)" in told


def test_unreadable_file_is_told_and_the_others_go_on(stick_file, tmp_path, capsys):
    bad = tmp_path / "renamed.jpg"
    bad.write_text("this is no picture")
    args = ["photo", "--kind", "dipstick", "--jsonl", str(bad), str(stick_file)]
    assert main(args) == 1
    first, second = lines(capsys)
    assert set(first) == {"file", "error"}
    assert second["usable"] is True


def test_picture_without_a_stick_is_no_error(tmp_path, capsys):
    path = tmp_path / "drop.png"
    Image.fromarray(draw_swatch(Swatch())).save(path)
    assert main(["photo", "--kind", "dipstick", "--jsonl", str(path)]) == 0
    (line,) = lines(capsys)
    assert line["usable"] is False
    assert line["level_fraction"] is None
    assert line["why"]


def test_overlay_never_overwrites_the_photo(stick_file, capsys):
    before = stick_file.read_bytes()
    args = ["photo", "--kind", "dipstick", "--overlay", str(stick_file.parent), str(stick_file)]
    assert main(args) == 0
    assert stick_file.read_bytes() == before
    assert stick_file.with_name("stick-measured.jpg").exists()


def test_plug_without_its_diameter_is_refused(stick_file, capsys):
    assert main(["photo", "--kind", "plug", str(stick_file)]) == 2
    assert "--plug-diameter-mm" in capsys.readouterr().err


def test_plain_lines_can_be_read(stick_file, capsys):
    assert main(["photo", "--kind", "dipstick", str(stick_file)]) == 0
    assert "of the way from the lower to the upper mark" in capsys.readouterr().out


def test_two_shots_of_one_stick_are_combined(stick_file, capsys):
    args = ["photo", "--kind", "dipstick", "--jsonl", "--same-stick"]
    assert main([*args, str(stick_file), str(stick_file)]) == 0
    first, _, both = lines(capsys)
    assert both["combined"] == [str(stick_file)] * 2
    assert both["level_fraction"] == pytest.approx(first["level_fraction"], abs=1e-3)
    assert both["level_uncertainty"] < first["level_uncertainty"]


def test_labels_of_a_photo(tmp_path, capsys):
    path = tmp_path / "door.png"
    code = zxingcpp.create_barcode("1M8GDM9AXKP042788", zxingcpp.BarcodeFormat.Code39)
    Image.fromarray(np.pad(np.array(code.to_image(scale=4)), 80, constant_values=255)).save(path)
    assert main(["labels", "--jsonl", str(path)]) == 0
    (line,) = lines(capsys)
    assert line["labels"][0]["text"] == "1M8GDM9AXKP042788"


@pytest.mark.parametrize("command", [["photo", "--kind", "fluid"], ["labels"]])
def test_a_file_that_cannot_be_read_is_named_once(command, tmp_path, capsys):
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"no picture")
    for path in (broken, tmp_path / "absent.jpg"):
        assert main([*command, str(path)]) == 1
        said = capsys.readouterr().err
        assert said.startswith(f"{path} ")
        assert said.count(path.name) == 1
