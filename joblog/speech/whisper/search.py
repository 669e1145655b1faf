"""Beam search that can only end in sentences of the grammar, beside one that is free.

It is constrained decoding: at each step only tokens that the grammar's graph allows extend a
hypothesis. All hypotheses are scored with the model's full vocabulary, so the scores of the
restricted and of the free search compare: where the free one fits the sound much better, what was
said isn't in the grammar. The free hypothesis rides along as one more row of the same batch.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from joblog.speech.whisper.model import Floats, Memory, Step, WhisperModel
from joblog.speech.whisper.tokens import Place, TokenGraph, Words

_NEVER = -1e30
_BEYOND = 6  # tokens by which a free hypothesis may be longer; it is only compared per token


@dataclass(frozen=True)
class Options:
    """Settings of the search.

    They only prune; ``evidence.py`` and ``confidence.py`` rank what is left. All are our own first
    choice and were never fitted: the right string of digits is among the eight found in 98 %
    (docs/ear.md). Scores are natural logarithms.
    """

    beam: int = 8  # hypotheses extended at each step
    nbest: int = 8  # sentences returned
    token_bonus: float = 0.5  # insertion bonus: keeps longer sentences in the beam
    margin: float = 8.0  # how far behind the best finished sentence a hypothesis may run
    max_tokens: int = 60


@dataclass(frozen=True)
class Sentence:
    """One in-grammar sentence that was found.

    ``score`` is the natural-log probability of its tokens and of ending there, given the sound,
    summed over written forms; ``weight`` what the grammar and the job add; ``tokens`` and
    ``attention`` (tokens, frames of 20 ms) those of its likeliest form; ``allowed`` the summed log
    share of the probability that fell on tokens the grammar allows; ``end`` the log probability of
    ending there; ``least`` the worst token's log probability.
    """

    words: Words
    score: float
    weight: float
    tokens: tuple[int, ...]
    attention: Floats
    allowed: float
    end: float
    least: float

    @property
    def total(self) -> float:
        """Score and weight together."""
        return self.score + self.weight


@dataclass
class Free:
    """The unrestricted hypothesis: greedy, until it ends or the search does.

    ``scores`` are its tokens' natural-log probabilities, ``attention`` (frames,) each; ``row`` is
    where it stands in the batch.
    """

    tokens: list[int] = field(default_factory=list)
    scores: list[float] = field(default_factory=list)
    attention: list[Floats] = field(default_factory=list)
    ended: bool = False
    row: int = 0


@dataclass(frozen=True, eq=False)
class _Hypothesis:
    """A row of the beam.

    ``places`` are where its tokens may have led in the graph and the words behind them, each with
    what the grammar adds: '36' is written for more than one sentence.
    """

    score: float
    allowed: float
    least: float
    places: dict[tuple[Place, Words], float]
    tokens: tuple[int, ...]
    trail: tuple[Floats, ...]
    row: int


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A hypothesis and its next token; ``total`` is the score with the best of its places."""

    parent: _Hypothesis
    token: int
    places: dict[tuple[Place, Words], float]
    score: float
    total: float
    allowed: float


