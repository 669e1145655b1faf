"""The networks that read photos: opened once, from the files that joblog carries.

What each takes and gives stands where it is used; how they were made, in tools/.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from joblog.errors import ModelError

Maps = NDArray[np.float32]

_MOST_THREADS = 2  # the ear listens on the same processor
_folder: ContextVar[Path] = ContextVar("folder", default=Path(__file__).parent / "weights")


class Network:
    """One network. Threads may share it."""

    def __init__(self, path: Path) -> None:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = min(_MOST_THREADS, os.cpu_count() or 1)
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")
        # It would keep the most that two pictures at once ever took, 250 MB, and is no faster.
        options.enable_cpu_mem_arena = False
        try:
            self._session = onnxruntime.InferenceSession(
                path.read_bytes(), options, providers=["CPUExecutionProvider"]
            )
        except Exception as error:  # onnxruntime's own errors share no better base
            raise ModelError(
                f"the photo model {path.stem} is missing or altered: install joblog again."
            ) from error
        self._input = self._session.get_inputs()[0].name

    def __call__(self, pixels: Maps) -> Maps:
        """Return the network's one output for its one input, both float32."""
        (out,) = self._session.run(None, {self._input: np.ascontiguousarray(pixels)})
        return np.asarray(out, np.float32)


@lru_cache(maxsize=3)
def _opened(path: Path) -> Network:
    return Network(path)


def network(name: str) -> Network:
    """Return the network of that name; ModelError where its file is missing or altered."""
    return _opened(_folder.get() / f"{name}.onnx")


@contextmanager
def nets_from(folder: Path) -> Iterator[None]:
    """Read with the networks of another folder, in this thread, until the block's end.

    ``folder`` holds the files; ModelError where one is needed and isn't there. For trying networks
    out (tools/plug_render/heldout.py).
    """
    before = _folder.set(folder)
    try:
        yield
    finally:
        _folder.reset(before)
