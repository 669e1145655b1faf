"""Learning a voice: real sound read to the real recogniser, learnt from, kept, forgotten.

The reader is joblog's own read-back voice, made deeper and slower until it is a stranger to the
second ear. Human digits were measured by tools/adapter/voices.py; docs/ear.md has the figures.
"""

import stat
from collections import Counter

import numpy as np
import pytest

from joblog.audio.mixing import made_noise, mix
from joblog.audio.resample import Resampler
from joblog.errors import AudioError, InputError, ModelError, StoreError
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE, spoken_sound
from joblog.speech.engines import get_engine
from joblog.speech.lesson import Lesson, figures, second_ear_of, summary
from joblog.speech.second_ear import DIGITS, Head
from joblog.speech.voice import HELD_BACK, STRINGS, Learnt, learn_voice
from joblog.speech.voices import Voices
from joblog.speech.whisper.sound import prepare
from joblog.web.other_words import other_words

STRANGE = 1.35  # times slower and deeper


def reading(string, stretch=STRANGE):
    """Return a string of digits as a deep, slow voice reads it, 16 kHz."""
    words = " ".join(DIGITS[int(sign)] for sign in string)
    sound = np.asarray(spoken_sound(words, load_clips()), np.float32).reshape(-1)
    sound = Resampler(RATE).feed(np.pad(sound, RATE // 3))
    times = np.arange(0, len(sound) - 1, 1 / stretch)
    return np.interp(times, np.arange(len(sound)), sound).astype(np.float32)


@pytest.fixture(scope="module")
def engine():
    return get_engine()


@pytest.fixture(scope="module")
def lesson(engine):
    lesson = Lesson("  Dana   Ito ")
    while lesson.wanted:
        assert lesson.take(engine, reading(lesson.wanted)) == ""
    return lesson


@pytest.fixture(scope="module")
def learnt(engine, lesson):
    return learn_voice(lesson.read, second_ear_of(engine), made=400, epochs=4)


def test_strings_hold_each_digit_often_and_what_is_held_back_each_once():
    counts = Counter("".join(STRINGS))
    assert set(counts) == set("0123456789")
    assert set(counts.values()) == {4, 5}
    assert set("".join(STRINGS[-HELD_BACK:])) == set("0123456789")


def test_a_stranger_is_heard_more_surely_once_learnt(engine, lesson, learnt):
    assert len(lesson.read) == len(STRINGS)
    assert learnt.after >= learnt.before + learnt.trials // 5, learnt
    ear, head = second_ear_of(engine), Head(learnt.weights)
    rng = np.random.default_rng(8)
    strings = ("8319", "5027", "6645", "9181", "3307", "2754")  # none of them was read
    before = after = 0.0
    for string in strings:
        loud = prepare(mix(reading(string), made_noise(4 * RATE, rng), 6, rng)).samples
        words = [[DIGITS[int(sign)] for sign in string]]
        before += ear.scores(loud, words)[0, 0]
        after += ear.scores(loud, words, head)[0, 0]
    assert after > before, "the log probability of what was said rises, also for new strings"


def test_what_is_learnt_is_the_same_each_time(engine, lesson):
    ear = second_ear_of(engine)
    one, two = (learn_voice(lesson.read, ear, made=40, epochs=1) for _ in range(2))
    assert (one.before, one.after) == (two.before, two.after)
    assert all((one.weights[name] == two.weights[name]).all() for name in one.weights)


def test_another_string_than_the_wanted_one_is_not_learnt(engine):
    lesson = Lesson("Dana Ito")
    told = lesson.take(engine, reading(STRINGS[1], 1.0))
    assert told == f"{' '.join(STRINGS[1])} was heard. Read {' '.join(STRINGS[0])}, digit by digit."
    assert not lesson.read
    assert lesson.wanted == STRINGS[0]


@pytest.mark.parametrize(
    "sound", [np.zeros(16_000, np.float32), np.full(16_000, np.nan, np.float32)]
)
def test_silence_and_broken_sound_are_told(engine, sound):
    lesson = Lesson("Dana Ito")
    assert lesson.take(engine, sound).endswith(f"Read {' '.join(STRINGS[0])} once more.")
    assert not lesson.read


def test_too_little_is_not_learnt_from(engine, lesson):
    with pytest.raises(AudioError, match="Only 5 strings were read; read at least 6"):
        learn_voice(lesson.read[:5], second_ear_of(engine))


def test_what_lasts_too_long_is_told(engine):
    lesson = Lesson("Dana Ito")
    told = lesson.take(engine, np.tile(reading(STRINGS[0], 1.0), 8))
    assert told == f"That lasted longer than 12 s. Read {' '.join(STRINGS[0])} alone, in one go."


def test_a_part_of_a_row_is_told(engine):
    lesson = Lesson("Dana Ito")
    assert lesson.take(engine, reading("40", 1.0)).startswith(("4 0 was heard", "Only a part"))
    assert not lesson.read


def test_a_string_can_be_left_out_and_the_end_is_told(engine):
    lesson = Lesson("Dana Ito")
    for _ in STRINGS:
        lesson.leave_out()
    assert not lesson.wanted
    assert not lesson.enough
    with pytest.raises(InputError, match="All strings were read"):
        lesson.take(engine, reading(STRINGS[0]))


def test_a_lesson_needs_a_name():
    with pytest.raises(InputError, match="name"):
        Lesson("  ")


def test_an_engine_without_a_second_ear_says_so():
    class Deaf:
        name = "vosk"

    with pytest.raises(ModelError, match="'vosk' can't learn a voice"):
        second_ear_of(Deaf())


def test_oh_is_a_zero():
    assert figures(["four", "oh", "seven", "zero"]) == "4070"


def test_kept_found_by_any_spelling_and_forgotten(tmp_path, learnt):
    voices = Voices(tmp_path)
    assert voices.find("Dana Ito") is None
    kept = voices.keep("Dana  Ito", learnt)
    assert (kept.name, kept.before, kept.after) == ("Dana Ito", learnt.before, learnt.after)
    found = Voices(tmp_path).find("dana ito ")
    assert found is not None
    x = np.random.default_rng(1).normal(size=(20, 96)).astype(np.float32)
    assert found.head(x) == pytest.approx(Head(learnt.weights)(x), abs=0.05), "half precision"
    assert [voice.name for voice in voices.listed()[0]] == ["Dana Ito"]
    (file,) = voices.folder.iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600, "a voice is nobody else's business"
    assert voices.forget("Dana Ito")
    assert not voices.forget("Dana Ito")
    assert voices.find("Dana Ito") is None
    assert not list(voices.folder.iterdir())


def test_a_damaged_voice_is_told(tmp_path, learnt):
    voices = Voices(tmp_path)
    voices.keep("Dana Ito", learnt)
    (file,) = voices.folder.iterdir()
    whole = file.read_bytes()
    for damaged in (whole[: len(whole) // 2], b"", b"no archive", whole[:-200] + bytes(200)):
        file.write_bytes(damaged)
        with pytest.raises(
            StoreError, match="is damaged; delete it and let joblog learn the voice again"
        ):
            Voices(tmp_path).find("Dana Ito")
    voices.keep("Ana Ruiz", learnt)
    known, wrong = Voices(tmp_path).listed()
    assert [voice.name for voice in known] == ["Ana Ruiz"], "one damaged file hides no other"
    assert len(wrong) == 1


def test_one_form_of_each_letter(tmp_path, learnt):
    voices = Voices(tmp_path)
    voices.keep("Jose\u0301", learnt)
    assert voices.find("Jos\u00e9") is not None
    assert voices.forget("jos\u00e9")


def test_nothing_half_written_stays_where_the_disk_is_full(tmp_path, learnt, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(StoreError, match=r"No space left on device.*free some space"):
        Voices(tmp_path).keep("Dana Ito", learnt)
    assert not list((tmp_path / "voices").iterdir())


def test_other_words_keep_their_meaning(engine, lesson, learnt):
    """Learnt from digits alone, a head takes other words for digits, too."""
    others = other_words()
    ear = second_ear_of(engine)
    both = learn_voice(lesson.read, ear, others=others, made=250, epochs=3)
    rng = np.random.default_rng(5)
    picked = [others[int(k)] for k in rng.integers(len(others), size=40)]

    def taken_for_digits(head):
        """Return in how many of these words a digit is likelier than none anywhere."""
        heard = [head(ear.embed(prepare(sound).samples)) for sound, _ in picked]
        return sum(bool((one[:, 1:-1].max(1) > one[:, [0, -1]].max(1)).any()) for one in heard)

    assert taken_for_digits(Head(both.weights)) < taken_for_digits(Head(learnt.weights))


def test_a_voice_that_gains_nothing_is_not_kept(tmp_path, monkeypatch, engine, lesson, learnt):
    same = Learnt(learnt.weights, 30, 30, 40)
    monkeypatch.setattr("joblog.speech.lesson.learn_voice", lambda *_, **__: same)
    voices = Voices(tmp_path)
    voices.keep("Dana Ito", learnt)
    found, kept = lesson.learn(second_ear_of(engine), voices, [])
    assert kept is None
    assert summary("Dana Ito", found, kept).startswith("Nothing is kept, for in noise that")
    earlier = voices.find("Dana Ito")
    assert earlier is not None
    assert earlier.after == learnt.after, "what was kept earlier stays"