class Search:
    """One search over one utterance; without a graph only the free hypothesis is followed.

    ``stops`` are tokens that also end a sentence ('.'): a model trained on written text spreads
    the probability of ending over them.
    """

    def __init__(
        self,
        model: WhisperModel,
        graph: TokenGraph | None,
        end_token: int,
        stops: tuple[int, ...],
        options: Options | None = None,
    ) -> None:
        self._model = model
        self._graph = graph
        self._end = end_token
        self._ends = np.array([end_token, *stops])
        self._options = options or Options()
        self._found: dict[Words, Sentence] = {}
        self.free = Free()

    def run(self, memory: Memory, first: Step) -> list[Sentence]:
        """Return the sentences found, best first; ``self.free`` holds the free hypothesis."""
        options, graph = self._options, self._graph
        beam: list[_Hypothesis] = []
        if graph is not None:
            beam = [_Hypothesis(0.0, 0.0, 0.0, {(graph.start, ()): 0.0}, (), (), 0)]
        step = first
        for length in range(options.max_tokens):
            candidates = self._extend(beam, step.logprobs, graph) if graph is not None else []
            candidates = self._prune(candidates, length)
            if not self.free.ended:
                self._extend_free(step.logprobs[self.free.row])
            if not candidates and self._free_is_enough():
                break
            rows = [candidate.parent.row for candidate in candidates]
            tokens = [candidate.token for candidate in candidates]
            if not self.free.ended:
                rows.append(self.free.row)
                tokens.append(self.free.tokens[-1])
            step = self._model.step(
                memory, step.past, np.array(rows, np.int64), np.array(tokens, np.int64)[:, None]
            )
            beam = [
                _moved(candidate, row, step.attention[row, 0])
                for row, candidate in enumerate(candidates)
            ]
            if not self.free.ended:
                self.free.row = len(candidates)
                self.free.attention.append(step.attention[len(candidates), 0])
        return self._ranked()

    def _ranked(self) -> list[Sentence]:
        return sorted(self._found.values(), key=lambda s: -self._merit(s))[: self._options.nbest]

    def _merit(self, sentence: Sentence) -> float:
        return sentence.total + self._options.token_bonus * (len(sentence.tokens) + 1)

    def _extend(
        self, beam: list[_Hypothesis], logprobs: Floats, graph: TokenGraph
    ) -> list[_Candidate]:
        candidates: list[_Candidate] = []
        for hypothesis in beam:
            row = logprobs[hypothesis.row]
            nexts: dict[int, dict[tuple[Place, Words], float]] = {}
            end: float | None = None
            for (place, words), weight in hypothesis.places.items():
                ending = graph.ending(place)
                if ending is not None:
                    end = float(np.logaddexp.reduce(row[self._ends].astype(float)))
                    self._finish(hypothesis, words, weight + ending, end)
                for token, turns in graph.turns(place).items():
                    places = nexts.setdefault(token, {})
                    for turn in turns:
                        key = (turn.place, words + turn.words)
                        total = weight + graph.weight(turn)
                        if total > places.get(key, _NEVER):
                            places[key] = total
            candidates += self._best_next(hypothesis, nexts, row, end)
        return candidates

    def _best_next(
        self,
        hypothesis: _Hypothesis,
        nexts: dict[int, dict[tuple[Place, Words], float]],
        row: NDArray[np.float32],
        end: float | None,
    ) -> list[_Candidate]:
        if not nexts:
            return []
        tokens = np.fromiter(nexts, np.int64, len(nexts))
        scores = row[tokens].astype(float)
        share = float(np.logaddexp.reduce(scores if end is None else [*scores, end]))
        best = np.argsort(-scores)[: self._options.beam]
        return [
            _Candidate(
                hypothesis,
                int(tokens[i]),
                nexts[int(tokens[i])],
                hypothesis.score + float(scores[i]),
                hypothesis.score + float(scores[i]) + max(nexts[int(tokens[i])].values()),
                hypothesis.allowed + share,
            )
            for i in best
        ]

    def _finish(self, hypothesis: _Hypothesis, words: Words, weight: float, end: float) -> None:
        score = hypothesis.score + end
        known = self._found.get(words)
        total = score if known is None else float(np.logaddexp(score, known.score))
        if known is not None and known.score >= score:
            self._found[words] = Sentence(
                words, total, max(weight, known.weight), known.tokens, known.attention,
                known.allowed, known.end, known.least,
            )  # fmt: skip
            return
        attention = np.array(hypothesis.trail, np.float32)
        least = min(hypothesis.least, end)
        self._found[words] = Sentence(
            words, total, weight, hypothesis.tokens, attention, hypothesis.allowed, end, least
        )

    def _prune(self, candidates: list[_Candidate], length: int) -> list[_Candidate]:
        candidates.sort(key=lambda candidate: -candidate.total)
        kept = candidates[: self._options.beam]
        if self._found:
            best = max(self._merit(sentence) for sentence in self._found.values())
            reach = best - self._options.margin - self._options.token_bonus * (length + 2)
            kept = [candidate for candidate in kept if candidate.total > reach]
        return kept

    def _free_is_enough(self) -> bool:
        """A free hypothesis much longer than any sentence is a loop: no need to follow it on."""
        if self.free.ended or self._graph is None:
            return self.free.ended
        longest = max((len(sentence.tokens) for sentence in self._found.values()), default=0)
        return len(self.free.tokens) > longest + _BEYOND

    def _extend_free(self, logprobs: NDArray[np.float32]) -> None:
        free, model = self.free, self._model
        row = logprobs.copy()
        row[model.suppressed] = _NEVER
        row[self._end + 1 :] = _NEVER
        if not free.tokens:
            row[model.suppressed_first] = _NEVER
        token = int(row.argmax())
        free.tokens.append(token)
        free.scores.append(float(row[token]))
        free.ended = token == self._end or len(free.tokens) >= self._options.max_tokens


def _moved(candidate: _Candidate, row: int, attention: Floats) -> _Hypothesis:
    parent = candidate.parent
    return _Hypothesis(
        candidate.score,
        candidate.allowed,
        min(parent.least, candidate.score - parent.score),
        candidate.places,
        (*parent.tokens, candidate.token),
        (*parent.trail, attention),
        row,
    )
