"""What is shipped beside the speech model: an altered file is named, and nothing is heard with it.

Recording: pocketsphinx 5.1.1's test data (BSD), see tests/audio/data/README.md.
"""

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import joblog
from joblog.errors import ModelError
from joblog.speech import shipped
from joblog.speech.engines import ADAPTER, find_model
from joblog.speech.second_ear import HEAD, SecondEar
from joblog.speech.shipped import check_shipped, note_shipped
from joblog.speech.whisper.weights import load_weights, merge_adapter

ROOM = Path(joblog.__file__).parent
RECORDING = Path(__file__).parents[1] / "audio" / "data" / "tidigits-2934z.flac"
DIGITS = "zero | one | two | three | four | five | six | seven | eight | nine"
GRAMMAR = f"#JSGF V1.0; grammar d; public <d> = ({DIGITS})+;"
FILES = ("adapter.npz", "second_ear.npz", "second_ear.onnx", "whisper/calibration.json")


@pytest.fixture(scope="module")
def copied(tmp_path_factory):
    """Return a copy of the package that may be harmed."""
    root = tmp_path_factory.mktemp("copied")
    leave = shutil.ignore_patterns("__pycache__", "plug-*.onnx", "voice.*")
    shutil.copytree(ROOM, root / "joblog", ignore=leave)
    (root / "d.gram").write_text(GRAMMAR, encoding="utf-8")
    return root


def heard(copied, **environment):
    command = [sys.executable, "-m", "joblog", "hear", "--grammar", "d.gram", str(RECORDING)]
    variables = {**os.environ, "PYTHONPATH": str(copied), **environment}
    return subprocess.run(
        command, cwd=copied, env=variables, capture_output=True, text=True, check=False
    )


def changed(data, harm):
    if harm == "missing":
        return None
    if harm == "cut off":
        return data[: len(data) // 2]
    middle = len(data) // 2
    return data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :]


@pytest.mark.parametrize(
    ("name", "harm"),
    [(name, "one bit") for name in FILES]
    + [("adapter.npz", "cut off"), ("adapter.npz", "missing"), (FILES[3], "cut off")],
)
def test_a_harmed_file_is_named_in_one_sentence(copied, name, harm):
    path = copied / "joblog" / "speech" / name
    whole = path.read_bytes()
    harmed = changed(whole, harm)
    try:
        path.unlink()
        if harmed is not None:
            path.write_bytes(harmed)
        answer = heard(copied)
    finally:
        path.write_bytes(whole)
    assert answer.returncode == 1
    assert answer.stdout == ""
    (sentence,) = answer.stderr.splitlines()
    assert sentence.startswith(f"joblog: {path}")
    assert hashlib.sha256(whole).hexdigest() in sentence
    if harmed is not None:
        assert hashlib.sha256(harmed).hexdigest() in sentence


def test_the_whole_files_are_taken_and_the_bare_model_needs_no_adapter(copied):
    assert "two nine three four zero" in heard(copied).stdout
    path = copied / "joblog" / "speech" / "adapter.npz"
    whole = path.read_bytes()
    try:
        path.write_bytes(whole[:1000])
        assert heard(copied, JOBLOG_ADAPTER="off").returncode == 0
    finally:
        path.write_bytes(whole)


def test_the_list_names_what_is_shipped():
    lines = (ROOM / "speech" / "shipped.sha256").read_text(encoding="utf-8").splitlines()
    assert [line.split("  ")[1] for line in lines] == list(FILES)
    for name in FILES:
        check_shipped(ROOM / "speech" / name)


def test_a_missing_or_damaged_list_is_named(tmp_path):
    (tmp_path / "adapter.npz").write_bytes(b"weights")
    with pytest.raises(ModelError, match=r"shipped\.sha256 is missing or damaged"):
        check_shipped(tmp_path / "adapter.npz", tmp_path)
    for content in ("no line of a list\n", ""):
        (tmp_path / "shipped.sha256").write_text(content, encoding="utf-8")
        with pytest.raises(ModelError, match=r"shipped\.sha256 .*install joblog again"):
            check_shipped(tmp_path / "adapter.npz", tmp_path)


def test_who_makes_a_shipped_file_anew_writes_its_line_anew(tmp_path):
    for name in ("adapter.npz", "second_ear.npz"):
        shutil.copy(shipped.FOLDER / name, tmp_path)
    shutil.copy(shipped.FOLDER / shipped.LIST, tmp_path)
    (tmp_path / "adapter.npz").write_bytes(b"other weights")
    with pytest.raises(ModelError, match=r"adapter\.npz was altered"):
        check_shipped(tmp_path / "adapter.npz", tmp_path)
    note_shipped(tmp_path / "adapter.npz", tmp_path)
    check_shipped(tmp_path / "adapter.npz", tmp_path)
    check_shipped(tmp_path / "second_ear.npz", tmp_path)  # its line stayed


def test_a_file_elsewhere_has_no_line(tmp_path):
    shutil.copy(shipped.FOLDER / shipped.LIST, tmp_path)
    before = (tmp_path / shipped.LIST).read_bytes()
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "adapter.npz").write_bytes(b"of a fold")
    note_shipped(tmp_path / "sub" / "adapter.npz", tmp_path)
    assert (tmp_path / shipped.LIST).read_bytes() == before


def test_another_adapter_and_another_head_need_no_hash(tmp_path):
    weights, again = load_weights(find_model()), load_weights(find_model())
    other = Path(shutil.copy(ADAPTER, tmp_path / "mine.npz"))
    merge_adapter(weights, other)
    merge_adapter(again, ADAPTER)
    assert all((weights[name] == again[name]).all() for name in weights)
    SecondEar(head=shutil.copy(HEAD, tmp_path / "head.npz"))


@pytest.mark.parametrize("place", [0.0, 0.3, 0.5, 0.9, 0.999])
def test_another_adapter_that_is_damaged_is_named_too(tmp_path, place):
    data = bytearray(ADAPTER.read_bytes())
    at = int(place * (len(data) - 60))
    data[at : at + 60] = bytes(60)
    (tmp_path / "mine.npz").write_bytes(data)
    with pytest.raises(ModelError, match=r"mine\.npz is damaged or does not fit"):
        merge_adapter(load_weights(find_model()), tmp_path / "mine.npz")
