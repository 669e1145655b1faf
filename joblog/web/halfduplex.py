"""Who is speaking on which job: while one device says an answer, no microphone of its job hears.

A screen may speak while the phone in the pocket listens: both are in one bay. A device says how
long it will speak at most, so that one that goes away doesn't leave a bay deaf.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

LONGEST = 60.0  # seconds that one answer may take


class Speaking:
    """The devices that speak now, by job."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._until: dict[str, dict[str, float]] = {}
        self._lock = threading.Lock()

    def begin(self, job: str, who: str, seconds: float) -> None:
        """Note that ``who`` speaks on ``job`` for ``seconds`` at most."""
        with self._lock:
            until = self._now() + min(seconds, LONGEST)
            self._until.setdefault(job, {})[who] = until

    def end(self, job: str, who: str) -> None:
        """Note that the last sample of ``who`` has been played."""
        with self._lock:
            self._until.get(job, {}).pop(who, None)

    def on(self, job: str, but: str = "") -> bool:
        """Say whether anybody (``but`` one device) speaks on ``job`` now."""
        now = self._now()
        with self._lock:
            speakers = {w: until for w, until in self._until.get(job, {}).items() if until > now}
            self._until[job] = speakers
            if not speakers:
                del self._until[job]
            return any(who != but for who in speakers)
