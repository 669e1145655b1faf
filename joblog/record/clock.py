"""Wall time and monotonic time, read together.

``at`` is for people and may jump when somebody sets the clock. ``mono`` only ever grows, but has
no meaning outside its ``boot``. On Linux both survive a restart of the program: CLOCK_BOOTTIME
counts from the machine's start (sleep included) and ``/proc/sys/kernel/random/boot_id`` names that
start. Elsewhere each program start gets a ``boot`` of its own, so a wait that spans a restart is
unknown rather than wrong.
"""

from __future__ import annotations

import time
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Protocol

from joblog.record.times import utc_text

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True)
class Moment:
    """One reading of both clocks: ``at`` (RFC 3339, UTC, ms), ``mono`` (seconds, ms), ``boot``."""

    at: str
    mono: str
    boot: str


class Clock(Protocol):
    """Anything that can say what time it is."""

    def read(self) -> Moment:
        """Return wall and monotonic time of one instant."""
        ...


def _milliseconds_text(nanoseconds: int) -> str:
    return f"{nanoseconds // 1_000_000_000}.{nanoseconds // 1_000_000 % 1000:03d}"


class SystemClock:
    """The machine's clocks."""

    def __init__(self) -> None:
        self._boot = ""
        if hasattr(time, "CLOCK_BOOTTIME"):
            try:
                self._boot = _BOOT_ID.read_text("ascii").strip()
            except OSError:
                self._boot = ""  # a locked-down container: fall back to this program's own epoch
        self._survives_restart = bool(self._boot)
        if not self._boot:
            self._boot = str(uuid.uuid4())

    def read(self) -> Moment:
        """Return wall and monotonic time of one instant."""
        wall = time.time_ns()
        mono = (
            time.clock_gettime_ns(time.CLOCK_BOOTTIME)
            if self._survives_restart
            else time.monotonic_ns()
        )
        at = datetime.fromtimestamp(wall // 1_000_000_000, UTC)
        at += timedelta(milliseconds=wall // 1_000_000 % 1000)
        return Moment(utc_text(at), _milliseconds_text(mono), self._boot)


class ManualClock:
    """A clock that moves only when told; for replays, demonstrations and tests.

    ``start`` is an aware datetime; ``boot`` names the epoch that the monotonic offset belongs to.
    """

    def __init__(self, start: datetime, *, mono: Decimal | int = 0, boot: str = "manual") -> None:
        self._wall = start
        self._mono_ms = int(Decimal(mono) * 1000)
        self._boot = boot

    def read(self) -> Moment:
        """Return the time that was set."""
        mono = _milliseconds_text(self._mono_ms * 1_000_000)
        return Moment(utc_text(self._wall), mono, self._boot)

    def advance(self, seconds: Decimal | int | str) -> None:
        """Let ``seconds`` pass on both clocks; whole milliseconds count."""
        milliseconds = int(Decimal(seconds) * 1000)
        if milliseconds < 0:
            raise ValueError("time doesn't run backwards; set_wall() moves the wall clock alone")
        self._mono_ms += milliseconds
        self._wall += timedelta(milliseconds=milliseconds)

    def set_wall(self, wall: datetime) -> None:
        """Set the wall clock alone, as a person or a time server would."""
        self._wall = wall

    def restart(self, boot: str, mono: Decimal | int = 0) -> None:
        """Begin a new epoch, as when the machine starts again."""
        self._boot = boot
        self._mono_ms = int(Decimal(mono) * 1000)
