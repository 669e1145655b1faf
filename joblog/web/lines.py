"""The lines on which the shop is called: no device, and no crowd of them, may take them all.

A line that is taken and left costs its owner nothing, and the shop PC one open file. Where those
run out nothing is served and no photo is kept any more. So one device of the network has so many
lines, all devices together have so many, and the shop PC itself is never counted. What is too much
is closed at once, before anything was read of it. Windows has no such limit, and its event loop
takes lines without asking here: there they are not counted.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import socket
import threading
from collections import Counter
from typing import Any

from joblog.web.access import LOOPBACK

OF_ONE = 100  # lines of one device; a phone with all its pages open has about ten
FILES = 4096  # that may be open at once, where the system lets us ask for it
REUSES = os.name == "posix"  # elsewhere it would let two programs answer on one port
SHARE = 0.5  # of the open files that are for lines; the rest is for records and photos


class Count:
    """How many lines each device has, and all of them together."""

    def __init__(self, of_one: int = OF_ONE, of_all: int | None = None) -> None:
        self._of_one = of_one
        self._of_all = int(files() * SHARE) if of_all is None else of_all
        self._open: Counter[str] = Counter()
        self._lock = threading.Lock()

    def take(self, device: str) -> bool:
        """Count one more line of ``device``, unless it is one too many."""
        with self._lock:
            if self._open[device] >= self._of_one or self._open.total() >= self._of_all:
                return False
            self._open[device] += 1
            return True

    def give_back(self, device: str) -> None:
        """Count one line of ``device`` less."""
        with self._lock:
            self._open[device] -= 1
            if self._open[device] <= 0:
                del self._open[device]


class Line(socket.socket):
    """A line that is counted until it is closed."""

    count: Count | None = None
    device = ""

    def close(self) -> None:
        """Close it, and count it no more."""
        super().close()
        if self.count is not None:
            self.count.give_back(self.device)
            self.count = None


class Calls(socket.socket):
    """The socket that listens: it closes at once what is too much."""

    count: Count

    def accept(self) -> tuple[socket.socket, Any]:
        """Return the next line that may stay. Raises OSError where none waits."""
        while True:
            taken, address = super().accept()
            line = Line(taken.family, taken.type, taken.proto, fileno=taken.detach())
            if address[0] in LOOPBACK:
                return line, address
            if self.count.take(address[0]):
                line.count, line.device = self.count, address[0]
                return line, address
            line.close()


def listening(host: str, port: int, count: Count | None = None) -> Calls:
    """Return the socket for ``host`` and ``port``; more files may be open from then on."""
    calls = Calls(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    calls.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, REUSES)
    calls.bind((host, port))
    calls.count = count or Count()
    return calls


def files() -> int:
    """Return how many files this program may have open, after asking for as many as it needs."""
    with contextlib.suppress(ImportError, OSError, ValueError):  # Windows has no such limit
        resource: Any = importlib.import_module("resource")
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        if 0 <= soft < FILES:
            wanted = FILES if hard == resource.RLIM_INFINITY else min(FILES, hard)
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
            return int(wanted)
    return FILES


def serve(app: Any, host: str, port: int, **options: Any) -> None:
    """Serve ``app`` until it is stopped."""
    import uvicorn

    server = uvicorn.Server(uvicorn.Config(app, host=host, port=port, **options))
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listening(host, port)])
