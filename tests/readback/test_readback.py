"""The read-back: every reply from clips, clips whole and unaltered, deaf while it sounds."""

import io
import json
import shutil
import threading
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from joblog.audio.resample import Resampler
from joblog.audio.segment import Segmenter
from joblog.cli import main
from joblog.errors import DeviceError, ModelError
from joblog.job.cautions import LEAD
from joblog.job.session import JobSession
from joblog.job.vocabulary import (
    cautions_spoken_whole,
    closed_vocabulary,
    phrases_spoken_whole,
)
from joblog.readback.clips import FOLDER, INDEX, MP3, SOUND, load_clips, stock
from joblog.readback.sequence import CAUTION, Piece, free_text, pieces_of
from joblog.readback.sound import RATE, SCREEN, joined, spoken_sound, tone_sound
from joblog.readback.speaker import Speaker
from joblog.record.clock import ManualClock
from joblog.record.store import open_store
from joblog.sheet.load import library, load_sheet, sheet_text

ROOT = Path(__file__).resolve().parents[2]
SCRIPTS = ROOT / "tests" / "sheet" / "scripts"
CLIPS = load_clips()
ASKED = ("what torque", "how much fluid", "which fluid")


def names_of(text, clips=CLIPS.by_name):
    return [p.name for p in pieces_of(text, clips) if p.kind == "clip"]


def spoken_replies(key, folder):
    """Carry the sheet's own script out; yield every reply, clocks included."""
    clock = ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC))
    with open_store(folder, clock=clock) as store:
        units = load_sheet(key).applies.to
        opening = {"unit": {"type": units[0]} if units else {}, "technician": "Imani Okafor"}
        session = JobSession.start(store, sheet_text(key), opening, clock=clock)
        lines = (SCRIPTS / f"{key}.txt").read_text(encoding="utf-8").splitlines()
        for line in (text for text in lines if text and text[0] not in "#>"):
            clock.advance(int(line[1:]) if line.startswith("+") else 5)
            yield from session.tick()
            if line.startswith("photo "):
                _, kind, name = line.split()
                yield session.photo((ROOT / "sample_images" / name).read_bytes(), kind)
            elif not line.startswith("+"):
                yield session.type_in(line)
        for question in (
            *ASKED,
            "what's next",
            "how much is in",
            "read back",
            "what is missing",
            "step",
        ):
            yield session.type_in(question)


@pytest.mark.parametrize("key", list(library()))
def test_every_reply_of_a_sheets_script_can_be_said_with_clips(key, tmp_path):
    spoken = [r.spoken for r in spoken_replies(key, tmp_path) if r.spoken]
    assert len(spoken) > 10
    strange = {text: free for text in spoken if (free := free_text(pieces_of(text, CLIPS.by_name)))}
    assert not strange


@pytest.mark.parametrize("key", list(library()))
def test_the_closed_vocabulary_of_every_shipped_sheet_has_clips(key):
    sheet = load_sheet(key)
    for text in [*closed_vocabulary(sheet), *phrases_spoken_whole(sheet)]:
        assert not free_text(pieces_of(text, CLIPS.by_name)), text


@pytest.mark.parametrize("key", list(library()))
def test_the_cautions_of_every_shipped_sheet_are_one_clip_each(key):
    assert CAUTION == LEAD
    for text in cautions_spoken_whole(load_sheet(key)):
        pieces = [p.name for p in pieces_of(f"{LEAD} {text}", CLIPS.by_name) if p.kind == "clip"]
        assert pieces == ["caution", text.rstrip(".")]


