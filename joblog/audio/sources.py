"""Where sound comes from: a file, standard input, a socket or a microphone, all as 16 kHz blocks.

``mic`` or ``mic:NAME``, a path, ``-`` for standard input, ``tcp:HOST:PORT`` to fetch from a sender
and ``listen:HOST:PORT`` to wait for one. Streams and files without a header are read as
:mod:`joblog.audio.pcm` says.
"""

from __future__ import annotations

import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from joblog.audio.files import read_blocks
from joblog.audio.pcm import PcmFormat, PcmReader
from joblog.audio.types import RATE, Samples
from joblog.errors import DeviceError, UsageError

_CHUNK = 3200  # bytes: 0.1 s of 16 kHz 16-bit mono
_BLOCK = RATE // 10  # samples handed on at once
_CONNECT_SECONDS = 10


def open_source(name: str, form: PcmFormat | None = None) -> Iterator[Samples]:
    """Yield blocks of at most 0.1 s from the source called ``name`` until it ends.

    Raises AudioError for sound that can't be read, DeviceError for a microphone or sender that
    can't be reached, UsageError for a name that means no source.
    """
    if name == "mic" or name.startswith("mic:"):
        from joblog.audio.microphone import microphone_blocks

        blocks = microphone_blocks(name[4:] or None)
    elif name == "-":
        blocks = stream_blocks(sys.stdin.buffer, form)
    elif name.startswith(("tcp:", "listen:")):
        blocks = _socket_blocks(name, form)
    else:
        blocks = read_blocks(Path(name), form)
    for block in blocks:
        for start in range(0, len(block), _BLOCK):
            yield block[start : start + _BLOCK]


def stream_blocks(stream: BinaryIO, form: PcmFormat | None = None) -> Iterator[Samples]:
    """Yield the samples of a byte stream as they arrive."""
    reader = PcmReader(form)
    read = getattr(stream, "read1", stream.read)
    while data := read(_CHUNK):
        yield reader.feed(data)
    yield reader.flush()


def _socket_blocks(name: str, form: PcmFormat | None) -> Iterator[Samples]:
    kind, _, place = name.partition(":")
    host, _, port = place.rpartition(":")
    if not host or not port.isdigit() or int(port) > 65535:
        raise UsageError(f"'{name}' names no sender; write {kind}:HOST:PORT.")
    try:
        with _connected(kind, host.strip("[]"), int(port)) as connection:
            reader = PcmReader(form)
            while data := connection.recv(_CHUNK):
                yield reader.feed(data)
            yield reader.flush()
    except OSError as error:
        raise DeviceError(
            f"no sound from {host}:{port}: {error.strerror or error}; see that the sender runs."
        ) from None


def _connected(kind: str, host: str, port: int) -> socket.socket:
    if kind == "tcp":
        connection = socket.create_connection((host, port), timeout=_CONNECT_SECONDS)
        connection.settimeout(None)  # a quiet sender is no broken one
        return connection
    with socket.create_server((host, port)) as server:
        print(f"joblog: waiting for sound on {host}:{server.getsockname()[1]}", file=sys.stderr)
        return server.accept()[0]
