"""Speak the texts with many synthetic voices.

Two steps, because the machine with many cores needs no phoneme front end for the second:

    synthesise.py plan  --engine kokoro|flite|espeak --count N --seed S --out JOBS.jsonl
    synthesise.py speak --jobs JOBS.jsonl --out BANK [--workers N]

``plan`` draws texts, voices, speeds and pitches (and, for kokoro, turns words into phonemes with
espeak-ng). ``speak`` writes BANK.ogg (Opus, 16 kHz mono, all utterances one after the other) and
BANK.jsonl (one line an utterance: kind, say, forms, voice, start and length in samples).

Where the voices come from is in README.md beside this file; nothing here downloads anything.
KOKORO names the folder that holds kokoro.onnx, vocab.json and voices/*.bin.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import texts

RATE = 16_000
GAP = RATE // 10  # samples of silence between utterances of a bank
KOKORO = Path(os.environ.get("KOKORO", "kokoro"))
KOKORO_RATE = 24_000
# English text read with another language's voice gives a foreign accent: wanted, since shops have them
FOREIGN = (
    "ef_",
    "em_",
    "ff_",
    "hf_",
    "hm_",
    "if_",
    "im_",
    "jf_",
    "jm_",
    "pf_",
    "pm_",
    "zf_",
    "zm_",
)
FLITE_VOICES = ("kal16", "awb", "rms", "slt", "kal")
ESPEAK_VOICES = (
    "en-us",
    "en-gb",
    "en-gb-x-rp",
    "en-gb-scotland",
    "en-029",
    "en-gb-x-gbcwmd",
    "en-us-nyc",
)
ESPEAK_VARIANTS = (
    "", "+m1", "+m2", "+m3", "+m4", "+m5", "+m6", "+m7", "+f1", "+f2", "+f3", "+f4", "+f5", "+klatt",
    "+klatt2", "+klatt3", "+Andy", "+Annie", "+Alex", "+Denis", "+Gene", "+Lee", "+Mario", "+Michael",
    "+Mr_serious", "+Robert", "+steph", "+Tweaky", "+linda", "+max", "+quincy", "+rob", "+sandro",
)  # fmt: skip
KINDS = {  # share of each kind of text for engines of good and of poor naturalness
    "kokoro": {texts.DIGITS: 0.34, texts.PHRASE: 0.3, texts.ORDER: 0.18, texts.CHATTER: 0.18},
    "flite": {texts.DIGITS: 0.5, texts.PHRASE: 0.4, texts.ORDER: 0.1},
    "espeak": {texts.DIGITS: 0.6, texts.PHRASE: 0.4},
}
# espeak's phonemes in the notation that the voice model was trained on
PHONEMES = (
    ("ʲ", "j"), ("r", "ɹ"), ("x", "k"), ("ɬ", "l"), ("eɪ", "A"), ("oʊ", "O"), ("əʊ", "Q"), ("aɪ", "I"),
    ("aʊ", "W"), ("ɔɪ", "Y"), ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ɚ", "əɹ"), ("ɜː", "ɜɹ"), ("ɐ", "ə"), ("ɾ", "T"),
    ("ʔ", "t"), ("ᵻ", "ɪ"), ("ː", ""), ("ɜɹɹ", "ɜɹ"), ("əɹɹ", "əɹ"), ("\u0361", ""),
)  # fmt: skip

Job = dict[str, Any]


def phonemes(lines: list[str], accent: str) -> list[str]:
    """Turn each line into the voice model's phonemes, with espeak-ng."""
    spoken = []
    for line in lines:
        command = ["espeak-ng", "-q", "--ipa", "-v", accent, line]
        out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        text = ", ".join(part.strip() for part in out.strip().splitlines() if part.strip())
        for old, new in PHONEMES:
            text = text.replace(old, new)
        spoken.append(text)
    return spoken


