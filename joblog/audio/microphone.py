"""The live microphone: found by name, watched, opened again when it comes back.

``sounddevice`` needs the system library PortAudio, which its Linux wheel does not carry: it is
imported only here, where a microphone is opened.
"""

from __future__ import annotations

import queue
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from joblog.audio.resample import Resampler
from joblog.audio.types import RATE, Samples
from joblog.errors import DeviceError

# A sound card hands over a block every few hundredths of a second; half a second without one means
# that it is gone. Unplugged USB cards do not report an error, they only fall silent.
LOST_AFTER = 0.5
FIRST_AFTER = 2.0  # a card that was just opened may take this long to start
TRY_AGAIN = 1.0
_WAITING_BLOCKS = 200  # about 20 s; a reader that is further behind loses the oldest sound


@dataclass(frozen=True)
class Device:
    """A microphone: its name, inputs, usual rate in Hz, and whether it is the system's choice."""

    name: str
    channels: int
    rate: int
    default: bool


class Stream(Protocol):
    """An open microphone; ``rate`` is that of the blocks it hands over."""

    rate: int

    def close(self) -> None:
        """Stop it; never raises."""


class Backend(Protocol):
    """The system's sound interface."""

    def devices(self) -> list[Device]:
        """List the microphones that are plugged in now."""

    def open(self, name: str | None, deliver: Callable[[Samples], None]) -> Stream:
        """Open a microphone (None: the system's choice); raises DeviceError."""


class PortAudioBackend:
    """Microphones through PortAudio."""

    def __init__(self) -> None:
        self._sounddevice = _import_sounddevice()

    def devices(self) -> list[Device]:
        """List the microphones that are plugged in now."""
        # PortAudio lists devices once, when it starts: only a restart sees what was plugged in.
        self._sounddevice._terminate()
        self._sounddevice._initialize()
        chosen = self._sounddevice.default.device[0]
        return [
            Device(
                info["name"],
                int(info["max_input_channels"]),
                round(info["default_samplerate"]),
                info["index"] == chosen,
            )
            for info in self._sounddevice.query_devices()
            if info["max_input_channels"] > 0
        ]

    def open(self, name: str | None, deliver: Callable[[Samples], None]) -> Stream:
        """Open a microphone at 16 kHz, or at its own rate where it can't do that."""
        device = choose(self.devices(), name)
        for rate in dict.fromkeys((RATE, device.rate, 48_000, 44_100)):
            try:
                return _PortAudioStream(self._sounddevice, device.name, rate, deliver)
            except self._sounddevice.PortAudioError as error:
                reason = error
        raise DeviceError(f"the microphone '{device.name}' can't be opened: {reason}.")


class _PortAudioStream:
    def __init__(
        self, sounddevice: Any, name: str, rate: int, deliver: Callable[[Samples], None]
    ) -> None:
        def callback(block: Any, _frames: int, _time: Any, _status: Any) -> None:
            deliver(block[:, 0].copy())

        self.rate = rate
        self._stream = sounddevice.InputStream(
            samplerate=rate,
            device=name,
            channels=1,
            dtype="float32",
            blocksize=rate // 20,
            callback=callback,
        )
        self._stream.start()

    def close(self) -> None:
        """Stop it; the device may be gone already."""
        self._stream.close(ignore_errors=True)


def _import_sounddevice() -> Any:
    try:
        import sounddevice
    except OSError:
        raise DeviceError(
            "microphones need the system library PortAudio: install it (Debian and Ubuntu: 'apt "
            "install libportaudio2'; Fedora: 'dnf install portaudio') and start again."
        ) from None
    return sounddevice


def choose(devices: list[Device], name: str | None) -> Device:
    """Return the microphone whose name holds ``name``, or the system's choice."""
    if not devices:
        raise DeviceError("there is no microphone; plug one in, or give --source FILE.")
    if name is None:
        return next((device for device in devices if device.default), devices[0])
    exact = [device for device in devices if device.name == name]
    found = exact or [device for device in devices if name.lower() in device.name.lower()]
    if not found:
        names = ", ".join(f"'{device.name}'" for device in devices)
        raise DeviceError(f"there is no microphone '{name}'; there are {names}.")
    return found[0]


def list_devices() -> list[Device]:
    """List the microphones. Raises DeviceError where PortAudio is missing."""
    return PortAudioBackend().devices()


def _tell(text: str) -> None:
    print(f"joblog: {text}", file=sys.stderr)


class Microphone:
    """Blocks of a microphone at 16 kHz, for ever; a lost one is opened again by its name.

    ``tell`` gets one sentence when it is lost and when it is back. The first opening raises
    DeviceError; later ones are tried until :meth:`close`.
    """

    def __init__(
        self,
        name: str | None = None,
        backend: Backend | None = None,
        tell: Callable[[str], None] = _tell,
    ) -> None:
        self._backend = backend or PortAudioBackend()
        self._name = name or choose(self._backend.devices(), None).name
        self._tell = tell
        self._blocks: queue.Queue[Samples] = queue.Queue(_WAITING_BLOCKS)
        self._closed = False
        self._stream = self._open()

    def blocks(self) -> Iterator[Samples]:
        """Yield 16 kHz mono blocks until closed."""
        resampler = Resampler(self._stream.rate)
        patience = FIRST_AFTER
        while not self._closed:
            try:
                block = self._blocks.get(timeout=patience)
            except queue.Empty:
                self._reopen()
                resampler = Resampler(self._stream.rate)
                continue
            patience = LOST_AFTER
            yield resampler.feed(np.nan_to_num(block))

    def close(self) -> None:
        """Let go of the microphone and end :meth:`blocks`."""
        self._closed = True
        self._stream.close()

    def _open(self) -> Stream:
        return self._backend.open(self._name, self._deliver)

    def _deliver(self, block: Samples) -> None:
        """Called by the sound card's own thread, which must never wait."""
        while True:
            try:
                return self._blocks.put_nowait(block)
            except queue.Full:
                try:
                    self._blocks.get_nowait()
                except queue.Empty:
                    continue

    def _reopen(self) -> None:
        self._stream.close()
        self._tell(f"the microphone '{self._name}' gives no sound; plug it in again.")
        while not self._closed:
            try:
                self._stream = self._open()
            except DeviceError:
                time.sleep(TRY_AGAIN)
                continue
            if self._gives_sound():
                self._tell(f"the microphone '{self._name}' is back.")
                return
            self._stream.close()

    def _gives_sound(self) -> bool:
        try:
            self._deliver(self._blocks.get(timeout=FIRST_AFTER))
        except queue.Empty:
            return False
        return True


def microphone_blocks(name: str | None = None) -> Iterator[Samples]:
    """Yield the blocks of a microphone; raises DeviceError where it can't be opened."""
    return Microphone(name).blocks()


def meter(level: float, floor: float, width: int = 30) -> str:
    """Return a level meter in characters: -60 to 0 dB, with the noise floor marked."""
    place = [round((min(max(value, -60.0), 0.0) + 60) / 60 * width) for value in (level, floor)]
    bar = ["#" if index < place[0] else " " for index in range(width)]
    bar[min(place[1], width - 1)] = "|"
    return f"[{''.join(bar)}] {level:5.0f} dB"
