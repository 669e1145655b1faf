"""The PC's loudspeaker, half-duplex: while it sounds, the microphone is told to hear nothing.

``sounddevice`` needs the system library PortAudio, which its Linux wheel does not carry: it is
imported only here, where the loudspeaker is opened.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Protocol

import numpy as np

from joblog.errors import DeviceError
from joblog.readback.clips import Clips
from joblog.readback.sound import RATE, Sound, spoken_sound, tone_sound

AFTER = 0.4  # seconds that the microphone stays deaf after the last sample, for the room's echo
Player = Callable[[Sound, int], None]  # plays and returns when the last sample has been played


class Ear(Protocol):
    """What hears the microphone: a segmenter."""

    def mute(self) -> None:
        """Hear nothing from now on."""

    def unmute(self, after_s: float = ...) -> None:
        """Hear again after so many seconds of sound."""


def play(sound: Sound, rate: int) -> None:
    """Play on the system's loudspeaker and wait for the last sample; raises DeviceError."""
    try:
        import sounddevice
    except OSError:
        raise DeviceError(
            "the loudspeaker needs the system library PortAudio: install it (Debian and Ubuntu: "
            "'apt install libportaudio2'; Fedora: 'dnf install portaudio') and start again."
        ) from None
    try:
        sounddevice.play(sound, rate, blocking=True)
    except (sounddevice.PortAudioError, ValueError) as error:
        raise DeviceError(
            f"the loudspeaker can't be used ({error}); plug one in and switch it on."
        ) from None


class Speaker:
    """Says replies one after the other in the background; ``ear`` is deaf until each has ended."""

    def __init__(self, clips: Clips, ear: Ear | None = None, player: Player = play) -> None:
        self.muted = False
        self.trouble = ""  # why the last reply could not be played
        self._clips = clips
        self._ear = ear
        self._player = player
        self._waiting: queue.Queue[Sound | None] = queue.Queue()
        self._pending = 0
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._work, name="speaker", daemon=True)
        self._thread.start()

    def say(self, text: str, tone: str = "none") -> None:
        """Queue a reply; the ear is deaf from now until its last sample has been played."""
        if self.muted:
            return
        sound = np.concatenate([tone_sound(tone), spoken_sound(text, self._clips)])
        if not len(sound):
            return
        with self._lock:
            self._pending += 1
            if self._ear is not None:
                self._ear.mute()
        self._waiting.put(sound)

    def close(self) -> None:
        """Say what is queued and stop."""
        self._waiting.put(None)
        self._thread.join()

    def _work(self) -> None:
        while (sound := self._waiting.get()) is not None:
            try:
                self._player(sound, RATE)
                self.trouble = ""
            except DeviceError as error:
                self.trouble = str(error)
            with self._lock:
                self._pending -= 1
                if self._ear is not None and not self._pending:
                    self._ear.unmute(AFTER)
