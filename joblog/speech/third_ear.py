"""A third opinion, on every sentence: a network that learnt from other people than the recogniser.

The encoder is that of a small speech model of other makers (see ADAPTER.md), trained further by us:
it writes, for each 24 ms, which letter and which digit is there (connectionist temporal
classification, Graves et al. 2006). So it gives each sentence of the recogniser's list a log
probability of its own, letter by letter, and strings of digits another, digit by digit.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from joblog.audio.types import Samples
from joblog.errors import ModelError
from joblog.speech.second_ear import DIGITS, log_probabilities, signs
from joblog.speech.whisper.onnx_graph import GraphWriter

Floats = NDArray[np.float32]

LETTERS = " 'abcdefghijklmnopqrstuvwxyz"
FILE = Path(__file__).with_suffix(".npz")
WIDTH, LAYERS, HEADS, TURNED = 288, 6, 8, 32  # of each head's 36 numbers 32 are turned by place
LONGEST = 768  # frames of 24 ms
PADDING = (1600, 6400)  # samples of silence before and behind, as in training


class ThirdEar:
    """Says how well sentences fit a sound. Threads may share it.

    Raises ModelError where its file is missing or damaged.
    """

    def __init__(self, path: Path = FILE) -> None:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        try:
            graph = Net(read_weights(path)).build()
            self._session = onnxruntime.InferenceSession(
                graph, options, providers=["CPUExecutionProvider"]
            )
        except Exception as error:  # onnxruntime's own errors share no better base
            raise ModelError(
                f"{path.name} is missing or damaged ({error}); install joblog again."
            ) from error

    def scores(self, samples: Samples, sentences: Sequence[Sequence[str]]) -> NDArray[np.float64]:
        """Return how well each sentence fits: shape (sentences, 3).

        Natural-log probability of its letters, how many letters it has, and the natural-log
        probability of its digits (other words count as one sign). ``samples``: float32, 16 kHz.
        """
        padded = np.pad(np.asarray(samples, np.float32), PADDING)[None]
        digits, letters = self._session.run(None, {"sound": padded})
        spelt = [spell(words) for words in sentences]
        said = [signs(words) for words in sentences]
        return np.column_stack(
            [
                log_probabilities(letters[0], spelt),
                [len(row) for row in spelt],
                log_probabilities(digits[0], said),
            ]
        )


def spell(words: Sequence[str]) -> tuple[int, ...]:
    """Return the numbers of a sentence's letters; blanks between words are letters, too.

    >>> spell(["a", "b"])
    (3, 1, 4)
    """
    return tuple(LETTERS.index(sign) + 1 for sign in " ".join(words).lower() if sign in LETTERS)


def read_weights(path: Path) -> dict[str, Floats]:
    """Return the weights by name; ``NAME.eight`` are whole numbers with a scale for each row."""
    with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as archive:
        found = {name: archive[name].astype(np.float32) for name in archive.files}
    for name in [name for name in found if name.endswith(".eight")]:
        codes, stem = found.pop(name), name.removesuffix(".eight")
        scale = found.pop(f"{stem}.scale")
        found[stem] = codes * scale.reshape(-1, *[1] * (codes.ndim - 1))
    return found


class Net(GraphWriter):
    """Writes the encoder and its two heads as an ONNX graph."""

    def __init__(self, weights: dict[str, Floats]) -> None:
        super().__init__()
        self.weights = weights

    def weight(self, name: str) -> str:
        """Add a weight as a constant."""
        return self.constant(self.weights[name])

    def linear(self, x: str, name: str, order: NDArray[np.intp] | None = None) -> str:
        """Apply a linear layer, its outputs in another ``order`` where one is given."""
        matrix = self.weights[f"{name}.weight"]
        matrix = matrix if order is None else matrix[order]
        y = self.node("MatMul", x, self.constant(np.ascontiguousarray(matrix.T)))
        bias = f"{name}.bias"
        return self.node("Add", y, self.weight(bias)) if bias in self.weights else y

    def norm(self, x: str, name: str) -> str:
        """Apply a layer normalisation."""
        gamma = self.weight(f"{name}.weight")
        return self.node("LayerNormalization", x, gamma, axis=-1, epsilon=1e-5)

    def front(self) -> str:
        """Three convolutions: one frame of 288 numbers for each 384 samples."""
        sound = self.input("sound", "float32", (1, "samples"))
        x = self.node("Unsqueeze", sound, self.ints(1))
        kernel = self.weight("conv1.weight")
        x = self.node("Tanh", self.node("Conv", x, kernel, kernel_shape=(127,), strides=(64,)))
        shape = self.node("Shape", x)
        one, nought = (self.constant(np.array([v], np.float32)) for v in (1.0, 0.0))
        flat = self.node("Reshape", x, self.ints(1, 1, -1))
        even = self.node("InstanceNormalization", flat, one, nought, epsilon=1e-5)
        x = self.node("Reshape", even, shape)
        for op, name in (("Mul", "weight"), ("Add", "bias")):
            x = self.node(op, x, self.constant(self.weights[f"groupnorm.{name}"][:, None]))
        for name, width, stride in (("conv2", 7, 3), ("conv3", 3, 2)):
            parts = (self.weight(f"{name}.{part}") for part in ("weight", "bias"))
            x = self.node("Conv", x, *parts, kernel_shape=(width,), strides=(stride,))
            x = self.node("Gelu", x)
        return self.node("Transpose", x, perm=(0, 2, 1))

    def by_head(self, x: str) -> str:
        """(1, time, WIDTH) -> (1, head, time, head width)."""
        shaped = self.node("Reshape", x, self.ints(0, 0, HEADS, WIDTH // HEADS))
        return self.node("Transpose", shaped, perm=(0, 2, 1, 3))

    def turned(self, x: str, cos: str, sin: str) -> str:
        """Turn pairs of numbers by their place in time (rotary embedding, Su et al. 2021)."""
        half, rest = TURNED // 2, WIDTH // HEADS - TURNED
        a = self.node("Split", x, self.ints(half, half, rest), outputs=3, axis=-1)
        b, c = f"{a}#1", f"{a}#2"
        first = self.node("Sub", self.node("Mul", a, cos), self.node("Mul", b, sin))
        second = self.node("Add", self.node("Mul", b, cos), self.node("Mul", a, sin))
        return self.node("Concat", first, second, c, axis=-1)

    def layer(self, x: str, name: str, cos: str, sin: str) -> str:
        """Apply one layer of the encoder."""
        head = np.arange(WIDTH // HEADS)
        pairs = np.concatenate([head[0:TURNED:2], head[1:TURNED:2], head[TURNED:]])
        order = (np.arange(HEADS)[:, None] * len(head) + pairs).ravel()
        y = self.norm(x, f"{name}.input_layernorm")
        query, key = (
            self.turned(self.by_head(self.linear(y, f"{name}.self_attn.{part}", order)), cos, sin)
            for part in ("q_proj", "k_proj")
        )
        value = self.by_head(self.linear(y, f"{name}.self_attn.v_proj"))
        scale = self.constant(np.array((WIDTH // HEADS) ** -0.5, np.float32))
        key = self.node("Transpose", key, perm=(0, 1, 3, 2))
        scores = self.node("MatMul", self.node("Mul", query, scale), key)
        mixed = self.node("MatMul", self.node("Softmax", scores, axis=-1), value)
        mixed = self.node("Transpose", mixed, perm=(0, 2, 1, 3))
        flat = self.node("Reshape", mixed, self.ints(0, 0, WIDTH))
        x = self.node("Add", x, self.linear(flat, f"{name}.self_attn.o_proj"))
        y = self.linear(self.norm(x, f"{name}.post_attention_layernorm"), f"{name}.mlp.fc1")
        return self.node("Add", x, self.linear(self.node("Gelu", y), f"{name}.mlp.fc2"))

    def build(self) -> bytes:
        """Return the model: ``sound`` (1, samples) to log probabilities (1, time, signs)."""
        x = self.front()
        time = self.node("Shape", x, start=1, end=2)
        angle = np.arange(LONGEST)[:, None] * 1e4 ** (-np.arange(0, TURNED, 2) / TURNED)
        cos, sin = (
            self.node("Slice", self.constant(f(angle).astype(np.float32)), self.ints(0), time,
                      self.ints(0))
            for f in (np.cos, np.sin)
        )  # fmt: skip
        for number in range(LAYERS):
            x = self.layer(x, f"layers.{number}", cos, sin)
        x = self.norm(x, "layer_norm")
        for name, size in (("digits", len(DIGITS) + 2), ("letters", len(LETTERS) + 1)):
            signs_ = self.node("LogSoftmax", self.linear(x, name), axis=-1)
            self.output(signs_, name, "float32", (1, "time", size))
        return self.model()
