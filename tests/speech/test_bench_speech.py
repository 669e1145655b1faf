"""``joblog bench speech`` on folders that are not as they should be: one sentence each."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from joblog.cli import main

DATA = Path(__file__).parents[1] / "audio" / "data"
GRAMMAR = "#JSGF V1.0; grammar moves; public <move> = go forward <distance> meters; "
GRAMMAR += "<distance> = ten | nine;"


@pytest.fixture
def folder(tmp_path):
    commands = tmp_path / "commands"
    commands.mkdir()
    shutil.copy(DATA / "goforward.flac", commands)
    (commands / "commands.gram").write_text(GRAMMAR, encoding="utf-8")
    labels = {"goforward.flac": {"distance": "ten"}}
    (commands / "labels.json").write_text(json.dumps(labels), encoding="utf-8")
    return tmp_path


def told(capsys, folder, *more):
    status = main(["bench", "speech", "--ours", *more, str(folder)])
    said = capsys.readouterr()
    assert said.err.count("\n") == (status != 0)
    return status, said.err if status else said.out


def test_a_whole_folder_is_measured(folder, capsys):
    (folder / "noise").mkdir()
    noise = np.random.default_rng(1).normal(0, 0.1, 48_000)
    soundfile.write(folder / "noise" / "kitchen.flac", noise, 16_000)
    status, said = told(capsys, folder)
    assert status == 0
    assert "commands, kitchen, 24 dB         n=  1  100.0% right" in said


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"xx\n", "can't be read"),
        (b"\xff\xfe{", "can't be read"),
        (b"", "can't be read"),
        (b'["goforward.flac"]', "must hold an object"),
        (b'{"goforward.flac": "ten"}', "must hold an object"),
    ],
)
def test_damaged_labels_are_named(folder, capsys, content, why):
    (folder / "commands" / "labels.json").write_bytes(content)
    status, said = told(capsys, folder)
    assert status == 1
    assert f"{folder / 'commands' / 'labels.json'} {why}" in said


@pytest.mark.parametrize(
    ("labels", "why"),
    [
        ({}, "labels no recording"),
        ({"goforward.flac": {"distanze": "ten"}}, "the slot 'distanze', but no rule"),
        ({"goforward.flac": {"distance": 10}}, "the value 10, which is not made of words"),
        ({"goforward.flac": {"distance": "Ten"}}, "the value 'Ten', which is not made of words"),
    ],
)
def test_labels_that_no_sentence_meets_are_told_and_not_counted_as_mistakes(
    folder, capsys, labels, why
):
    (folder / "commands" / "labels.json").write_text(json.dumps(labels), encoding="utf-8")
    status, said = told(capsys, folder)
    assert status == 1
    assert why in said


@pytest.mark.parametrize(
    ("noise", "row"),
    [
        ("saw", "commands, saw, 24 dB             n=  1"),
        ("", "commands, as recorded            n=  1"),
    ],
)
def test_commands_are_measured_without_kitchen_noise_too(folder, capsys, noise, row):
    if noise:
        (folder / "noise").mkdir()
        hiss = np.random.default_rng(1).normal(0, 0.1, 48_000)
        soundfile.write(folder / "noise" / f"{noise}.flac", hiss, 16_000)
    status, said = told(capsys, folder)
    assert status == 0
    assert f"{row}  100.0% right" in said


def test_a_fit_to_next_to_nothing_leaves_the_weights_as_they_are(folder, capsys):
    out = folder / "weights.json"
    assert main(["bench", "fit", str(folder), "--out", str(out)]) == 1
    assert "in which what was said was found at all" in capsys.readouterr().err
    assert not out.exists()
    assert main(["bench", "fit", str(folder), "--out", str(folder / "no" / "weights.json")]) == 2
    assert "there is no folder" in capsys.readouterr().err


def test_fewer_than_no_threads_are_refused(folder, capsys):
    grammar, sound = folder / "commands" / "commands.gram", folder / "commands" / "goforward.flac"
    status = main(["hear", "--threads", "-3", "--grammar", str(grammar), str(sound)])
    assert status == 2
    assert "threads is 1 or more" in capsys.readouterr().err


def test_a_labelled_recording_that_is_not_there_is_named(folder, capsys):
    (folder / "commands" / "goforward.flac").unlink()
    status, said = told(capsys, folder)
    assert status == 1
    assert "goforward.flac: there is no such file" in said


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("seven.flac", "must be named DIGIT_SPEAKER_TAKE.flac"),
        ("7_ann_1.flac", "lacks the digits 0, 1, 2, 3, 4, 5, 6, 8, 9 by ann"),
    ],
)
def test_digits_that_are_named_otherwise_or_missing_are_told(folder, capsys, name, why):
    (folder / "digits").mkdir()
    shutil.copy(DATA / "goforward.flac", folder / "digits" / name)
    status, said = told(capsys, folder)
    assert status == 1
    assert why in said


def test_every_none_is_refused(folder, capsys):
    status, said = told(capsys, folder, "--every", "0")
    assert status == 2
    assert "--every takes a whole number from 1 on" in said
