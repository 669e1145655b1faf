"""The real recogniser on real sound: people, synthetic voices in shop noise, and no speech at all.

Human recordings: speech-to-intent-benchmark (Apache-2.0) and pocketsphinx's test data (BSD), see
tests/audio/data/README.md.
"""

import gc
from pathlib import Path

import numpy as np
import onnxruntime
import pytest

from joblog.audio.files import read_audio
from joblog.audio.types import RATE
from joblog.demo.script import SHEET, load_script
from joblog.errors import ModelError, UsageError
from joblog.job.grammar import grammar_for_sheet
from joblog.job.meaning import meaning_of
from joblog.sheet.load import load_sheet
from joblog.speech.engines import check_model, find_model, get_engine
from joblog.speech.grammar import Grammar
from joblog.speech.types import Verdict

HUMAN = Path(__file__).parents[1] / "audio" / "data"
STEPS = Grammar.from_text(
    "#JSGF V1.0; grammar s; public <s> = fill plug loose | drain plug out | engine off"
    " | go forward ten meters | torque (one | two | three | four)+ foot pounds;"
)


@pytest.fixture(scope="module")
def engine():
    return get_engine()


def test_human_phrase_is_heard_and_believed(engine):
    hearing = engine.hear(read_audio(HUMAN / "goforward.flac").samples, STEPS)
    assert hearing.text == "go forward ten meters"
    assert hearing.verdict is Verdict.ACCEPT
    assert 0 <= hearing.confidence <= 1
    assert hearing.duration > 1


def test_demo_phrases_are_understood_or_asked_never_silently_wrong(engine):
    sheet = load_sheet(SHEET)
    grammar = grammar_for_sheet(sheet, answering=False)
    right = 0
    lines = [line for line in load_script() if line.mean not in ("chatter", "note", "question")]
    for line in lines:
        hearing = engine.hear(read_audio(line.path).samples, grammar)
        meant = meaning_of(line.said.replace(",", "").replace("-", " "), sheet)
        heard = meaning_of(hearing.text, sheet)
        same = heard is not None and meant is not None and heard.gist == meant.gist
        right += same and hearing.verdict is Verdict.ACCEPT
        assert same or hearing.verdict is not Verdict.ACCEPT, (line.said, hearing)
    assert right >= 0.9 * len(lines)


def test_words_outside_the_grammar_are_not_a_command(engine):
    chatter = next(line for line in load_script() if line.mean == "chatter")
    hearing = engine.hear(read_audio(chatter.path).samples, STEPS)
    assert hearing.verdict is not Verdict.ACCEPT


@pytest.mark.parametrize(
    "sound",
    [
        np.zeros(0, np.float32),
        np.zeros(3 * RATE, np.float32),
        np.full(RATE, np.nan, np.float32),
        np.sign(np.sin(np.arange(5 * RATE) * 2 * np.pi * 440 / RATE)).astype(np.float32),
        np.random.default_rng(1).normal(0, 0.1, 3 * RATE).astype(np.float32),
        np.zeros(600 * RATE, np.float32),
    ],
    ids=["empty", "silence", "not numbers", "square wave", "hiss", "ten minutes of silence"],
)
def test_no_speech_is_never_a_command_and_says_why(engine, sound):
    hearing = engine.hear(sound, STEPS)
    assert hearing.verdict is not Verdict.ACCEPT
    assert hearing.why
    assert engine.dictate(sound) == ""


def test_loudness_does_not_matter(engine):
    sound = read_audio(HUMAN / "goforward.flac").samples
    texts = {engine.hear(sound * np.float32(gain), STEPS).text for gain in (0.01, 1, 3)}
    assert texts == {"go forward ten meters"}


def test_what_is_expected_is_a_prior_and_no_wall(engine):
    tagged = Grammar.from_text(
        "#JSGF V1.0; grammar t; public <s> = go forward ten meters {A} | engine off {B};"
    )
    hearing = engine.hear(read_audio(HUMAN / "goforward.flac").samples, tagged, expected={"B": 1.0})
    assert hearing.text == "go forward ten meters"


def test_dictation_writes_free_words(engine):
    note = next(line for line in load_script() if line.mean == "note")
    written = engine.dictate(read_audio(note.path).samples).lower()
    assert written.strip(".").split() == note.said.split()


def test_unknown_engine_is_told():
    with pytest.raises(UsageError, match="choose one of joblog, vosk"):
        get_engine("nothing")


def test_altered_or_incomplete_model_is_refused_by_name(tmp_path):
    whole = find_model()
    for name in ("config.json", "tokenizer.json"):
        (tmp_path / name).write_bytes((whole / name).read_bytes())
    with pytest.raises(ModelError, match=r"lacks model\.bin"):
        check_model(tmp_path)
    (tmp_path / "model.bin").write_bytes(b"altered")
    with pytest.raises(ModelError, match=r"model\.bin .* was altered: its SHA-256 is"):
        check_model(tmp_path)


def test_dropped_in_model_is_found_first(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "models" / "mine"
    folder.mkdir(parents=True)
    (folder / "tokenizer.json").write_text("{}")
    assert find_model().resolve() == folder


def test_grammar_that_repeats_without_bound_does_not_stutter(engine):
    """A phrase of three words stays one, though the grammar would take any number of them."""
    grammar = Grammar.from_text("#JSGF V1.0; grammar g; public <s> = (drain | plug | removed)+;")
    line = next(line for line in load_script() if line.said == "drain plug removed")
    hearing = engine.hear(read_audio(line.path).samples, grammar)
    assert hearing.text == "drain plug removed"
    assert hearing.verdict is Verdict.ACCEPT


def test_the_weights_are_in_memory_once(engine):
    found = [o for o in gc.get_objects() if isinstance(o, onnxruntime.InferenceSession)]
    assert engine
    assert len(found) >= 3
    kept = [len(held) for one in found for held in vars(one).values() if isinstance(held, bytes)]
    assert max(kept, default=0) < 10_000_000  # the model has 75 MB, twice that as it is loaded
