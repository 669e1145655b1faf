"""Who is speaking on which job: while one device says an answer, no microphone of its job hears.

A screen may speak while the phone in the pocket listens: both are in one bay. A device says how
long it will speak at most, so that one that goes away doesn't leave a bay deaf.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

LONGEST = 60.0  # seconds that one answer may take
HOLD = 4.0  # seconds that an answer or announcement waits for who is talking; a radio never ends


class Talking:
    """The microphones into which somebody talks now, by job: what joblog has to say waits."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._since: dict[str, dict[object, float]] = {}
        self._lock = threading.Lock()

    def note(self, job: str, ear: object, talks: bool) -> None:
        """Note whether somebody talks into ``ear``, a microphone of ``job``, now."""
        with self._lock:
            ears = self._since.setdefault(job, {})
            if talks:
                ears.setdefault(ear, self._now())
            else:
                ears.pop(ear, None)
            if not ears:
                del self._since[job]

    def on(self, job: str) -> bool:
        """Say whether somebody is in the middle of a phrase, begun a few seconds ago at most."""
        with self._lock:
            began = list(self._since.get(job, {}).values())
        return any(self._now() - since < HOLD for since in began)


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