def plan_voice(rng: random.Random, engine: str) -> Job:
    """Draw a voice and its settings."""
    if engine == "flite":
        voice = rng.choice(FLITE_VOICES)
        return {"voice": voice, "stretch": rng.uniform(0.75, 1.3), "pitch": rng.uniform(0.8, 1.25)}
    if engine == "espeak":
        voice = rng.choice(ESPEAK_VOICES) + rng.choice(ESPEAK_VARIANTS)
        return {"voice": voice, "speed": rng.randint(115, 210), "pitch": rng.randint(20, 80)}
    names = sorted(path.stem for path in (KOKORO / "voices").glob("*.bin"))
    native = [name for name in names if not name.startswith(FOREIGN)]
    first = rng.choice(native if rng.random() < 0.6 else names)
    blend = {first: 1.0}
    if rng.random() < 0.4:  # a mixture of two voices is a third one
        share = rng.uniform(0.25, 0.75)
        blend = {first: share, rng.choice(names): 1 - share}
    return {"voice": "+".join(blend), "blend": blend, "speed": rng.uniform(0.8, 1.35)}


def plan(
    engine: str,
    count: int,
    seed: int,
    word_takes: int,
    *,
    sheet_count: int,
    spellings: int,
    commands: int,
) -> list[Job]:
    """Draw sentences, ``word_takes`` sets of the single digits, phrases of the job sheets by their
    grammars and ``commands`` of them phrase by phrase, and ``spellings`` in the spelling alphabet."""
    rng = random.Random(seed)
    kinds = KINDS[engine]
    drawn = [
        (texts.draw(rng, rng.choices(list(kinds), list(kinds.values()))[0]), -1)
        for _ in range(count)
    ]
    drawn += [(item, -1) for item in texts.sheet_items(sheet_count, seed)]
    drawn += [(item, -1) for item in texts.command_items(commands, seed)]
    drawn += [(texts.alphabet_item(rng), -1) for _ in range(spellings)]
    sets = [plan_voice(rng, engine) for _ in range(word_takes)]
    spoken = [(item, number) for number in range(word_takes) for item in texts.words()]
    jobs = []
    for item, number in drawn + spoken:
        job = {"engine": engine, "kind": item.kind, "say": item.say, "forms": item.forms}
        if number < 0:
            job |= plan_voice(rng, engine)
        else:  # one voice speaks a whole set, briskly: real strings are said quickly
            job |= sets[number] | {"set": f"{engine}-{seed}-{number}"}
            if engine == "kokoro":
                job["speed"] = sets[number]["speed"] * rng.uniform(1.0, 1.35)
        if engine == "kokoro":
            accent = "en-gb" if job["voice"].startswith("b") else "en-us"
            end = "." if rng.random() < 0.8 else ""
            job["phonemes"] = phonemes([item.say], accent)[0] + end
        jobs.append(job)
    rng.shuffle(jobs)
    return jobs


_KOKORO: dict[str, Any] = {}


def speak_kokoro(job: Job) -> np.ndarray:
    """Speak one job with the neural voices; float32 at 24 kHz."""
    if not _KOKORO:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        _KOKORO["session"] = onnxruntime.InferenceSession(str(KOKORO / "kokoro.onnx"), options)
        _KOKORO["vocabulary"] = json.loads((KOKORO / "vocab.json").read_text("utf-8"))["vocab"]
    vocabulary = _KOKORO["vocabulary"]
    tokens = [vocabulary[sign] for sign in job["phonemes"] if sign in vocabulary]
    style = np.zeros((1, 256), np.float32)
    for name, share in job["blend"].items():
        table = np.fromfile(KOKORO / "voices" / f"{name}.bin", np.float32).reshape(-1, 256)
        style += share * table[len(tokens)]
    feed = {
        "tokens": np.array([[0, *tokens, 0]], np.int64),
        "style": style,
        "speed": np.array([job["speed"]], np.float32),
    }
    sound: np.ndarray = _KOKORO["session"].run(None, feed)[0]
    return sound.reshape(-1)


