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
from joblog.vision.measure_photo import measure_dipstick_shots

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


def test_overlays_of_photos_with_one_name_lie_side_by_side(tmp_path, capsys):
    files = [tmp_path / "a" / "drop.jpg", tmp_path / "b" / "drop.jpg", tmp_path / "b" / "drop.png"]
    for number, file in enumerate(files):
        file.parent.mkdir(exist_ok=True)
        Image.fromarray(draw_swatch(Swatch(seed=number))).save(file)
    before = [file.read_bytes() for file in files]
    for folder in (tmp_path / "out", tmp_path / "b"):  # the second holds two of the photos
        args = ["photo", "--kind", "fluid", "--jsonl", "--overlay", str(folder)]
        assert main([*args, *map(str, files)]) == 0
        drawn = [Path(line["overlay"]) for line in lines(capsys)]
        assert len({path.read_bytes() for path in drawn}) == 3
        assert [file.read_bytes() for file in files] == before
        count = len(list(folder.iterdir()))
        assert main([*args, *map(str, files)]) == 0  # once more: the same drawings, kept once
        assert [Path(line["overlay"]) for line in lines(capsys)] == drawn
        assert len(list(folder.iterdir())) == count


def test_plug_without_its_diameter_is_refused(stick_file, capsys):
    assert main(["photo", "--kind", "plug", str(stick_file)]) == 2
    assert "--plug-diameter-mm" in capsys.readouterr().err


def test_plain_lines_can_be_read(stick_file, capsys):
    assert main(["photo", "--kind", "dipstick", str(stick_file)]) == 0
    assert "of the way from the lower to the upper mark" in capsys.readouterr().out


def test_two_shots_of_one_stick_are_combined(stick_file, capsys):
    other = stick_file.with_name("other.jpg")
    Image.open(stick_file).save(other, quality=80)
    args = ["photo", "--kind", "dipstick", "--jsonl", "--same-stick"]
    assert main([*args, str(stick_file), str(other)]) == 0
    first, second, both = lines(capsys)
    assert both["combined"] == [str(stick_file), str(other)]
    assert both["level_fraction"] == pytest.approx(first["level_fraction"], abs=0.02)
    assert both["level_uncertainty"] < first["level_uncertainty"]
    assert both["level_uncertainty"] < second["level_uncertainty"]
    combined = measure_dipstick_shots([stick_file, other, stick_file.read_bytes()])
    assert combined.level_uncertainty == pytest.approx(both["level_uncertainty"], abs=1e-4)


def test_one_photo_given_twice_is_one_shot(stick_file, capsys):
    copy = stick_file.with_name("copy.jpg")
    copy.write_bytes(stick_file.read_bytes())
    args = ["photo", "--kind", "dipstick", "--jsonl", "--same-stick"]
    assert main([*args, str(stick_file), str(stick_file), str(copy)]) == 0
    *singles, both = lines(capsys)
    assert len(singles) == 3
    assert both["combined"] == [str(stick_file)]
    assert both["level_uncertainty"] == singles[0]["level_uncertainty"]
    assert f"{copy} is the same photo as {stick_file}: counted once" in both["notes"]
    alone = measure_dipstick_shots([stick_file])
    assert measure_dipstick_shots([stick_file, copy]).level_uncertainty == alone.level_uncertainty


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
