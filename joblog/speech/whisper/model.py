"""The network at work: sound in, token probabilities out.

ONNX Runtime runs the graphs of ``graphs.py``; docs/ear.md has the measurements behind that choice.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joblog.speech.whisper.features import Features
from joblog.speech.whisper.graphs import Shape, decoder_graph, encoder_graph, memory_graph
from joblog.speech.whisper.weights import Weights, load_weights, merge_adapter

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class Memory:
    """What the decoder attends to: one utterance, and the prompt that all hypotheses share.

    The keys and values of cross-attention to the sound, and those of self-attention to the prompt,
    computed once for an utterance (a cache).
    """

    keys: Floats  # (layer, head, head width, frames)
    values: Floats  # (layer, head, frames, head width)
    prompt_keys: Floats  # (layer, head, head width, prompt)
    prompt_values: Floats  # (layer, head, prompt, head width)

    @property
    def frames(self) -> int:
        """Encoded frames of 20 ms."""
        return int(self.keys.shape[3])

    @property
    def prompt_length(self) -> int:
        """Tokens of the prompt."""
        return int(self.prompt_keys.shape[3])


@dataclass(frozen=True)
class Step:
    """Result of one decoder step, rows as the hypotheses were given."""

    logprobs: Floats  # (beam, vocabulary), natural logarithm
    past: Floats  # (layer, 2, beam, head, own tokens, head width): keys, values of self-attention
    attention: Floats  # (beam, new tokens, frames): cross-attention, each row adds up to 1


class WhisperModel:
    """A loaded model; ``threads`` is how many cores one call may use. Safe to share by threads.

    The adapter is for short phrases in noise. Free speech is written better from sound that the
    unadapted encoder heard (docs/ear.md has figures), so both are kept: ``plain`` asks for that.
    ``eight_bit`` quantises the decoder's matrices; half the time a step (docs/ear.md, "Runtime").
    ModelError where the weights or the adapter are damaged.
    """

    def __init__(
        self,
        model_dir: Path,
        adapter: Path | None = None,
        *,
        threads: int = 2,
        eight_bit: bool = True,
    ) -> None:
        weights = load_weights(model_dir)
        plain = self._listeners(weights, threads)
        if adapter is not None:
            merge_adapter(weights, adapter)
        self._ears = {True: plain, False: self._listeners(weights, threads) if adapter else plain}
        self.shape = Shape.of(weights)
        large = [name for name, value in weights.items() if value.ndim > 1]
        for name in large:
            if name.startswith("encoder/"):  # in the graphs now
                del weights[name]
        config = json.loads((model_dir / "config.json").read_text())
        self.suppressed = np.array(config["suppress_ids"])
        self.suppressed_first = np.array(config["suppress_ids_begin"])
        heads = [(int(layer), int(head)) for layer, head in config["alignment_heads"]]
        graph = decoder_graph(weights, heads, eight_bit)
        weights.clear()  # in the graphs now; the decoder's start needs the room
        self._decoder = _session(graph, threads)

    @staticmethod
    def _listeners(weights: Weights, threads: int) -> tuple[Any, Any]:
        return _session(encoder_graph(weights), threads), _session(memory_graph(weights), threads)

    def listen(
        self, mel: Features, prompt: tuple[int, ...], *, plain: bool = False
    ) -> tuple[Memory, Step]:
        """Hear an utterance, ready for decoding after ``prompt``; the step is a beam of one.

        ``mel``: (80, frames of 10 ms). ``prompt`` are the tokens that the model expects first.
        """
        encoder, memory = self._ears[plain]
        encoded = encoder.run(None, {"mel": mel[None]})[0]
        keys, values = memory.run(None, {"encoded": encoded})
        shape = self.shape
        sizes = (shape.decoder_layers, shape.heads)
        empty = Memory(
            keys,
            values,
            np.zeros((*sizes, shape.head_width, 0), np.float32),
            np.zeros((*sizes, 0, shape.head_width), np.float32),
        )
        past = np.zeros((shape.decoder_layers, 2, 1, shape.heads, 0, shape.head_width), np.float32)
        step = self.step(empty, past, np.zeros(1, np.int64), np.array([prompt]))
        ready = Memory(
            keys,
            values,
            np.ascontiguousarray(step.past[:, 0, 0].swapaxes(2, 3)),
            np.ascontiguousarray(step.past[:, 1, 0]),
        )
        return ready, Step(step.logprobs, past, step.attention[:, -1:])

    def step(
        self, memory: Memory, past: Floats, parents: NDArray[np.int64], tokens: NDArray[np.int64]
    ) -> Step:
        """Continue row ``parents[i]`` of ``past`` by ``tokens[i]`` for every hypothesis i.

        ``past`` as in :class:`Step`, ``parents`` (beam,), ``tokens`` (beam, new).
        """
        old, new = past.shape[4], tokens.shape[1]
        mask = np.triu(np.full((new, old + new), -1e9, np.float32), old + 1)
        feed = {
            "tokens": tokens.astype(np.int64),
            "parents": parents,
            "position": np.array([memory.prompt_length + old], np.int64),
            "mask": mask,
            "past": past,
            "prompt_keys": memory.prompt_keys,
            "prompt_values": memory.prompt_values,
            "keys": memory.keys,
            "values": memory.values,
        }
        return Step(*self._decoder.run(["logprobs", "present", "attention"], feed))


def _session(model: bytes, threads: int) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    # Waiting threads must not burn the cores that other talkers and the web pages need.
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    options.enable_cpu_mem_arena = False  # it would keep the most ever taken, and is no faster
    session = onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    # It would keep the bytes beside what it made of them, 150 MB, to begin anew elsewhere.
    session._model_bytes = None
    return session
