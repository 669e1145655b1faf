"""One recogniser for all bays, shared fairly.

Each bay has its own short queue; workers take from the bays in turn, so a bay that never stops
talking waits for itself and starves nobody. What a full queue can't take is refused at once and
counted: an answer that comes ten seconds late is worse than 'say again'.
"""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

QUEUE = 4  # utterances of one bay that may wait


class BusyError(Exception):
    """The bay's queue is full; the utterance was not taken."""


class FairPool:
    """Runs calls of several bays on a few threads, one call of each bay at a time, in turn."""

    def __init__(self, workers: int = 2) -> None:
        self._waiting: OrderedDict[str, deque[tuple[Callable[[], Any], Future[Any]]]] = (
            OrderedDict()
        )
        self._running: set[str] = set()
        self._wake = threading.Condition()
        self._open = True
        self.dropped: dict[str, int] = {}
        self._threads = [
            threading.Thread(target=self._work, name=f"recogniser-{i}", daemon=True)
            for i in range(workers)
        ]
        for thread in self._threads:
            thread.start()

    def submit(self, bay: str, call: Callable[[], Any]) -> Future[Any]:
        """Queue ``call`` for ``bay``; raises BusyError where its queue is full."""
        future: Future[Any] = Future()
        with self._wake:
            queue = self._waiting.setdefault(bay, deque())
            if len(queue) >= QUEUE:
                self.dropped[bay] = self.dropped.get(bay, 0) + 1
                raise BusyError(
                    "This bay says more than can be heard at once; wait and say it again."
                )
            queue.append((call, future))
            self._wake.notify()
        return future

    def _next(self) -> tuple[str, Callable[[], Any], Future[Any]] | None:
        """Take the first call of the bay whose turn it is; the bay then goes to the end."""
        for bay, queue in self._waiting.items():
            if queue and bay not in self._running:
                self._waiting.move_to_end(bay)
                self._running.add(bay)
                call, future = queue.popleft()
                return bay, call, future
        return None

    def _work(self) -> None:
        while True:
            with self._wake:
                while (taken := self._next()) is None:
                    if not self._open:
                        return
                    self._wake.wait()
            bay, call, future = taken
            try:
                if future.set_running_or_notify_cancel():
                    future.set_result(call())
            except BaseException as error:  # noqa: BLE001 - handed on to who asked
                future.set_exception(error)
            finally:
                with self._wake:
                    self._running.discard(bay)
                    self._wake.notify_all()

    def close(self) -> None:
        """Let the workers finish what waits and stop."""
        with self._wake:
            self._open = False
            self._wake.notify_all()
