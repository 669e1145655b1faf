"""Photos that the shop PC refused and that still lie on a phone: each phone tells how many.

Kept in memory alone: a phone tells it again whenever its page finds the shop PC.
"""

from __future__ import annotations

import threading


class Refusals:
    """How many refused photos wait on which phone to be saved or discarded, by job."""

    def __init__(self) -> None:
        self._counts: dict[str, dict[str, int]] = {}
        self._lock = threading.Lock()

    def note(self, job: str, phone: str, count: int) -> None:
        """Note that ``phone`` holds ``count`` refused photos of ``job``."""
        with self._lock:
            phones = self._counts.setdefault(job, {})
            phones[phone] = count
            if not count:
                del phones[phone]

    def count(self, job: str) -> int:
        """Return how many refused photos of ``job`` wait on phones."""
        with self._lock:
            return sum(self._counts.get(job, {}).values())
