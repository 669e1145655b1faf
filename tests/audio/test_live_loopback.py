"""``joblog listen`` on a live loopback device, pulled out and plugged in again.

Needs PortAudio with ALSA's pulse plugin, and PulseAudio's own programs; skipped without them.
"""

from __future__ import annotations

import json
import os
import queue
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import numpy as np
import pytest
import soundfile

from joblog.audio.files import read_audio
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE, spoken_sound
from joblog.speech.engines import get_engine
from joblog.speech.grammar import Grammar

DATA = Path(__file__).parent / "data"
Lines = queue.Queue[str]
ALSA = Path("/usr/share/alsa/alsa.conf")
GRAMMAR = """#JSGF V1.0;
grammar moves;
public <move> = go (forward | backward) (two | five | ten) meters;
"""
MICROPHONE = """<{alsa}>
pcm.shopmic {{ type pulse device "loop.monitor" hint {{ show on description "shop mic" }} }}
pcm.!default {{ type pulse device "loop" hint {{ show on description "loudspeaker" }} }}
"""


class Loopback:
    """A sound server of its own, whose one output can be recorded."""

    def __init__(self, folder: Path) -> None:
        (folder / "run").mkdir(mode=0o700)
        (folder / "alsa.conf").write_text(MICROPHONE.format(alsa=ALSA), encoding="utf-8")
        self.environment = os.environ | {
            "XDG_RUNTIME_DIR": str(folder / "run"),
            "HOME": str(folder),
            "ALSA_CONFIG_PATH": str(folder / "alsa.conf"),
        }
        self.plug_in()

    def plug_in(self) -> None:
        sink = "--load=module-null-sink sink_name=loop rate=48000"
        self._server = subprocess.Popen(
            ["pulseaudio", "-n", "--exit-idle-time=-1", "--daemonize=no",
             "--load=module-native-protocol-unix", sink],
            env=self.environment,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(50):
            command = ["pactl", "list", "short", "sources"]
            listed = subprocess.run(command, env=self.environment, capture_output=True, check=False)
            if b"loop.monitor" in listed.stdout:
                return
            time.sleep(0.1)
        pytest.skip("the sound server does not start here")

    def pull_out(self) -> None:
        self._server.terminate()
        self._server.wait()

    def play(self, path: Path) -> None:
        subprocess.run(["paplay", "--device=loop", str(path)], env=self.environment, check=True)


@pytest.fixture
def loopback(tmp_path: Path) -> Iterator[Loopback]:
    if not (shutil.which("pulseaudio") and shutil.which("paplay") and ALSA.exists()):
        pytest.skip("needs pulseaudio, paplay and ALSA")
    device = Loopback(tmp_path)
    yield device
    device.pull_out()


def lines_of(stream: IO[str]) -> tuple[Lines, threading.Thread]:
    lines: Lines = queue.Queue()
    reader = threading.Thread(target=lambda: [lines.put(line) for line in stream])
    reader.start()
    return lines, reader


def wait_for(lines: Lines, text: str) -> None:
    while text not in lines.get(timeout=30):
        pass


@contextmanager
def listening(loopback: Loopback, *options: str) -> Iterator[tuple[Lines, Lines]]:
    """Run ``joblog listen`` on the device; what it hears and what it tells, line by line."""
    command = [sys.executable, "-m", "joblog", "listen"]
    listed = subprocess.run(
        [*command, "--devices"], env=loopback.environment, capture_output=True, check=False
    )
    if b"shopmic" not in listed.stdout:
        pytest.skip("needs PortAudio and ALSA's pulse plugin")
    program = subprocess.Popen(
        [*command, "--jsonl", "--meter", "--source", "mic:shopmic", *options],
        env=loopback.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        bufsize=1,
    )
    assert program.stdout is not None
    assert program.stderr is not None
    (heard, one), (told, other) = lines_of(program.stdout), lines_of(program.stderr)
    try:
        wait_for(told, "dB")
        yield heard, told
    finally:
        program.kill()
        program.wait()
        one.join()
        other.join()
        program.stdout.close()
        program.stderr.close()


def test_a_live_microphone_that_is_pulled_and_plugged_again(
    loopback: Loopback, tmp_path: Path
) -> None:
    grammar, sound = tmp_path / "moves.gram", tmp_path / "sound.wav"
    grammar.write_text(GRAMMAR, encoding="utf-8")
    gap = np.zeros(16000, np.float32)
    spoken = read_audio(DATA / "goforward.flac").samples
    soundfile.write(sound, np.concatenate([gap, spoken, gap]), 16000)
    with listening(loopback, "--grammar", str(grammar)) as (heard, told):
        loopback.play(sound)
        assert json.loads(heard.get(timeout=30))["text"] == "go forward ten meters"
        loopback.pull_out()
        wait_for(told, "gives no sound")
        loopback.plug_in()
        wait_for(told, "is back")
        loopback.play(sound)
        assert json.loads(heard.get(timeout=30))["text"] == "go forward ten meters"


ORDERS = """#JSGF V1.0;
grammar orders;
public <order> = drain plug (in | out) | vehicle (level | checked);
"""


def test_what_joblog_says_aloud_is_never_heard_as_a_command(
    loopback: Loopback, tmp_path: Path
) -> None:
    grammar, sound, room = (tmp_path / name for name in ("o.gram", "sound.wav", "room.raw"))
    grammar.write_text(ORDERS, encoding="utf-8")
    gap = np.zeros(RATE, np.float32)
    said = spoken_sound("Drain plug out.", load_clips())
    soundfile.write(sound, np.concatenate([gap, said, gap]), RATE)
    with listening(loopback, "--aloud", "--grammar", str(grammar)) as (heard, _):
        recorder = subprocess.Popen(
            ["parec", "--device=loop.monitor", "--rate=16000", "--channels=1", "--format=s16le",
             str(room)],
            env=loopback.environment,
        )  # fmt: skip
        try:
            loopback.play(sound)
            assert json.loads(heard.get(timeout=30))["text"] == "drain plug out"
            time.sleep(6)  # the answer sounds and would have been cut and heard by now
            assert heard.empty()
            loopback.play(sound)  # a person says it once more
            assert json.loads(heard.get(timeout=30))["text"] == "drain plug out"
        finally:
            recorder.kill()
            recorder.wait()
    # The microphone's line truly carried the answer: behind the command it is heard in the room.
    samples = np.frombuffer(room.read_bytes()[: room.stat().st_size // 2 * 2], "<i2")
    ends = np.flatnonzero(np.abs(samples) > 300)
    first = ends[0] + round((len(said) / RATE + 0.3) * 16_000)
    answer = samples[first : first + 6 * 16_000].astype(np.float32) / 32768
    assert get_engine().hear(answer, Grammar.from_text(ORDERS)).text == "drain plug out"
