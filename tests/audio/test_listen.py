"""``joblog listen`` for real: people's recordings through segmenter and recogniser.

Recordings and transcripts are those that pocketsphinx 5.1.1 carries (BSD), see data/README.md.
Notes are lines of the demo: synthetic voices, see sample_audio/README.md.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from joblog.audio.files import read_audio
from joblog.audio.types import RATE
from joblog.cli import main

DATA = Path(__file__).parent / "data"
DEMO = Path(__file__).parents[2] / "sample_audio"
CARDS = """#JSGF V1.0;
grammar cards;
public <cards> = <card> <card> <card> | <card> <card> | <card> | <rank> <card> | <rank> <rank>;
<card> = <rank> [of] (clubs | hearts | diamonds | spades);
<rank> = ace | two | three | four | five | six | seven | eight | nine | ten | jack | queen | king;
"""
MOVES = """#JSGF V1.0;
grammar moves;
public <move> = go (forward | backward) <distance> [meter | meters];
<distance> = one | two | three | four | five | six | seven | eight | nine | ten;
"""


@pytest.fixture
def moves(tmp_path: Path) -> Path:
    path = tmp_path / "moves.gram"
    path.write_text(MOVES, encoding="utf-8")
    return path


def answers(text: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in text.splitlines()]


def stream(*names: str) -> bytes:
    gap = np.zeros(16000, np.float32)
    parts = [gap]
    for name in names:
        parts += [read_audio(DATA / f"{name}.flac").samples, gap]
    return (np.concatenate(parts) * 32767).astype("<i2").tobytes()


# Transcripts from the source.
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("cards-002", "four queen of clubs"),
        ("cards-004", "five five"),
        ("cards-005", "eight of spades four of clubs seven of hearts"),
    ],
)
def test_a_file(name: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    grammar = tmp_path / "cards.gram"
    grammar.write_text(CARDS, encoding="utf-8")
    source = str(DATA / f"{name}.flac")
    assert main(["listen", "--grammar", str(grammar), "--jsonl", "--source", source]) == 0
    heard = answers(capsys.readouterr().out)
    assert [answer["text"] for answer in heard] == [said]
    assert heard[0]["source"] == source


def test_a_socket_with_two_utterances(moves: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:

        def send() -> None:
            connection, _ = server.accept()
            with connection:
                connection.sendall(stream("goforward", "goforward"))

        sender = threading.Thread(target=send)
        sender.start()
        source = f"tcp:127.0.0.1:{server.getsockname()[1]}"
        status = main(["listen", "--grammar", str(moves), "--jsonl", "--source", source])
        sender.join()
    assert status == 0
    heard = answers(capsys.readouterr().out)
    assert [answer["text"] for answer in heard] == ["go forward ten meters"] * 2
    assert all(answer["accepted"] for answer in heard)


def test_standard_input_of_a_real_process(moves: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "joblog", "listen", "--grammar", str(moves), "--source", "-"]
    done = subprocess.run(
        [*command, "--jsonl", "--keep", str(tmp_path / "kept")],
        input=stream("goforward"),
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (heard,) = answers(done.stdout.decode())
    assert heard["text"] == "go forward ten meters"
    kept = read_audio(str(heard["kept"]))
    assert kept.duration == pytest.approx(heard["duration"], abs=0.001)


@pytest.mark.parametrize("stated", [(48000, 2, 16), (8000, 1, 24)])
def test_a_file_without_a_header_is_read_as_stated(
    stated: tuple[int, int, int], moves: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rate, channels, bits = stated
    sound = read_audio(DATA / "goforward.flac").samples
    sound = np.concatenate([sound, np.zeros(RATE, np.float32)])
    there = np.arange(len(sound) * rate // RATE) * RATE / rate
    changed = np.interp(there, np.arange(len(sound)), sound).astype(np.float32)
    raw = tmp_path / "sound.raw"
    frames = np.repeat(changed[:, None], channels, axis=1)
    soundfile.write(raw, frames, rate, format="RAW", subtype=f"PCM_{bits}", endian="LITTLE")
    command = ["listen", "--grammar", str(moves), "--jsonl", "--source", str(raw)]
    said = ["--rate", str(rate), "--channels", str(channels), "--bits", str(bits)]
    assert main([*command, *said]) == 0
    (heard,) = answers(capsys.readouterr().out)
    assert heard["text"] == "go forward ten meters"
    assert heard["duration"] < len(sound) / RATE


@pytest.mark.parametrize(
    ("option", "why"),
    [
        ("--rate=0", "a sampling rate of 0 Hz is not believable"),
        ("--channels=0", "sound with 0 channels"),
        ("--bits=12", "12-bit integer samples"),
    ],
)
def test_a_format_that_no_sound_has_is_refused_for_a_file_too(
    option: str, why: str, moves: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    raw = tmp_path / "sound.raw"
    raw.write_bytes(bytes(32000))
    command = ["listen", "--grammar", str(moves), "--source", str(raw), option]
    assert main(command) == 1
    told = capsys.readouterr().err
    assert told.startswith("joblog: ")
    assert why in told
    assert told.count("\n") == 1


QUIET = np.zeros(2 * RATE, np.float32)


def spoken(name: str) -> np.ndarray:
    """Return a line of the demo without the silence around it."""
    samples = read_audio(DEMO / f"{name}.flac").samples
    loud = np.flatnonzero(np.abs(samples) > 0.1)
    return samples[max(0, loud[0] - 2400) : loud[-1] + 2400]


def listened(
    parts: list[np.ndarray], folder: Path, capsys: pytest.CaptureFixture[str]
) -> list[dict[str, object]]:
    source = folder / "spoken.wav"
    soundfile.write(source, np.concatenate([QUIET, *parts, QUIET]), RATE)
    command = ["listen", "--sheet", "transaxle-drain-fill", "--jsonl", "--source", str(source)]
    assert main(command) == 0
    return answers(capsys.readouterr().out)


@pytest.mark.parametrize("pause", [0.1, 1.5])
def test_a_note_is_taken_in_one_breath_or_behind_a_pause(
    pause: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    silence = np.zeros(int(pause * RATE), np.float32)
    words, after = spoken("40-note-text"), spoken("38-reminder-reset")
    parts = [spoken("39-note"), silence, words, QUIET, after]
    heard = listened(parts, tmp_path, capsys)
    *before, note, last = heard
    assert [answer["text"] for answer in before] == (["note"] if pause > 1 else [])
    text = str(note["note"])
    assert text.lower().strip(".") == "the left rear tire is worn on its inner edge"
    assert note["text"] == f"note {text}"
    assert (note["accepted"], note["confidence"]) == (True, None)
    assert last["text"] == "service reminder reset"
    assert "note" not in last


def test_what_stands_behind_a_note_is_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gap = np.zeros(int(0.35 * RATE), np.float32)
    both = [spoken("40-note-text"), gap, spoken("38-reminder-reset")]
    _, note, behind = listened([spoken("39-note"), QUIET, *both], tmp_path, capsys)
    assert "inner edge" in str(note["note"])
    assert "reminder" not in str(note["note"])
    assert (behind["verdict"], behind["accepted"]) == ("ask", False)
    assert "reminder reset" in str(behind["text"])


def test_what_can_not_be_listened_to(
    moves: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["listen", "--source", "-"]) == 2
    assert "say what to listen for" in capsys.readouterr().err
    absent = str(tmp_path / "absent.wav")
    assert main(["listen", "--grammar", str(moves), "--source", absent]) == 1
    assert capsys.readouterr().err.strip().endswith("there is no such file.")


@pytest.mark.parametrize("kind", ["file", "below a file", "read-only", "full"])
def test_a_folder_that_can_not_keep_sound_is_one_sentence(
    kind: str, moves: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep = tmp_path / "kept"
    if kind in ("file", "below a file"):
        keep.write_bytes(b"mine")
        keep = keep / "below" if kind == "below a file" else keep
    elif kind == "read-only":
        keep.mkdir(mode=0o500)
        if os.access(keep, os.W_OK):
            pytest.skip("this user may write anywhere")
    else:  # nothing can be written under the name of the first utterance
        keep.mkdir()
        for hundredths in range(400):
            (keep / f"{hundredths / 100:09.2f}.flac").mkdir()
    source = str(DATA / "goforward.flac")
    command = ["listen", "--grammar", str(moves), "--jsonl", "--source", source]
    assert main([*command, "--keep", str(keep)]) == 1
    told = capsys.readouterr()
    assert told.err.startswith("joblog: ")
    assert told.err.count("\n") == 1
    assert str(keep) in told.err
    assert "--keep" in told.err
    if kind == "full":  # what was heard is told all the same
        assert answers(told.out)[0]["text"] == "go forward ten meters"
    else:
        assert told.out == ""