def test_a_caution_without_a_clip_is_said_by_one_voice_and_takes_no_answer_with_it():
    answer = "Next: drain plug out. Caution: Take your rings off, and the watch. Say again."
    kinds = [(p.kind, p.name) for p in pieces_of(answer, CLIPS.by_name) if p.kind != "pause"]
    assert kinds == [
        ("clip", "next"),
        ("clip", "drain plug out"),
        ("clip", "caution"),
        ("text", "Take your rings off, and the watch"),
        ("clip", "say again"),
    ]
    here = spoken_sound("Next: drain plug out. Caution: Take your rings off.", CLIPS)
    assert np.array_equal(
        here, spoken_sound("Next: drain plug out. Caution: see the screen.", CLIPS)
    )


def test_numbers_are_said_digit_by_digit_and_the_longest_clip_wins():
    # ICAO Annex 10 vol. II, 5.2.1.4: each digit is transmitted separately
    said = " ".join(names_of("Torque, three six foot-pounds, in spec."))
    assert said == "torque three six foot-pounds in spec"
    assert names_of("36 foot-pounds") == names_of("three six foot-pounds")
    assert names_of("2.5") == ["two point", "five"]
    clips = {"drain", "plug", "drain plug", "in"}
    assert names_of("Drain plug in.", clips) == ["drain plug", "in"]


def test_a_clip_never_reaches_over_a_mark_that_its_name_has_not():
    clips = {"noted", "next", "noted next"}
    assert names_of("Noted. Next.", clips) == ["noted", "next"]
    pauses = [p.seconds for p in pieces_of("Noted. Next.", clips) if p.kind == "pause"]
    assert len(pauses) == 1
    assert pauses[0] > 0.2


def test_words_without_a_clip_stay_free_text_in_their_place():
    pieces = pieces_of("Confirmed, Imani Okafor, 5W-30.", CLIPS.by_name)
    kinds = [(p.kind, p.name) for p in pieces if p.kind != "pause"]
    assert kinds == [("clip", "confirmed"), ("text", "Imani Okafor"), ("text", "5W-30")]
    assert pieces_of("", CLIPS.by_name) == []
    assert pieces_of("...", CLIPS.by_name) == []


