"""Vosk as a second engine: same grammar, same answers, for whoever drops a Vosk model in.

Vosk takes a list of phrases, not a grammar: small grammars are given as all their sentences, large
ones as their words, and of Vosk's own N best only those that the grammar allows are kept. Vosk's
confidences are not calibrated by joblog, so it accepts only where it is clearly surer of the best
sentence than of the next, and everything else is asked. Other speech may fit one sentence and no
second ('seven of clubs' where only figures can be said: 'seven two'), so it is never quite sure:
what is nothing but figures is always asked.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Hashable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from joblog.audio.types import RATE, Samples
from joblog.errors import GrammarError, ModelError
from joblog.speech.accept import Stakes, decide
from joblog.speech.grammar import Grammar
from joblog.speech.meaning import meaning
from joblog.speech.second_ear import Head
from joblog.speech.types import Alternative, Hearing, Verdict
from joblog.speech.whisper.sound import prepare

_ALTERNATIVES = 10
_SENTENCES = 2000  # up to so many sentences a grammar is given as they are
_SCALE = 0.3  # Kaldi's likelihoods are too sure of themselves; the usual acoustic scale is 0.1
_SUREST = 0.95  # below what joblog.speech.accept wants for bare figures
_UNKNOWN = "[unk]"


class VoskEngine:
    """A Kaldi model below ``models/``; needs the package vosk."""

    name = "vosk"
    second_opinion = False

    def __init__(self, model_dir: Path) -> None:
        try:
            import vosk
        except ImportError as error:
            raise ModelError(
                "The engine vosk needs the package vosk; install it, or use the engine joblog."
            ) from error
        vosk.SetLogLevel(-1)
        self._vosk, self._folder = vosk, model_dir
        _check_graph(model_dir)
        try:
            self._model = vosk.Model(str(model_dir))
        except Exception as error:  # vosk raises nothing more particular
            raise self._damaged() from error

    def hear(
        self,
        samples: Samples,
        grammar: Grammar,
        *,
        expected: Mapping[str, float] | None = None,
        stakes: Stakes | None = None,
        voice: Head | None = None,  # noqa: ARG002 - the interface's; it can't learn one
    ) -> Hearing:
        """Find the sentence of ``grammar`` that was spoken; as the joblog engine does.

        Raises GrammarError where the model's dictionary lacks a word of the grammar.
        """
        started = time.perf_counter()
        prepared = prepare(samples)
        found: list[tuple[tuple[str, ...], float]] = []
        if prepared.why is None:
            recogniser = self._recogniser(json.dumps(self._phrases(grammar), ensure_ascii=False))
            found = list(_in_grammar(self._decode(recogniser, prepared.samples), grammar, expected))
        duration = prepared.original_duration
        if not found:
            why = prepared.why or "No phrase that can be said here fits the sound."
            seconds = time.perf_counter() - started
            return Hearing("", Verdict.REJECT, 0.0, (), seconds, duration, self.name, why)
        ranking = _probabilities(found, grammar)
        best, confidence = ranking[0]
        others = tuple(Alternative(" ".join(w), round(p, 4)) for w, p in ranking[1:])
        parse = grammar.parse(best)
        tags = parse.tags if parse is not None else ()
        verdict, reason = decide(best, confidence, others, stakes or Stakes(), tags)
        seconds = time.perf_counter() - started
        return Hearing(
            " ".join(best), verdict, round(confidence, 4), others, seconds, duration, self.name,
            reason,
        )  # fmt: skip

    def compare(self, samples: Samples, grammar: Grammar) -> dict[str, float]:  # noqa: ARG002 - Engine's form
        """Return nothing: this engine has no second recogniser."""
        return {}

    def dictate(self, samples: Samples) -> str:
        """Write down free speech; '' where there is none."""
        prepared = prepare(samples)
        if prepared.why is not None:
            return ""
        texts = [text for text, _ in self._decode(self._recogniser(None), prepared.samples)]
        return texts[0] if texts else ""

    def _recogniser(self, phrases: str | None) -> Any:
        rest = () if phrases is None else (phrases,)
        try:
            recogniser = self._vosk.KaldiRecognizer(self._model, RATE, *rest)
        except Exception as error:  # a file that is read only now
            raise self._damaged() from error
        recogniser.SetMaxAlternatives(_ALTERNATIVES)
        return recogniser

    def _damaged(self) -> ModelError:
        return ModelError(
            f"The Vosk model in {self._folder} can't be loaded; take another copy of it."
        )

    def _phrases(self, grammar: Grammar) -> list[str]:
        missing = sorted(
            word for word in grammar.vocabulary if self._model.vosk_model_find_word(word) < 0
        )
        if missing:
            raise GrammarError(
                f"The Vosk model does not know the word '{missing[0]}'; use the engine joblog or a "
                "model with a larger dictionary."
            )
        sentences = [" ".join(words) for words in grammar.sentences(_SENTENCES + 1)]
        known = sentences if len(sentences) <= _SENTENCES else sorted(grammar.vocabulary)
        return [*known, _UNKNOWN] if self._model.vosk_model_find_word(_UNKNOWN) >= 0 else known

    def _decode(self, recogniser: Any, samples: Samples) -> list[tuple[str, float]]:
        """Return Vosk's texts with their natural-log likelihoods, best first."""
        recogniser.AcceptWaveform((samples * 32767).astype("<i2").tobytes())
        result = json.loads(recogniser.FinalResult())
        found = result["alternatives"]
        return [(other["text"].strip(), float(other["confidence"])) for other in found]


def _check_graph(folder: Path) -> None:
    """Raise ModelError where the model has no graph: vosk loads it, and then ends the program."""
    for place in (folder / "graph", folder):
        if (place / "HCLG.fst").is_file() or (place / "HCLr.fst").is_file():
            return
    raise ModelError(
        f"The Vosk model in {folder} lacks graph/HCLr.fst (or graph/HCLG.fst); take another copy "
        "of it."
    )


def _in_grammar(
    texts: list[tuple[str, float]], grammar: Grammar, expected: Mapping[str, float] | None
) -> Iterator[tuple[tuple[str, ...], float]]:
    for text, likelihood in texts:
        words = tuple(text.split())
        parse = grammar.parse(words) if words else None
        if parse is not None:
            bonus = sum(expected.get(tag, 0.0) for tag in parse.tags) if expected else 0.0
            yield words, likelihood * _SCALE + bonus


def _probabilities(
    found: list[tuple[tuple[str, ...], float]], grammar: Grammar
) -> list[tuple[tuple[str, ...], float]]:
    """Turn log scores into shares of one; sentences that mean the same are one."""
    best: dict[Hashable, tuple[tuple[str, ...], float]] = {}
    for words, score in found:
        key = meaning(words, grammar)
        if key not in best or best[key][1] < score:
            best[key] = (words, score)
    ranking = sorted(best.values(), key=lambda item: -item[1])
    total = np.logaddexp.reduce([score for _, score in ranking])
    return [(words, min(math.exp(score - float(total)), _SUREST)) for words, score in ranking]
