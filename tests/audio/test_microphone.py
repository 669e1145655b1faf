"""The microphone's watchdog, and the system's own sound interface where there is one."""

from __future__ import annotations

import threading
from collections.abc import Callable
from itertools import islice

import numpy as np
import pytest

from joblog.audio.microphone import (
    Device,
    Microphone,
    PortAudioBackend,
    choose,
    list_devices,
    meter,
)
from joblog.audio.types import Samples
from joblog.errors import DeviceError

USB = Device("USB headset", 1, 48000, False)
BUILT_IN = Device("Built-in", 2, 44100, True)


class Card:
    """A sound card that hands over 50 ms blocks of a constant, and can be pulled out."""

    def __init__(self, rate: int, deliver: Callable[[Samples], None]) -> None:
        self.rate = rate
        self._pulled = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(deliver,), daemon=True)
        self._thread.start()

    def _run(self, deliver: Callable[[Samples], None]) -> None:
        while not self._pulled.wait(0.01):
            deliver(np.full(self.rate // 20, 0.25, np.float32))

    def close(self) -> None:
        self._pulled.set()


class Socket:
    """A place to plug a card in: a stand-in for hardware, which no test machine can pull out."""

    def __init__(self, rate: int = 48000) -> None:
        self.plugged = True
        self.rate = rate
        self.opened: list[str | None] = []
        self.card: Card | None = None

    def devices(self) -> list[Device]:
        return [USB, BUILT_IN] if self.plugged else [BUILT_IN]

    def open(self, name: str | None, deliver: Callable[[Samples], None]) -> Card:
        choose(self.devices(), name)
        self.opened.append(name)
        self.card = Card(self.rate, deliver)
        return self.card

    def pull(self) -> None:
        self.plugged = False
        assert self.card is not None
        self.card.close()


def test_a_card_of_another_rate_gives_16_khz() -> None:
    microphone = Microphone("USB", Socket(48000))
    blocks = list(islice(microphone.blocks(), 6))
    microphone.close()
    assert [len(block) for block in blocks[1:]] == [800] * 5
    assert np.allclose(np.concatenate(blocks[2:]), 0.25, atol=1e-3)


def test_a_pulled_card_is_reported_and_opened_again_by_its_name() -> None:
    socket, told = Socket(16000), []

    def tell(text: str) -> None:
        told.append(text)
        if "no sound" in text:
            threading.Timer(0.3, setattr, (socket, "plugged", True)).start()

    microphone = Microphone("USB", socket, tell)
    blocks = microphone.blocks()
    next(blocks)
    socket.pull()
    while "is back" not in " ".join(told):
        next(blocks)
    assert len(next(blocks)) == 800
    microphone.close()
    assert socket.opened == ["USB", "USB"]
    assert told == [
        "the microphone 'USB' gives no sound; plug it in again.",
        "the microphone 'USB' is back.",
    ]


def test_choosing_a_microphone() -> None:
    assert choose([USB, BUILT_IN], None) is BUILT_IN
    assert choose([USB, BUILT_IN], "headset") is USB
    with pytest.raises(DeviceError, match="no microphone 'Jabra'; there are 'USB headset'"):
        choose([USB, BUILT_IN], "Jabra")
    with pytest.raises(DeviceError, match="there is no microphone; plug one in"):
        choose([], None)


def test_the_system_s_own_interface() -> None:
    """With PortAudio the devices are listed, without it one sentence says what to install."""
    try:
        PortAudioBackend()
    except DeviceError as error:
        assert "libportaudio2" in str(error)  # noqa: PT017 - either outcome is right somewhere
        return
    assert all(device.channels > 0 for device in list_devices())


def test_meter() -> None:
    assert meter(0, -60) == "[|#############################]     0 dB"
    assert meter(-30, -45).count("#") == 14
    assert len(meter(-200, -200)) == len(meter(20, 0))
