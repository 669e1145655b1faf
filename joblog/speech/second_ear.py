"""A second opinion on digits, from a network that shares nothing with the recogniser.

One recogniser's mistakes look as sure as its hits: a digit that it takes for another, it takes with
conviction. A second one that learnt from other people errs elsewhere, so where both agree the
string is almost always right. ``second_ear.onnx`` is a general speech embedding trained on many
people (see ADAPTER.md): 96 numbers for each 80 ms. On it stands a small network of ours (three
convolutions over time) that says for each 80 ms which digit ends there, if any, trained by
connectionist temporal classification (CTC, Graves et al. 2006). So the probability of each
sentence's digits, given the sound, is the sum over all ways to lay them out in time (alignments);
words that are no digits count as one sign (label) of their own.

The likeliest of these ways also says how far apart the digits stand. Hardly anybody says two digits
within 0.16 s, or the same one twice within 0.4 s: a long drawn 'six' heard as 'six six' often gives
itself away there (*crowded*), however sure both networks are of the sound itself.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from joblog.audio.types import RATE, Samples
from joblog.errors import ModelError

Floats = NDArray[np.float32]

DIGITS = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "oh",
)  # fmt: skip
BLANK, OTHER = 0, len(DIGITS) + 1  # signs: none ends here; a word that is no digit
SIZE = 96  # numbers of the embedding for each frame
MARGIN = int(0.4 * RATE)  # silence before and behind: a window of the embedding lasts 0.775 s
FRAME = 0.08  # seconds from one embedding to the next
# Seconds. Spoken fluently, digits follow each other at 0.16 to 0.32 s (a string of TIDIGITS), equal
# ones more slowly. Of 412 strings that were heard right and hold equal neighbours, 2 % have them
# closer than 0.4 s; of 46 that were heard wrong and hold equal neighbours, more than half.
CLOSEST, CLOSEST_EQUAL = 0.16, 0.4
LEAST = -99.0  # natural log, instead of minus infinity for what is too long for the sound
NETWORK = Path(__file__).with_suffix(".onnx")
HEAD = Path(__file__).with_suffix(".npz")


class SecondEar:
    """Says how well the digits of sentences fit a sound. Threads may share it.

    Raises ModelError where one of its files is missing or damaged.
    """

    def __init__(self, network: Path = NETWORK, head: Path = HEAD) -> None:
        one_thread_of_blas()
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.enable_cpu_mem_arena = False  # it would keep the most ever taken, and is no faster
        try:
            self._session = onnxruntime.InferenceSession(
                network.read_bytes(), options, providers=["CPUExecutionProvider"]
            )
        except Exception as error:  # onnxruntime's own errors share no better base
            raise _harmed(network, error) from error
        self.head = Head.load(head)
        self._input = self._session.get_inputs()[0].name

    def embed(self, samples: Samples) -> Floats:
        """Return the embedding (frames of 80 ms, 96) of ``samples``: float32, 16 kHz, peak 0.5."""
        padded = np.pad(np.asarray(samples, np.float32), MARGIN)[None]
        embedded: Floats = self._session.run(None, {self._input: padded})[0][0, :, 0]
        return embedded

    def scores(
        self, samples: Samples, sentences: Sequence[Sequence[str]], voice: Head | None = None
    ) -> NDArray[np.float64]:
        """Return how well each sentence fits: shape (sentences, 3).

        Natural-log probability of its signs, how many signs it has, and how crowded they are (see
        ``crowding``). ``samples``: float32, 16 kHz, peak 0.5; ``voice`` is the head that knows who
        speaks (:mod:`joblog.speech.voice`), if any does.
        """
        heard = (voice or self.head)(self.embed(samples))
        rows = [signs(words) for words in sentences]
        lengths = [len(row) for row in rows]
        return np.column_stack([log_probabilities(heard, rows), lengths, crowding(heard, rows)])


def one_thread_of_blas() -> None:
    """Let NumPy multiply matrices on one core from now on, in this whole program.

    Several threads wait for each other in a loop that takes their cores. Where other programs want
    them, that makes matrices as small as these slower, not faster: 1.2 s for a step of learning
    that takes 0.05 s on one core (two cores, load 6).
    """
    threadpool_limits(1, user_api="blas")


def _harmed(path: Path, error: Exception) -> ModelError:
    return ModelError(f"{path} is missing or damaged ({error}); install joblog again.")


class Head:
    """Three convolutions over time on the embedding, the last two with a shortcut, and a readout.

    ``weights`` are the ``weight`` (out, in, width) and ``bias`` (out,) of the layers ``a``, ``b``,
    ``c`` and ``o`` (the readout), and of ``n`` (layer normalisation, both (96,)).
    """

    def __init__(self, weights: Mapping[str, Floats]) -> None:
        self.weights = dict(weights)

    @classmethod
    def load(cls, path: Path) -> Head:
        """Read the weights from an ``.npz`` file; ModelError where it is missing or damaged."""
        try:
            with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as archive:
                return cls({name: archive[name].astype(np.float32) for name in archive.files})
        except Exception as error:  # numpy, zipfile and zlib share no better base
            raise _harmed(path, error) from error

    def __call__(self, embedded: Floats) -> Floats:
        """Return natural-log probabilities (time, 13: blank, 11 digits, other) for (time, 96)."""
        weights = self.weights
        x = conditioned(embedded, weights)
        x = gelu(self._layer("a", x))
        x = x + gelu(self._layer("b", x))
        x = x + gelu(self._layer("c", x))
        logits = self._layer("o", x)
        logits = logits - logits.max(axis=1, keepdims=True)
        result: Floats = logits - np.log(np.exp(logits).sum(axis=1, keepdims=True))
        return result

    def _layer(self, name: str, x: Floats) -> Floats:
        """Convolve over time: ``x`` (time, in), weights (out, in, width)."""
        return turned(
            windows(x[None], self.weights[f"{name}.weight"].shape[2])[0], self.weights, name
        )


def conditioned(embedded: Floats, weights: Mapping[str, Floats]) -> Floats:
    """Return the embedding (time, 96) as the first layer takes it: layer normalisation."""
    spread = np.sqrt(embedded.var(axis=1, keepdims=True) + 1e-5)
    x = (embedded - embedded.mean(axis=1, keepdims=True)) / spread
    result: Floats = (x * weights["n.weight"] + weights["n.bias"]).astype(np.float32)
    return result


def windows(x: Floats, width: int) -> Floats:
    """Return what a convolution over time sees: ``x`` (rows, time, in) to (..., width x in)."""
    half, time = width // 2, x.shape[1]
    padded = np.pad(x, ((0, 0), (half, half), (0, 0)))
    return np.concatenate([padded[:, shift : shift + time] for shift in range(width)], axis=2)


def turned(seen: Floats, weights: Mapping[str, Floats], layer: str) -> Floats:
    """Apply one layer to what it sees, shape (..., width x in)."""
    result: Floats = seen @ flat(weights[f"{layer}.weight"]) + weights[f"{layer}.bias"]
    return result


def flat(weight: Floats) -> Floats:
    """Return the weights (out, in, width) of a layer to multiply what it sees with."""
    return weight.transpose(2, 1, 0).reshape(-1, len(weight))


def gelu(x: Floats) -> Floats:
    """Return x times the share of a normal distribution below it (Hendrycks and Gimpel 2016).

    In their approximation by tanh, element by element.
    """
    return 0.5 * x * (1 + gelu_curve(x))


def gelu_curve(x: Floats) -> Floats:
    """Return what bends :func:`gelu`, from -1 to 1."""
    result: Floats = np.tanh(math.sqrt(2 / math.pi) * (x + 0.044715 * (x * x * x)))
    return result


def signs(words: Sequence[str]) -> tuple[int, ...]:
    """Return the signs of a sentence: a number for each digit, one for each run of other words.

    >>> signs("torque four one foot pounds".split())
    (12, 5, 2, 12)
    """
    row: list[int] = []
    for word in words:
        sign = DIGITS.index(word) + 1 if word in DIGITS else OTHER
        if not (sign == OTHER and row and row[-1] == OTHER):
            row.append(sign)
    return tuple(row)


def log_probabilities(heard: Floats, rows: Sequence[Sequence[int]]) -> NDArray[np.float64]:
    """Return each row's natural-log probability, shape (rows,), summed over all its layouts.

    The forward algorithm of connectionist temporal classification. ``heard``: log probabilities
    (time, 13); ``rows``: signs of each sentence. A layout has a blank or nothing between two signs,
    and surely a blank between two equal ones.
    """
    laid, skips, ends = layouts(rows)
    ways = np.full(laid.shape, -np.inf)
    ways[:, :2] = heard[0][laid[:, :2]]
    for frame in heard[1:]:
        stay, step, skip = _moves(ways, skips)
        ways = np.logaddexp(np.logaddexp(stay, step), skip) + frame[laid]
    every = np.arange(len(rows))
    found = np.logaddexp(ways[every, ends], ways[every, np.maximum(ends - 1, 0)])
    result: NDArray[np.float64] = np.maximum(found, LEAST)
    return result


def crowding(heard: Floats, rows: Sequence[Sequence[int]]) -> NDArray[np.float64]:
    """Return by how many seconds each row's signs stand closer than is usual, (rows,); 0 for most.

    The shortfall of the two closest neighbours, and that of the two closest equal ones, added.
    ``heard`` and ``rows`` as in :func:`log_probabilities`.
    """
    result = np.zeros(len(rows))
    for number, (row, frames) in enumerate(zip(rows, places(heard, rows), strict=True)):
        pairs = list(zip(np.diff(frames) * FRAME, row, row[1:], strict=False))
        apart = min((gap for gap, _, _ in pairs), default=CLOSEST)
        equal = min((gap for gap, one, two in pairs if one == two), default=CLOSEST_EQUAL)
        result[number] = max(0.0, CLOSEST - apart) + max(0.0, CLOSEST_EQUAL - equal)
    return result


def places(heard: Floats, rows: Sequence[Sequence[int]]) -> list[list[int]]:
    """Return the frame of each sign in each row's likeliest layout (Viterbi); none if too long.

    ``heard`` and ``rows`` as in :func:`log_probabilities`.
    """
    laid, skips, ends = layouts(rows)
    ways = np.full(laid.shape, -np.inf)
    ways[:, :2] = heard[0][laid[:, :2]]
    back = np.zeros((len(heard), *laid.shape), np.int8)
    for time, frame in enumerate(heard[1:], start=1):
        moves = np.stack(_moves(ways, skips))
        back[time] = moves.argmax(axis=0)
        ways = moves.max(axis=0) + frame[laid]
    found: list[list[int]] = []
    for row, (layout, way) in enumerate(zip(rows, ways, strict=True)):
        at = int(ends[row])
        if at and way[at - 1] > way[at]:
            at -= 1
        if not np.isfinite(way[at]):
            found.append([])
            continue
        best = [-1] * len(layout)  # frame at which each sign is likeliest
        for time in range(len(heard) - 1, -1, -1):
            place, inside = divmod(at, 2)
            if inside and (best[place] < 0 or _louder(heard, layout[place], time, best[place])):
                best[place] = time
            at -= int(back[time, row, at])
        found.append(best)
    return found


def _louder(heard: Floats, sign: int, time: int, before: int) -> bool:
    return bool(heard[time, sign] > heard[before, sign])


def layouts(
    rows: Sequence[Sequence[int]],
) -> tuple[NDArray[np.intp], NDArray[np.float64], NDArray[np.intp]]:
    """Return rows with blanks between, where these may be left out, and each row's last place.

    The first two have shape (rows, 2 x signs of the longest + 1), filled up with blanks; the second
    holds 0 where a step of two places is allowed and minus infinity elsewhere.
    """
    ends = np.array([2 * len(row) for row in rows])
    laid = np.full((len(rows), int(ends.max()) + 1), BLANK)
    for row, place in zip(rows, laid, strict=True):
        place[1 : 2 * len(row) : 2] = row
    skips = np.full(laid.shape, -np.inf)  # 0 where the blank before may be left out
    skips[:, 3::2] = np.where(laid[:, 3::2] != laid[:, 1:-2:2], 0.0, -np.inf)
    return laid, skips, ends


def _moves(
    ways: NDArray[np.float64], skips: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the log probabilities of staying, and of coming from one or two places before."""
    step, skip = np.full(ways.shape, -np.inf), np.full(ways.shape, -np.inf)
    step[:, 1:] = ways[:, :-1]
    skip[:, 2:] = ways[:, :-2] + skips[:, 2:]
    return ways, step, skip
