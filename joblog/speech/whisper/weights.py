"""Weights of the recogniser, read from a CTranslate2 ``model.bin`` without CTranslate2.

The file (format version 6, described by CTranslate2's ``model_spec.py``) is little-endian::

    u32 format version · string kind of model · u32 revision · u32 number of variables
    each variable: string name · u8 rank · u32 size of each dimension · u8 type · u32 bytes · data
    u32 number of aliases, each: string alias · string name
    string: u16 length including a final zero byte · that many bytes

An *adapter* (``adapter.npz``) is a set of changes to named weights, added when the model is loaded:
``NAME.delta`` as it is, ``NAME.eight`` (whole numbers from -127 to 127) times ``NAME.scale``, one
scale for each row.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from joblog.errors import ModelError

Weights = dict[str, NDArray[np.float32]]

_TYPES = {0: "<f4", 1: "<i1", 2: "<i2", 3: "<i4", 4: "<f2"}
_FORMAT = 6


class _Cursor:
    """Reads numbers and strings one after another."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def number(self, layout: str) -> int:
        value: int = struct.unpack_from(f"<{layout}", self.data, self.at)[0]
        self.at += struct.calcsize(f"<{layout}")
        return value

    def text(self) -> str:
        length = self.number("H")
        self.at += length
        return self.data[self.at - length : self.at - 1].decode()

    def variable(self) -> NDArray[np.float32]:
        shape = [self.number("I") for _ in range(self.number("B"))]
        kind, size = self.number("B"), self.number("I")
        raw = np.frombuffer(
            self.data, _TYPES[kind], size // np.dtype(_TYPES[kind]).itemsize, self.at
        )
        self.at += size
        return raw.reshape(shape).astype(np.float32)


def parse_weights(data: bytes) -> Weights:
    """Return every variable of a ``model.bin``'s content by name, as float32.

    Raises ModelError where the content isn't of that format.
    """
    cursor = _Cursor(data)
    try:
        if cursor.number("I") != _FORMAT:
            raise ModelError("model.bin is not a CTranslate2 file of format 6; take another copy.")
        cursor.text()
        cursor.number("I")
        count = cursor.number("I")
        weights = {}
        for _ in range(count):
            name = cursor.text()
            weights[name] = cursor.variable()
        for _ in range(cursor.number("I")):
            alias = cursor.text()
            weights[alias] = weights[cursor.text()]
    except (struct.error, ValueError, KeyError, UnicodeDecodeError) as error:
        raise ModelError(f"model.bin is damaged ({error}); take another copy of it.") from error
    return weights


def load_weights(model_dir: Path | str) -> Weights:
    """Return the weights in ``model_dir/model.bin`` by name, float32; ModelError if it is damaged.

    Linear weights have shape (out, in); self-attention's ``linear_0`` holds query, key and value
    one below the other, cross attention's ``linear_1`` key and value.
    """
    return parse_weights((Path(model_dir) / "model.bin").read_bytes())


def merge_adapter(weights: Weights, path: Path) -> None:
    """Change ``weights`` by the deltas in the ``.npz`` file ``path``.

    Raises ModelError where the file can't be read or doesn't fit these weights.
    """
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
            changes = {key: archive[key].astype(np.float32) for key in archive.files}
        for key, change in changes.items():
            name, _, kind = key.rpartition(".")
            if kind == "delta":
                weights[name] = weights[name] + change
            elif kind == "eight":  # whole numbers and a scale for each row
                scale = changes[f"{name}.scale"].reshape(-1, *[1] * (change.ndim - 1))
                weights[name] = weights[name] + change * scale
    except Exception as error:  # numpy, zipfile and zlib share no better base
        raise ModelError(
            f"{path} is damaged or does not fit the speech model ({error}); take another copy."
        ) from error
    if "decoder/projection/weight" in weights:
        weights["decoder/projection/weight"] = weights["decoder/embeddings/weight"]