def speak_command(job: Job) -> tuple[np.ndarray, int]:
    """Speak one job with a command-line synthesiser; samples and their rate."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        if job["engine"] == "flite":
            mean = {"slt": 170, "rms": 100, "awb": 130}.get(job["voice"], 105) * job["pitch"]
            command = [
                "flite",
                "-voice",
                job["voice"],
                "--setf",
                f"duration_stretch={job['stretch']:.2f}",
            ]
            command += [
                "--setf",
                f"int_f0_target_mean={mean:.0f}",
                "-t",
                job["say"],
                "-o",
                file.name,
            ]
        else:
            command = [
                "espeak-ng",
                "-v",
                job["voice"],
                "-s",
                str(job["speed"]),
                "-p",
                str(job["pitch"]),
            ]
            command += ["-w", file.name, job["say"]]
        subprocess.run(command, check=True, capture_output=True)
        sound, rate = soundfile.read(file.name, dtype="float32")
    return sound, rate


def resample(sound: np.ndarray, rate: int) -> np.ndarray:
    """Bring a sound to 16 kHz in the frequency domain."""
    if rate == RATE:
        return sound
    size = round(len(sound) * RATE / rate)
    spectrum = np.fft.rfft(sound)
    kept = np.zeros(size // 2 + 1, spectrum.dtype)
    shared = min(len(kept), len(spectrum))
    kept[:shared] = spectrum[:shared]
    return (np.fft.irfft(kept, size) * (size / len(sound))).astype(np.float32)


def trim(sound: np.ndarray) -> np.ndarray:
    """Cut silence before and after the words, leaving 30 ms, and bring the peak to 0.5."""
    peak = float(np.abs(sound).max(initial=0.0))
    if peak == 0.0:
        return sound[:0]
    block = RATE // 100
    energy = np.abs(sound[: len(sound) // block * block]).reshape(-1, block).max(axis=1)
    loud = np.flatnonzero(energy > 0.02 * peak)
    start, stop = max(0, loud[0] - 3) * block, (loud[-1] + 4) * block
    return sound[start:stop] * np.float32(0.5 / peak)


def speak(job: Job) -> tuple[Job, np.ndarray]:
    """Speak one job: float32, 16 kHz, trimmed."""
    if job["engine"] == "kokoro":
        return job, trim(resample(speak_kokoro(job), KOKORO_RATE))
    return job, trim(resample(*speak_command(job)))


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("step", choices=["plan", "speak"])
    parser.add_argument("--engine", choices=sorted(KINDS))
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--words", type=int, default=0, help="sets of single digits")
    parser.add_argument("--sheets", type=int, default=0, help="phrases of the sample job sheets")
    parser.add_argument(
        "--commands", type=int, default=0, help="what can be said, phrase by phrase"
    )
    parser.add_argument("--spelt", type=int, default=0, help="in the spelling alphabet")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=1)
    given = parser.parse_args()
    if given.step == "plan":
        jobs = plan(
            given.engine,
            given.count,
            given.seed,
            given.words,
            sheet_count=given.sheets,
            spellings=given.spelt,
            commands=given.commands,
        )
        given.out.write_text(
            "".join(json.dumps(job, ensure_ascii=False) + "\n" for job in jobs), "utf-8"
        )
        return
    jobs = [json.loads(line) for line in given.jobs.read_text("utf-8").splitlines()]
    position = 0
    with (
        Pool(given.workers) as pool,
        soundfile.SoundFile(f"{given.out}.ogg", "w", RATE, 1, format="OGG", subtype="OPUS") as bank,
        Path(f"{given.out}.jsonl").open("w", encoding="utf-8") as index,
    ):
        for job, sound in pool.imap_unordered(speak, jobs):
            if not len(sound):
                continue
            names = ("engine", "voice", "set", "kind", "say", "forms")
            kept = {key: job[key] for key in names if key in job}
            index.write(json.dumps({**kept, "start": position, "length": len(sound)}) + "\n")
            bank.write(np.concatenate([sound, np.zeros(GAP, np.float32)]))
            position += len(sound) + GAP
    print(f"{len(jobs)} jobs, {position / RATE / 60:.1f} minutes", file=sys.stderr)


if __name__ == "__main__":
    main()
