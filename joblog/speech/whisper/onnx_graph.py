"""Writes ONNX models from NumPy weights, byte by byte, so that no exporter is needed.

ONNX files are protocol buffers (``onnx.proto3`` of the ONNX standard, IR version 9). Only what the
recogniser needs is here: nodes, attributes, constant tensors, inputs and outputs.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_VARINT, _BYTES, _FLOAT = 0, 2, 5
_DATA_TYPES = {"float32": 1, "uint8": 2, "int8": 3, "int32": 6, "int64": 7, "float16": 10}
FLOAT32 = _DATA_TYPES["float32"]
_IR_VERSION, _OPSET = 9, 20

Attribute = int | float | str | Sequence[int]


def _varint(value: int) -> bytes:
    value &= (1 << 64) - 1
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def _number(field: int, value: int) -> bytes:
    return _varint(field << 3 | _VARINT) + _varint(value)


def _block(field: int, value: bytes | str) -> bytes:
    data = value.encode() if isinstance(value, str) else value
    return _varint(field << 3 | _BYTES) + _varint(len(data)) + data


def _attribute(name: str, value: Attribute) -> bytes:
    if isinstance(value, float):
        typed = _varint(2 << 3 | _FLOAT) + np.float32(value).tobytes() + _number(20, 1)
    elif isinstance(value, int):
        typed = _number(3, value) + _number(20, 2)
    elif isinstance(value, str):
        typed = _block(4, value) + _number(20, 3)
    else:
        typed = b"".join(_number(8, item) for item in value) + _number(20, 7)
    return _block(1, name) + typed


def _start(field: int, size: int) -> bytes:
    return _varint(field << 3 | _BYTES) + _varint(size)


def _tensor(name: str, array: NDArray[np.generic]) -> tuple[bytes, memoryview]:
    """Return an initialiser of a graph in two parts, so that large weights aren't copied."""
    dims = b"".join(_number(1, size) for size in array.shape)
    head = dims + _number(2, _DATA_TYPES[array.dtype.name]) + _block(8, name)
    head += _start(9, array.nbytes)
    data = np.ascontiguousarray(array).reshape(-1).data.cast("B")
    return _start(5, len(head) + array.nbytes) + head, data


def _value_info(name: str, kind: str, shape: Sequence[int | str]) -> bytes:
    dims = b"".join(
        _block(1, _number(1, size) if isinstance(size, int) else _block(2, size)) for size in shape
    )
    tensor_type = _number(1, _DATA_TYPES[kind]) + _block(2, dims)
    return _block(1, name) + _block(2, _block(1, tensor_type))


class GraphWriter:
    """Collects nodes and constants; every method returns the name of what it made."""

    def __init__(self) -> None:
        self._nodes: list[bytes] = []
        self._constants: list[bytes | memoryview] = []
        self._ports: list[bytes] = []
        self._count = 0

    def _fresh(self, hint: str) -> str:
        self._count += 1
        return f"{hint}_{self._count}"

    def constant(self, array: NDArray[np.generic], hint: str = "c") -> str:
        """Add a constant tensor."""
        name = self._fresh(hint)
        self._constants += _tensor(name, array)
        return name

    def ints(self, *values: int) -> str:
        """Add a one-dimensional int64 constant, as shapes and axes are given."""
        return self.constant(np.array(values, np.int64))

    def node(
        self, op: str, *inputs: str, outputs: int = 1, domain: str = "", **attributes: Attribute
    ) -> str:
        """Add one operation and return its (first) output's name; further ones end in ``#1``..."""
        name = self._fresh(op)
        names = [name] + [f"{name}#{i}" for i in range(1, outputs)]
        data = b"".join(_block(1, item) for item in inputs)
        data += b"".join(_block(2, item) for item in names)
        data += _block(3, name) + _block(4, op)
        data += b"".join(_block(5, _attribute(key, value)) for key, value in attributes.items())
        self._nodes.append(_block(1, data + (_block(7, domain) if domain else b"")))
        return name

    def input(self, name: str, kind: str, shape: Sequence[int | str]) -> str:
        """Declare an input of the model."""
        self._ports.append(_block(11, _value_info(name, kind, shape)))
        return name

    def output(self, value: str, name: str, kind: str, shape: Sequence[int | str]) -> None:
        """Declare ``value`` as the model's output ``name``."""
        data = _block(1, value) + _block(2, name) + _block(3, f"out_{name}") + _block(4, "Identity")
        self._nodes.append(_block(1, data))
        self._ports.append(_block(12, _value_info(name, kind, shape)))

    def model(self) -> bytes:
        """Return the serialised model, as ONNX Runtime takes it."""
        opsets = _block(8, _block(1, "") + _number(2, _OPSET))
        opsets += _block(8, _block(1, "com.microsoft") + _number(2, 1))
        head = _number(1, _IR_VERSION) + _block(2, "joblog") + opsets
        graph = [*self._nodes, _block(2, "joblog"), *self._constants, *self._ports]
        return b"".join([head, _start(7, sum(map(len, graph))), *graph])
