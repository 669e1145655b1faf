"""The recogniser's network as three ONNX graphs: encoder, cross-attention memory, decoder step.

The network is that of Radford et al. 2022 (an encoder-decoder transformer after Vaswani et al.
2017, with the normalisation before each sub-layer). All sizes are read from the weights.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from joblog.speech.whisper.onnx_graph import FLOAT32, GraphWriter
from joblog.speech.whisper.weights import Weights

_MICROSOFT = "com.microsoft"  # ONNX Runtime's own operations: MatMulNBits
_ROWS = 4096  # of a matrix that are quantised at once
_BLOCK = (
    64  # weights that share one scale where the decoder is quantised to 8 bits (our own choice)
)


@dataclass(frozen=True)
class Shape:
    """Sizes of the network; ``width`` is that of its hidden states, ``heads`` are of attention."""

    width: int
    heads: int
    encoder_layers: int
    decoder_layers: int
    vocabulary: int

    @staticmethod
    def of(weights: Weights) -> Shape:
        """Read the sizes from the weights."""

        def layers(part: str) -> int:
            return sum(
                name.startswith(part) and name.endswith("ffn/linear_0/bias") for name in weights
            )

        vocabulary, width = weights["decoder/embeddings/weight"].shape
        heads = int(weights["encoder/num_heads"])
        return Shape(width, heads, layers("encoder/"), layers("decoder/"), vocabulary)

    @property
    def head_width(self) -> int:
        """Numbers per head."""
        return self.width // self.heads


class _Net(GraphWriter):
    """The transformer's building blocks."""

    def __init__(self, weights: Weights, eight_bit: bool = False) -> None:
        super().__init__()
        self.weights = weights
        self.shape = Shape.of(weights)
        self.eight_bit = eight_bit
        self._scale = self.constant(np.array(self.shape.head_width**-0.5, np.float32))

    def weight(self, name: str) -> str:
        return self.constant(self.weights[name])

    def linear(self, x: str, name: str, bias: bool = True) -> str:
        matrix = self.weights[f"{name}/weight"]
        if self.eight_bit:
            y = self._linear_eight_bit(x, matrix)
        else:
            y = self.node("MatMul", x, self.constant(np.ascontiguousarray(matrix.T)))
        return self.node("Add", y, self.weight(f"{name}/bias")) if bias else y

    def _linear_eight_bit(
        self, x: str, matrix: np.ndarray[tuple[int, ...], np.dtype[np.float32]]
    ) -> str:
        rows, columns = matrix.shape
        blocks = matrix.reshape(rows, columns // _BLOCK, _BLOCK)
        scale = np.maximum(blocks.max(axis=2), -blocks.min(axis=2)) / 127 + np.float32(1e-12)
        codes = np.empty(blocks.shape, np.uint8)
        for at in range(0, rows, _ROWS):  # a few rows at a time: the vocabulary is large
            part = slice(at, at + _ROWS)
            codes[part] = np.rint(blocks[part] / scale[part, :, None]) + 128
        return self.node(
            "MatMulNBits", x, self.constant(codes), self.constant(scale.astype(np.float32)),
            domain=_MICROSOFT, K=columns, N=rows, bits=8, block_size=_BLOCK, accuracy_level=4,
        )  # fmt: skip

    def norm(self, x: str, name: str) -> str:
        gamma, beta = self.weight(f"{name}/gamma"), self.weight(f"{name}/beta")
        return self.node("LayerNormalization", x, gamma, beta, axis=-1, epsilon=1e-5)

    def feed_forward(self, x: str, layer: str) -> str:
        inner = self.linear(self.norm(x, f"{layer}/ffn/layer_norm"), f"{layer}/ffn/linear_0")
        return self.node("Add", x, self.linear(self.node("Gelu", inner), f"{layer}/ffn/linear_1"))

    def pieces(self, x: str, count: int, axis: int, size: int = 1) -> list[str]:
        first = self.node("Split", x, self.ints(*[size] * count), outputs=count, axis=axis)
        return [first, *(f"{first}#{i}" for i in range(1, count))]

    def by_head(self, x: str, perm: tuple[int, ...] = (0, 2, 1, 3)) -> str:
        """(batch, time, width) -> (batch, head, time, head width)."""
        shaped = self.ints(0, 0, self.shape.heads, self.shape.head_width)
        return self.node("Transpose", self.node("Reshape", x, shaped), perm=perm)

    def scaled(self, query: str) -> str:
        return self.node("Mul", query, self._scale)

    def together(self, x: str) -> str:
        """(batch, head, time, head width) -> (batch, time, width)."""
        flat = self.ints(0, 0, self.shape.width)
        return self.node("Reshape", self.node("Transpose", x, perm=(0, 2, 1, 3)), flat)


def encoder_graph(weights: Weights) -> bytes:
    """Graph ``mel`` (batch, 80, frames) -> ``encoded`` (batch, frames / 2, width).

    Any number of frames up to 3 000 (30 s), for which the model has positions.
    """
    net = _Net(weights)
    x = net.input("mel", "float32", ("batch", 80, "frames"))
    for name, stride in (("encoder/conv1", 1), ("encoder/conv2", 2)):
        kernel, bias = net.weight(f"{name}/weight"), net.weight(f"{name}/bias")
        conv = net.node("Conv", x, kernel, bias, pads=(1, 1), kernel_shape=(3,), strides=(stride,))
        x = net.node("Gelu", conv)
    x = net.node("Transpose", x, perm=(0, 2, 1))
    frames = net.node("Shape", x, start=1, end=2)
    positions = net.weight("encoder/position_encodings/encodings")
    x = net.node("Add", x, net.node("Slice", positions, net.ints(0), frames, net.ints(0)))
    for i in range(net.shape.encoder_layers):
        x = _encoder_layer(net, x, f"encoder/layer_{i}")
    encoded = net.norm(x, "encoder/layer_norm")
    net.output(encoded, "encoded", "float32", ("batch", "time", net.shape.width))
    return net.model()


def _encoder_layer(net: _Net, x: str, layer: str) -> str:
    part = f"{layer}/self_attention"
    joint = net.linear(net.norm(x, f"{part}/layer_norm"), f"{part}/linear_0")
    query, key, value = net.pieces(joint, 3, -1, net.shape.width)
    scores = net.node("MatMul", net.scaled(net.by_head(query)), net.by_head(key, (0, 2, 3, 1)))
    mixed = net.node("MatMul", net.node("Softmax", scores, axis=-1), net.by_head(value))
    x = net.node("Add", x, net.linear(net.together(mixed), f"{part}/linear_1"))
    return net.feed_forward(x, layer)


def memory_graph(weights: Weights) -> bytes:
    """Graph ``encoded`` (1, time, width) -> cross attention's keys and values of every layer.

    ``keys`` has shape (layer, head, head width, time), ``values`` (layer, head, time, head width).
    """
    net = _Net(weights)
    shape = net.shape
    encoded = net.input("encoded", "float32", (1, "time", shape.width))
    keys, values = [], []
    for i in range(shape.decoder_layers):
        joint = net.linear(encoded, f"decoder/layer_{i}/attention/linear_1")
        key, value = net.pieces(joint, 2, -1, shape.width)
        keys.append(net.by_head(key, (0, 2, 3, 1)))
        values.append(net.by_head(value))
    sizes = (shape.decoder_layers, shape.heads)
    net.output(
        net.node("Concat", *keys, axis=0), "keys", "float32", (*sizes, shape.head_width, "time")
    )
    net.output(
        net.node("Concat", *values, axis=0), "values", "float32", (*sizes, "time", shape.head_width)
    )
    return net.model()


def decoder_graph(
    weights: Weights, alignment_heads: list[tuple[int, int]], eight_bit: bool = False
) -> bytes:
    """Graph of one decoder step for a beam of hypotheses.

    In: ``tokens`` (beam, new), ``parents`` (beam,) rows of ``past`` that each hypothesis continues,
    ``position`` (1,), ``mask`` (new, past + new) added to the attention among own tokens, ``past``
    (layer, 2, row, head, past, head width), ``prompt_keys`` / ``prompt_values`` as ``memory_graph``
    shapes them, of the tokens that all hypotheses share, and the memory's ``keys`` and ``values``.
    Out: ``logprobs`` (beam, vocabulary) after the last new token, ``present`` like ``past`` with
    the new tokens, ``attention`` (beam, new, time), the mean of the ``alignment_heads``
    (layer, head): those whose cross-attention follows the speech, as published with the model.
    ``eight_bit`` keeps matrices as whole numbers from -127 to 127, a scale for each block of 64.
    """
    return _Decoder(weights, alignment_heads, eight_bit).build()


class _Decoder(_Net):
    """Builds the decoder's graph layer by layer."""

    def __init__(
        self, weights: Weights, alignment_heads: list[tuple[int, int]], eight_bit: bool
    ) -> None:
        super().__init__(weights, eight_bit)
        self.alignment_heads = alignment_heads
        self.aligned: list[str] = []
        self.present: list[str] = []

    def build(self) -> bytes:
        shape = self.shape
        layers, heads, width = shape.decoder_layers, shape.heads, shape.head_width
        self.tokens = self.input("tokens", "int64", ("beam", "new"))
        parents = self.input("parents", "int64", ("beam",))
        position = self.input("position", "int64", (1,))
        self.mask = self.input("mask", "float32", ("new", "all"))
        past = self.input("past", "float32", (layers, 2, "rows", heads, "old", width))
        shared = [
            self.input(name, "float32", (layers, heads, *tail))
            for name, tail in (
                ("prompt_keys", (width, "prompt")),
                ("prompt_values", ("prompt", width)),
                ("keys", (width, "time")),
                ("values", ("time", width)),
            )
        ]
        past = self.node("Gather", past, parents, axis=2)
        per_layer = [self._layers(name) for name in (past, *shared)]
        x = self._embed(position)
        for i in range(layers):
            x = self._layer(x, i, [parts[i] for parts in per_layer])
        self._finish(x)
        return self.model()

    def _layers(self, x: str) -> list[str]:
        return [
            self.node("Squeeze", part, self.ints(0))
            for part in self.pieces(x, self.shape.decoder_layers, 0)
        ]

    def _embed(self, position: str) -> str:
        table = self.constant(self.weights["decoder/embeddings/weight"].astype(np.float16))
        x = self.node("Gather", table, self.tokens, axis=0)  # half precision, as it is in the file
        x = self.node("Cast", x, to=FLOAT32)
        end = self.node("Add", position, self.node("Shape", self.tokens, start=1, end=2))
        places = self.weight("decoder/position_encodings/encodings")
        return self.node("Add", x, self.node("Slice", places, position, end, self.ints(0)))

    def _shared_query(self, query: str) -> str:
        """(beam, new, width) -> (head, beam * new, head width): all rows against one memory."""
        shaped = self.node("Reshape", query, self.ints(-1, self.shape.heads, self.shape.head_width))
        return self.scaled(self.node("Transpose", shaped, perm=(1, 0, 2)))

    def _layer(self, x: str, i: int, kept: list[str]) -> str:
        past, prompt_k, prompt_v, keys, values = kept
        layer = f"decoder/layer_{i}"
        x = self._self_attention(x, f"{layer}/self_attention", past, prompt_k, prompt_v)
        part = f"{layer}/attention"
        query = self.linear(self.norm(x, f"{part}/layer_norm"), f"{part}/linear_0")
        scores = self.node("MatMul", self._shared_query(query), keys)
        attention = self.node("Softmax", scores, axis=-1)
        chosen = [head for at, head in self.alignment_heads if at == i]
        if chosen:
            self.aligned.append(self.node("Gather", attention, self.ints(*chosen), axis=0))
        mixed = self._from_shared(self.node("MatMul", attention, values), x)
        x = self.node("Add", x, self.linear(mixed, f"{part}/linear_2"))
        return self.feed_forward(x, layer)

    def _from_shared(self, mixed: str, like: str) -> str:
        turned = self.node("Transpose", mixed, perm=(1, 0, 2))
        return self.node("Reshape", turned, self.node("Shape", like))

    def _self_attention(self, x: str, part: str, past: str, prompt_k: str, prompt_v: str) -> str:
        joint = self.linear(self.norm(x, f"{part}/layer_norm"), f"{part}/linear_0")
        query, key, value = self.pieces(joint, 3, -1, self.shape.width)
        new = [self.node("Unsqueeze", self.by_head(part), self.ints(0)) for part in (key, value)]
        own = self.node("Concat", past, self.node("Concat", *new, axis=0), axis=3)
        self.present.append(self.node("Unsqueeze", own, self.ints(0)))
        own_k, own_v = (self.node("Squeeze", p, self.ints(0)) for p in self.pieces(own, 2, 0))
        own_k = self.node("Transpose", own_k, perm=(0, 1, 3, 2))
        by_head = self.by_head(query)
        own_scores = self.node("MatMul", self.scaled(by_head), own_k)
        own_scores = self.node("Add", own_scores, self.mask)
        prompt_scores = self._unshare(
            self.node("MatMul", self._shared_query(query), prompt_k), by_head
        )
        joined = self.node("Concat", prompt_scores, own_scores, axis=-1)
        attention = self.node("Softmax", joined, axis=-1)
        prompt_n = self.node("Shape", prompt_k, start=2, end=3)
        all_n = self.node("Shape", joined, start=3, end=4)
        axis = self.ints(3)
        on_prompt = self.node("Slice", attention, self.ints(0), prompt_n, axis)
        on_own = self.node("Slice", attention, prompt_n, all_n, axis)
        mixed_own = self.together(self.node("MatMul", on_own, own_v))
        rows = self.node("Transpose", on_prompt, perm=(1, 0, 2, 3))
        flat = self.node("Concat", self.ints(self.shape.heads), self.ints(-1), prompt_n, axis=0)
        rows = self.node("Reshape", rows, flat, allowzero=1)
        mixed_prompt = self._from_shared(self.node("MatMul", rows, prompt_v), x)
        mixed = self.node("Add", mixed_own, mixed_prompt)
        return self.node("Add", x, self.linear(mixed, f"{part}/linear_1"))

    def _unshare(self, scores: str, like: str) -> str:
        """(head, beam * new, prompt) -> (beam, head, new, prompt), sizes as in ``like``."""
        beam = self.node("Shape", like, start=0, end=1)
        new = self.node("Shape", like, start=2, end=3)
        last = self.node("Shape", scores, start=2, end=3)
        target = self.node("Concat", self.ints(self.shape.heads), beam, new, last, axis=0)
        shaped = self.node("Reshape", scores, target, allowzero=1)
        return self.node("Transpose", shaped, perm=(1, 0, 2, 3))

    def _finish(self, x: str) -> None:
        shape = self.shape
        x = self.norm(x, "decoder/layer_norm")
        last = self.node("Gather", x, self.constant(np.array(-1, np.int64)), axis=1)
        self.weights = {**self.weights, "out/weight": self.weights["decoder/embeddings/weight"]}
        logits = self.linear(last, "out", bias=False)
        logprobs = self.node("LogSoftmax", logits, axis=-1)
        self.output(logprobs, "logprobs", "float32", ("beam", shape.vocabulary))
        sizes = (shape.decoder_layers, 2, "beam", shape.heads, "all", shape.head_width)
        self.output(self.node("Concat", *self.present, axis=0), "present", "float32", sizes)
        aligned = self.node("Concat", *self.aligned, axis=0)
        mean = self.node("ReduceMean", aligned, self.ints(0), keepdims=0)
        beam_new = self.node("Shape", self.tokens)
        target = self.node("Concat", beam_new, self.ints(-1), axis=0)
        attention = self.node("Reshape", mean, target)
        self.output(attention, "attention", "float32", ("beam", "new", "time"))
