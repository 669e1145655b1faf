"""A second opinion: does the sound spell these words?

The decoder hears like someone who knows what people tend to write; in noise it fills in. A small
head on the encoder (a convolution and a linear layer, trained with the encoder) instead names the
letter at each 20 ms, or none. Connectionist temporal classification (Graves et al. 2006) gives from
that the probability that a whole sentence was spelled out in this order, at any pace. It can't
stutter, skip or prefer likely sentences, so it errs elsewhere than the decoder: where both agree,
trust them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from joblog.speech.number_words import UNITS_TABLE, ZEROS
from joblog.speech.whisper.model import Floats

BLANK, SPACE = 0, 1
ALPHABET = " abcdefghijklmnopqrstuvwxyz'"  # labels 1 to 28; 0 is the blank
_LABEL = {letter: number for number, letter in enumerate(ALPHABET, start=1)}
_DIGIT = {str(number): f" {word} " for number, word in enumerate((ZEROS[0], *UNITS_TABLE))}
LABELS = len(ALPHABET) + 1
FLOOR = 1e-30  # keeps a sentence that the head finds impossible at a finite score


def spell(words: Sequence[str]) -> NDArray[np.int64]:
    """Return the labels of a sentence; figures are spelled one by one, other signs left out."""
    text = "".join(_DIGIT.get(sign, sign) for sign in " ".join(words).lower().replace("-", " "))
    kept = "".join(sign for sign in text if sign in _LABEL)
    return np.array([_LABEL[sign] for sign in " ".join(kept.split())], np.int64)


def spelled(letters: Floats, sentences: Sequence[Sequence[str]]) -> NDArray[np.float64]:
    """Return the natural-log probability of each sentence, shape (sentences,).

    ``letters``: log probabilities (frames, LABELS). The forward algorithm over all sentences at
    once, rescaled at each frame instead of working with logarithms.
    """
    paths = [spell(words) for words in sentences]
    width = 2 * max(map(len, paths), default=0) + 1
    rows = np.zeros((len(paths), width), np.int64)  # blank, letter, blank, letter, ..., blank
    for row, path in zip(rows, paths, strict=True):
        row[1 : 2 * len(path) : 2] = path
    # from a letter to the next one past the blank, unless both are the same letter
    jump = np.zeros(rows.shape)
    jump[:, 3::2] = rows[:, 3::2] != rows[:, 1:-2:2]
    chances = np.exp(letters.astype(np.float64))[:, rows.ravel()].reshape(-1, *rows.shape)
    last = np.array([2 * len(path) for path in paths])
    chances *= np.arange(width) <= last[:, None]  # nothing goes on behind a sentence's last blank
    alpha = np.zeros(rows.shape)
    alpha[:, :2] = 1.0  # before the first frame: the start of either the blank or the first letter
    total = np.zeros(len(paths))
    for number, chance in enumerate(chances):
        if number:
            stay = alpha.copy()
            stay[:, 1:] += alpha[:, :-1]
            stay[:, 2:] += alpha[:, :-2] * jump[:, 2:]
            alpha = stay
        alpha = alpha * chance
        scale = alpha.sum(axis=1, keepdims=True) + FLOOR
        alpha /= scale
        total += np.log(scale[:, 0])
    place = np.arange(len(paths))
    end = alpha[place, last] + np.where(last > 0, alpha[place, last - 1], 0.0)
    log_probability: NDArray[np.float64] = total + np.log(end + FLOOR)
    return log_probability


def likeliest(letters: Floats) -> float:
    """Return the log probability of the likeliest label at each frame, all frames together."""
    return float(letters.max(axis=1).sum())