def test_clips_are_whole_small_level_and_as_long_as_the_index_says():
    assert len(CLIPS.sound) < 1_600_000
    assert sum(clip.length for clip in CLIPS.by_name.values()) == len(CLIPS.sound)
    for name in ("three six", "foot-pounds", "in spec", "reading window open", "say again", "a"):
        sound = joined([Piece("clip", name)], CLIPS)
        assert len(sound) / RATE == pytest.approx(CLIPS.by_name[name].seconds, abs=0.002)
        frames = sound[: len(sound) // 240 * 240].reshape(-1, 240)
        power = (frames**2).mean(axis=1)
        level = 10 * np.log10(power[power > power.max() / 100].mean())
        assert level == pytest.approx(-20, abs=2.5), name
        edges = max(np.abs(sound[:120]).max(), np.abs(sound[-120:]).max())
        assert edges < 0.05 * np.abs(sound).max(), f"{name} is cut"


def test_the_mp3_hold_the_same_clips():
    index = json.loads((FOLDER / INDEX).read_text(encoding="utf-8"))["clips"]
    sound = (FOLDER / MP3).read_bytes()
    assert len(sound) < 2_100_000
    assert sum(place[4] for place in index.values()) == len(sound)
    for name, (*_, start, length) in index.items():
        there, rate = soundfile.read(io.BytesIO(sound[start : start + length]), dtype="float32")
        here = joined([Piece("clip", name)], CLIPS)
        assert (rate, len(there)) == (RATE, len(here)), name
        assert np.corrcoef(here, there)[0, 1] > 0.9, name


@pytest.mark.parametrize("name", [INDEX, SOUND, MP3])
def test_an_altered_or_missing_file_is_told_and_never_played(name, tmp_path):
    for damage in ("altered", "missing"):
        folder = tmp_path / damage
        shutil.copytree(FOLDER, folder)
        path = folder / name
        if damage == "missing":
            path.unlink()
        else:
            data = bytearray(path.read_bytes())
            data[len(data) // 2] ^= 1
            path.write_bytes(data)
        with pytest.raises(ModelError, match=f"{name} (was|is) {damage}"):
            load_clips(folder)
        told = stock(folder)
        assert damage in told.why
        assert [p.kind for p in pieces_of("Say again.", told.names)] == ["text", "pause"][:1]


class Room:
    """A room with a loudspeaker and a microphone: the player's samples reach the segmenter."""

    def __init__(self):
        self.segmenter = Segmenter()
        self.heard = []
        self.lock = threading.Lock()

    def play(self, sound, rate):
        self.hear(Resampler(rate).feed(np.concatenate([sound, np.zeros(rate // 4, np.float32)])))

    def hear(self, samples):
        with self.lock:
            for start in range(0, len(samples), 800):
                self.heard += self.segmenter.feed(samples[start : start + 800])


def test_what_is_said_is_never_heard_as_a_command():
    room = Room()
    speaker = Speaker(CLIPS, room.segmenter, player=room.play)
    quiet = (np.random.default_rng(1).standard_normal(16_000) * 1e-3).astype(np.float32)
    room.hear(quiet)
    speaker.say("Vehicle level. Next: warm up done.", "ok")
    speaker.say("Drain plug out.", "warn")
    speaker.close()
    room.hear(quiet)
    assert not room.heard
    command = Resampler(RATE).feed(spoken_sound("Vehicle level.", CLIPS))
    room.hear(np.concatenate([command, quiet]))  # afterwards the same words from a person are heard
    assert len(room.heard) == 1
    deaf = Room()  # and without the muting the read-back would have been heard
    deaf.hear(quiet)
    deaf.play(spoken_sound("Vehicle level.", CLIPS), RATE)
    deaf.hear(quiet)
    assert len(deaf.heard) == 1


def test_the_ear_stays_deaf_until_the_last_reply_was_played():
    told = []

    class Ear:
        def mute(self):
            told.append("deaf")

        def unmute(self, _after=0.0):
            told.append("hears")

    gate = threading.Event()
    speaker = Speaker(CLIPS, Ear(), player=lambda *_: gate.wait(5) and None)
    speaker.say("Noted.")
    speaker.say("Say again.")
    gate.set()
    speaker.close()
    assert told == ["deaf", "deaf", "hears"]


def test_muted_speaker_says_nothing_and_a_dead_loudspeaker_lets_hear_again():
    played = []
    room = Room()
    speaker = Speaker(CLIPS, room.segmenter, player=lambda *sound: played.append(sound))
    speaker.muted = True
    speaker.say("Noted.", "ok")
    speaker.close()
    assert not played

    def broken(sound, rate):
        raise DeviceError("the loudspeaker can't be used (gone); plug one in and switch it on.")

    speaker = Speaker(CLIPS, room.segmenter, player=broken)
    speaker.say("Noted.", "ok")
    speaker.close()
    assert "gone" in speaker.trouble
    room.hear(np.zeros(16_000, np.float32))
    assert room.segmenter.phase.value == "waiting"


def test_half_a_sentence_is_never_said():
    screen = joined([Piece("clip", SCREEN)], CLIPS)
    assert np.array_equal(spoken_sound("Not Lindqvist.", CLIPS), screen)
    assert len(tone_sound("none")) == 0
    assert np.abs(tone_sound("warn")).max() < 0.3


def test_say_writes_a_sentence_and_names_words_without_a_clip(tmp_path, capsys):
    out = tmp_path / "said.wav"
    assert main(["say", "Torque, three six foot-pounds, in spec.", "--out", str(out)]) == 0
    assert out.stat().st_size > 2 * RATE
    assert main(["say", "hello Lindqvist"]) == 2
    assert "no clip for 'hello Lindqvist'" in capsys.readouterr().err
    assert main(["say", "noted", "--out", str(tmp_path / "none" / "x.wav")]) == 1
