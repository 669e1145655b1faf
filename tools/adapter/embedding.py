"""The second ear's speech embedding in PyTorch, so that it can be trained; from and to its ONNX file.

Its layers, in order (Lin et al. 2020): log-mel features, convolutions 1x3 over frequency and 3x1 over
time in pairs, a maximum over two bands or two bands and two frames after every second pair. Nothing is
padded in time, so 76 frames of 10 ms become one embedding, and every 8 frames the next.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import model
import numpy as np
import torch
import torch.nn.functional as nnf
from torch import Tensor

WINDOW, HOP, SPECTRUM = 400, 160, 512  # samples
LEAK, LEAST = 0.2, -0.4  # slope below zero, and the least value that goes on
POOLS = {2: (2, 2), 6: (1, 2), 10: (2, 2), 14: (1, 2), 18: (2, 2)}  # frames, bands; after a layer


class Embedding(torch.nn.Module):
    """Computes what ``second_ear.onnx`` computes; ``weights`` from ``read``."""

    def __init__(self, weights: dict[str, np.ndarray]) -> None:
        super().__init__()
        fixed = {name: torch.tensor(value) for name, value in weights.items()}
        for name in ("window", "mel", "floor"):
            self.register_buffer(name, fixed.pop(name))
        self.parts = torch.nn.ParameterDict(fixed)

    def features(self, sound: Tensor, warp: Tensor | None = None) -> Tensor:
        """Return log-mel features (batch, frames, 32) of sounds (batch, samples)."""
        frames = sound.unfold(1, WINDOW, HOP) * self.window
        size = torch.fft.rfft(frames, SPECTRUM).abs()
        if warp is not None:
            size = model.warped(size.transpose(1, 2), warp).transpose(1, 2)
        return (size @ self.mel + self.floor).log()

    def forward(self, features: Tensor) -> Tensor:
        """Return embeddings (batch, time, 96) of features (batch, frames, 32)."""
        x = nnf.conv2d(features[:, None], self.parts["w0"], padding=(0, 1)).relu()
        x = x * self.parts["gain"][:, None, None] + self.parts["shift"][:, None, None]
        x = nnf.leaky_relu(x, LEAK).clamp(min=LEAST)
        last = len([name for name in self.parts if name.startswith("w")]) - 1
        for layer in range(1, last + 1):
            weight = self.parts[f"w{layer}"]
            bias = self.parts[f"b{layer}"] if layer < last else None
            x = nnf.conv2d(x, weight, bias, padding=(0, weight.shape[3] // 2))
            if layer < last:
                x = nnf.leaky_relu(x, LEAK).clamp(min=LEAST)
            if layer in POOLS:
                x = nnf.max_pool2d(x, POOLS[layer])
        return x[..., 0].transpose(1, 2)


def read(path: Path) -> dict[str, np.ndarray]:
    """Return the network's weights by our names: w0 to w20, b1 to b19, and what makes features."""
    named, order = layers(path)
    found = {ours: named[theirs] for ours, theirs in order.items()}
    mean, spread = found.pop("mean"), np.sqrt(found.pop("variance") + 1e-3)
    gain, shift = found["gain"] / spread, found["shift"] - mean * found["gain"] / spread
    return {**found, "gain": gain, "shift": shift}


def write(start: Path, weights: dict[str, np.ndarray], out: Path) -> None:
    """Write the network of ``start`` with other weights."""
    import onnx

    changed = onnx.load(str(start))
    _, order = layers(start)
    values = {**weights, "mean": np.zeros(24), "variance": np.full(24, 1 - 1e-3)}
    theirs = {order[ours]: value for ours, value in values.items() if ours in order}
    for item in changed.graph.initializer:
        if item.name in theirs and item.name != order["mel"]:
            value = np.ascontiguousarray(theirs[item.name], dtype=np.float32)
            item.CopyFrom(onnx.numpy_helper.from_array(value, item.name))
    out.write_bytes(changed.SerializeToString())


def layers(path: Path) -> tuple[dict[str, np.ndarray], dict[str, str]]:
    """Return the file's values by its own names, and its names by ours."""
    import onnx

    graph = onnx.load(str(path)).graph
    loop = next(node for node in graph.node if node.op_type == "Loop").attribute[0].g
    read_values: Any = onnx.numpy_helper.to_array
    named = {item.name: read_values(item) for item in (*graph.initializer, *loop.initializer)}
    order: dict[str, str] = {}
    convolutions = [node for node in graph.node if node.op_type == "Conv"]
    for number, node in enumerate(convolutions):
        order |= {f"{k}{number}": v for k, v in zip("wb", node.input[1:], strict=False)}
    normal = next(node for node in graph.node if node.op_type == "BatchNormalization")
    order |= dict(zip(("gain", "shift", "mean", "variance"), normal.input[1:], strict=True))
    inputs = [name for node in loop.node for name in node.input if name in named]
    order["mel"] = next(name for name in inputs if name.endswith("linear_to_mel_weight_matrix:0"))
    multiplied = [node for node in loop.node if node.op_type == "Mul"]
    order["window"] = next(
        name for node in multiplied for name in node.input if np.size(named.get(name)) == WINDOW
    )
    log = next(node for node in loop.node if node.op_type == "Log").input[0]
    added = next(node for node in loop.node if log in node.output)
    order["floor"] = next(name for name in added.input if name in named)
    return named, order
