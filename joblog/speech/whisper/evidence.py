"""How well each sentence explains the sound: the measures behind ranking and confidence.

Cross attention shows where in the sound each token was found. Speech that other hypotheses (or the
free one) explain and this one does not is *missing*; sound on which two distant tokens stand is
counted *twice*. Both are shares of what all hypotheses together explain. What the second ear makes
of a sentence's digits stands beside.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from joblog.speech.whisper.model import Floats
from joblog.speech.whisper.search import Free, Sentence

# The first six are a Sentence's, the last three those of SecondEar.scores (0 where not asked).
FEATURES = (
    "score", "weight", "tokens", "allowed", "end", "least", "missing", "twice", "second", "signs",
    "crowded",
)  # fmt: skip


def covered(attention: Floats, frames: int) -> NDArray[np.float32]:
    """Return for each frame the strongest attention of any token, shape (frames,).

    ``attention``, shape (tokens, frames), holds each token's weights, which add up to 1.
    """
    if not len(attention):
        return np.zeros(frames, np.float32)
    strongest: NDArray[np.float32] = attention.max(axis=0)[:frames]
    return strongest


def twice(attention: Floats) -> float:
    """Return the attention that tokens which are not neighbours share, summed over their pairs.

    ``attention``: (tokens, frames). Neighbours overlap in any speech; where distant ones do, the
    same sound was written twice.
    """
    if len(attention) < 3:
        return 0.0
    common = np.minimum(attention[:, None], attention[None]).sum(axis=2)
    apart = np.abs(np.subtract.outer(np.arange(len(attention)), np.arange(len(attention)))) > 2
    return float((common * apart).sum() / 2)


def measure(
    sentences: Sequence[Sentence],
    free: Free,
    speech_frames: int,
    second: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return the measures of each sentence, shape (sentences, len(FEATURES)).

    ``speech_frames`` is the length of the sound in encoded frames of 20 ms: attention behind it, on
    the silence that was added, says nothing. ``second``, shape (sentences, 3), is what the second
    ear says (:meth:`SecondEar.scores`), if it was asked.
    """
    reach = [covered(sentence.attention, speech_frames) for sentence in sentences]
    loose = np.array(free.attention, np.float32).reshape(-1, _width(sentences, speech_frames))
    together = np.max([*reach, covered(loose, speech_frames)], axis=0)
    total = float(together.sum()) + 1e-9
    measures = np.array(
        [
            (
                sentence.score,
                sentence.weight,
                len(sentence.tokens),
                sentence.allowed,
                sentence.end,
                sentence.least,
                float((together - one).sum()) / total,
                twice(sentence.attention[:, :speech_frames]),
            )
            for sentence, one in zip(sentences, reach, strict=True)
        ]
    )
    return np.hstack([measures, np.zeros((len(measures), 3)) if second is None else second])


def _width(sentences: Sequence[Sentence], frames: int) -> int:
    return next((s.attention.shape[1] for s in sentences if s.attention.size), frames)
