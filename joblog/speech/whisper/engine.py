"""The neural engine: hears phrases of a grammar, and takes dictation."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from joblog.audio.types import RATE, Samples
from joblog.speech.accept import KNOWN_VOICE, Stakes, decide
from joblog.speech.grammar import Grammar
from joblog.speech.meaning import grouped, meaning
from joblog.speech.second_ear import DIGITS, Head, SecondEar
from joblog.speech.types import Alternative, Hearing, Verdict
from joblog.speech.whisper.confidence import Calibration, Measures, weigh
from joblog.speech.whisper.dictation import believable, pieces
from joblog.speech.whisper.evidence import measure
from joblog.speech.whisper.features import Features, log_mel
from joblog.speech.whisper.model import Memory, Step, WhisperModel
from joblog.speech.whisper.search import Free, Options, Search, Sentence
from joblog.speech.whisper.sound import Prepared, prepare
from joblog.speech.whisper.tokens import Spelling, TokenGraph, Tokeniser, Words

_DICTATION = Options(max_tokens=120)  # 15 s at the 4.7 a second below have 70
FRAMES_PER_SECOND = 100  # log-mel frames
ENCODED_PER_SECOND = 50  # the encoder's second convolution takes every other one
# Seconds of silence that the encoder sees behind the sound. It was trained on 30 s; the shorter its
# context, the faster (docs/ear.md, "How it works").
TAIL = 1.0
# Nobody says more: of 3 700 sentences the fastest had 4.7 tokens a second. Without a bound, a
# grammar that repeats lets the search stutter ("four four four ...").
TOKENS_PER_SECOND, FEWEST_TOKENS = 7, 5
KEPT_GRAMMARS = 24  # spelt in tokens
STEP = 0.5  # the encoder's context is rounded up to this many seconds


@dataclass(frozen=True)
class Analysis:
    """All that was found for one utterance, before any decision.

    ``measures`` has shape (sentences, len(FEATURES)), a row for each of ``sentences``.
    """

    sentences: list[Sentence]
    measures: Measures
    free: Free
    prepared: Prepared


class WhisperEngine:
    """A speech model whose decoder is restricted to a phrase grammar. Threads may share it.

    ``model_dir`` holds the model's files and ``adapter`` the changes to its weights; ModelError
    where one is damaged. ``threads`` is how many cores one utterance may use.
    """

    name = "joblog"

    def __init__(
        self,
        model_dir: Path,
        adapter: Path | None = None,
        *,
        threads: int = 2,
        options: Options | None = None,
        calibration: Calibration | None = None,
        second: SecondEar | None = None,
    ) -> None:
        self._model = WhisperModel(model_dir, adapter, threads=threads)
        self.second_opinion = adapter is not None
        self._tokeniser = Tokeniser(model_dir / "tokenizer.json")
        self._options = options or Options()
        self._calibration = calibration or Calibration.shipped()
        self.second = second
        self._end = self._tokeniser.special("<|endoftext|>")
        self._no_speech = self._tokeniser.special("<|nocaptions|>")
        self._stops = tuple(self._tokeniser.encode(mark)[0] for mark in ".?!")
        start = ("<|startoftranscript|>", "<|notimestamps|>")
        self._prompt = tuple(self._tokeniser.special(name) for name in start)
        self._spellings = lru_cache(maxsize=KEPT_GRAMMARS)(self._spelling)

    def hear(
        self,
        samples: Samples,
        grammar: Grammar,
        *,
        expected: Mapping[str, float] | None = None,
        stakes: Stakes | None = None,
        voice: Head | None = None,
    ) -> Hearing:
        """Find the sentence of ``grammar`` that was spoken, and say whether to believe it.

        ``samples``: float32, 16 kHz. ``expected`` maps tags to natural-log bonuses, ``stakes`` says
        what a wrong sentence costs, ``voice`` knows who speaks (:mod:`joblog.speech.voice`). Sound
        in which nothing can be heard is a REJECT, with why.
        """
        started = time.perf_counter()
        prepared = prepare(samples)
        if prepared.why is not None:
            return self._nothing(prepared, started, prepared.why)
        bonus = tuple(sorted(expected.items())) if expected else ()
        found = self.analyse(prepared, grammar, bonus, voice)
        if not found.sentences:
            return self._nothing(
                prepared, started, "No phrase that can be said here fits the sound."
            )
        usual = Stakes() if voice is None else KNOWN_VOICE
        return self._judge(found, grammar, stakes or usual, started)

    def analyse(
        self,
        prepared: Prepared,
        grammar: Grammar,
        bonus: tuple[tuple[str, float], ...] = (),
        voice: Head | None = None,
    ) -> Analysis:
        """Search one prepared utterance; the calibration is fitted on what this returns.

        ``bonus`` are (tag, natural-log addition) pairs, ``voice`` as in :meth:`hear`.
        """
        graph = TokenGraph(self._spellings(grammar), dict(bonus))
        memory, first = self._model.listen(_features(prepared), self._prompt)
        most = FEWEST_TOKENS + int(TOKENS_PER_SECOND * prepared.duration)
        options = replace(self._options, max_tokens=min(most, self._options.max_tokens))
        search = Search(self._model, graph, self._end, self._stops, options)
        sentences = search.run(memory, first)
        frames = len(prepared.samples) * ENCODED_PER_SECOND // RATE
        if not sentences:
            return Analysis([], np.zeros((0, 0)), search.free, prepared)
        second = self._ask_second(prepared, sentences, voice)
        measures = measure(sentences, search.free, frames, second)
        return Analysis(sentences, measures, search.free, prepared)

    def _ask_second(
        self, prepared: Prepared, sentences: list[Sentence], voice: Head | None
    ) -> NDArray[np.float64] | None:
        # Digits alone, as in an order number: units and other words weren't what it learnt, and
        # there the recogniser has the grammar to lean on.
        said = [sentence.words for sentence in sentences]
        digits_only = all(word in DIGITS for words in said for word in words)
        if self.second is None or not digits_only:
            return None
        return self.second.scores(prepared.samples, said, voice)

    def _spelling(self, grammar: Grammar) -> Spelling:
        return Spelling(grammar.graph, self._tokeniser.encode)

    def _judge(self, found: Analysis, grammar: Grammar, stakes: Stakes, started: float) -> Hearing:
        ranking = rank(found, self._calibration, grammar)
        best, confidence = ranking[0]
        alternatives = tuple(Alternative(" ".join(w), round(p, 4)) for w, p in ranking[1:])
        parse = grammar.parse(best)
        tags = parse.tags if parse is not None else ()
        verdict, why = decide(best, confidence, alternatives, stakes, tags)
        seconds = time.perf_counter() - started
        return Hearing(
            " ".join(best), verdict, round(confidence, 4), alternatives, seconds,
            found.prepared.original_duration, self.name, why,
        )  # fmt: skip

    def _nothing(self, prepared: Prepared, started: float, why: str) -> Hearing:
        seconds = time.perf_counter() - started
        return Hearing(
            "", Verdict.REJECT, 0.0, (), seconds, prepared.original_duration, self.name, why
        )

    def dictate(self, samples: Samples) -> str:
        """Write down free speech (float, 16 kHz mono); '' where there is none.

        Speech of more than 15 s is cut at quiet places.
        """
        return " ".join(filter(None, map(self._dictate_piece, pieces(samples))))

    def compare(self, samples: Samples, grammar: Grammar) -> dict[str, float]:
        """Return the natural-log likelihood of each sentence found of a small ``grammar``.

        By the unadapted encoder, which learnt no phrases. Empty where nothing can be heard.
        ``samples``: float, 16 kHz mono.
        """
        prepared = prepare(samples)
        if prepared.why is not None:
            return {}
        memory, first = self._model.listen(_features(prepared), self._prompt, plain=True)
        graph = TokenGraph(self._spellings(grammar))
        search = Search(self._model, graph, self._end, self._stops, self._options)
        return {" ".join(found.words): found.score for found in search.run(memory, first)}

    def _dictate_piece(self, samples: Samples) -> str:
        prepared = prepare(samples)
        if prepared.why is not None:
            return ""
        memory, first = self._model.listen(_features(prepared), self._prompt, plain=True)
        no_speech = float(np.exp(first.logprobs[0, self._no_speech]))
        free = self._search_free(memory, first)
        text = self._tokeniser.decode(free.tokens).strip()
        return text if believable(text, free.scores, no_speech, prepared) else ""

    def _search_free(self, memory: Memory, first: Step) -> Free:
        search = Search(self._model, None, self._end, self._stops, _DICTATION)
        search.run(memory, first)
        return search.free


def _features(prepared: Prepared) -> Features:
    seconds = np.ceil((prepared.duration + TAIL) / STEP) * STEP
    return log_mel(prepared.samples, int(seconds * FRAMES_PER_SECOND))


def rank(found: Analysis, calibration: Calibration, grammar: Grammar) -> list[tuple[Words, float]]:
    """Return the sentences by merit, with probabilities; one for each distinct meaning.

    The best has the calibrated probability; the others share the rest by the softmax of their
    merits, none above the best.
    """
    merits = calibration.merits(found.measures)
    groups = grouped(merits, [meaning(sentence.words, grammar) for sentence in found.sentences])
    first = groups[0]
    prepared = found.prepared
    evidence = weigh(found.measures, groups, found.free, prepared.duration, prepared.contrast)
    sure = calibration.probability(evidence)
    shares = [float(np.exp(group.merit - first.merit)) for group in groups[1:]]
    rest = (1.0 - sure) / max(sum(shares), 1.0)
    others = zip(groups[1:], shares, strict=True)
    return [
        (found.sentences[first.best].words, sure),
        *((found.sentences[group.best].words, min(share * rest, sure)) for group, share in others),
    ]
