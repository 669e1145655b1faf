"""``joblog bench speech``: every installed recogniser on one labelled folder, in one run.

The folder holds ``commands/`` (sound, ``labels.json`` {file: {slot: value}}, ``commands.gram``),
``digits/`` ({digit}_{speaker}_{take} files and ``digits.gram``), ``noise/`` and ``chatter/``. A
command counts only with every slot right (a slot is a rule of the grammar by that name) and none
too many; a string of digits only with every word right. Commands are mixed with the noises whose
names begin with ``kitchen``, where there is none with every noise; without any noise they are
taken as they are.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from joblog.audio.files import read_audio
from joblog.audio.mixing import mix
from joblog.audio.types import RATE, Samples
from joblog.errors import InputError, UsageError
from joblog.speech.grammar import Grammar
from joblog.speech.types import Engine, Hearing, Verdict

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TOOLS = ("impact-wrench", "air-compressor", "air-blow-gun", "angle-grinder")
Right = Callable[[str], bool]


@dataclass(frozen=True)
class Item:
    """One sound and how to tell whether a sentence is what was spoken; None: nothing was."""

    samples: Samples
    right: Right | None


@dataclass(frozen=True)
class Condition:
    """A row of the table: its name, grammar and sounds."""

    name: str
    grammar: Grammar
    items: Sequence[Item]


@dataclass(frozen=True)
class Score:
    """What one engine made of one condition."""

    total: int
    right: int  # accepted and right
    wrong: int  # accepted and wrong, or accepted though nobody spoke a command
    asked: int  # asked or rejected although the best sentence was right
    seconds: tuple[float, ...]

    def line(self) -> str:
        """Return the figures with their 95 % Wilson intervals."""
        if not self.total:
            return "nothing to measure"
        low, high = wilson(self.right, self.total)
        bad_low, bad_high = wilson(self.wrong, self.total)
        p50, p95 = np.percentile(self.seconds, [50, 95])
        return (
            f"{self.right / self.total:6.1%} right ({low:.1%} to {high:.1%})  "
            f"{self.wrong / self.total:5.1%} silently wrong ({bad_low:.1%} to {bad_high:.1%})  "
            f"{self.asked / self.total:5.1%} asked though right  {p50:.2f} s, 95 % {p95:.2f} s"
        )


def wilson(hits: int, total: int, z: float = 1.96) -> tuple[float, float]:
    """Return the Wilson score interval of a share (E. B. Wilson 1927), 95 % by default."""
    if total == 0:
        return 0.0, 1.0
    share = hits / total
    centre = share + z * z / (2 * total)
    spread = z * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    scale = 1 + z * z / total
    return max(0.0, (centre - spread) / scale), min(1.0, (centre + spread) / scale)


def conditions(folder: Path, every: int) -> Iterator[Condition]:
    """Yield the rows of the table; ``every`` thins the commands and strings for a quick look.

    Raises InputError, naming the file, where the folder is not laid out and labelled as above.
    """
    if every < 1:
        raise UsageError("--every takes a whole number from 1 on: 1 hears all, 10 every tenth.")
    if not (folder / "commands" / "labels.json").is_file():
        raise InputError(f"{folder} has no commands/labels.json; give a labelled speech folder.")
    noises = {p.stem: read_audio(p).samples for p in sorted((folder / "noise").glob("*.flac"))}
    yield from _commands(folder / "commands", noises, every)
    yield from _digits(folder / "digits", noises, max(8, 160 // every))
    yield from _nothing(folder, noises)


def slots_of(grammar: Grammar, text: str, names: frozenset[str]) -> dict[str, str]:
    """Return the slots that a sentence fills: rules of the grammar that are slots by name."""
    parse = grammar.parse(text)
    if parse is None:
        return {}
    return {s.rule: " ".join(parse.words[s.start : s.end]) for s in parse.spans if s.rule in names}


def _commands(folder: Path, noises: dict[str, Samples], every: int) -> Iterator[Condition]:
    labels = _labels(folder / "labels.json")
    grammar = Grammar.from_file(folder / "commands.gram")
    _check_labels(labels, grammar, folder / "labels.json")
    names = frozenset(slot for slots in labels.values() for slot in slots)
    files = sorted(labels)[::every]
    sounds = [read_audio(folder / name).samples for name in files]

    def right(name: str) -> Right:
        return lambda text: slots_of(grammar, text, names) == labels[name]

    if not noises:
        items = [Item(x, right(name)) for x, name in zip(sounds, files, strict=True)]
        yield Condition("commands, as recorded", grammar, items)
    for noise in [n for n in noises if n.startswith("kitchen")] or noises:
        for snr in (6, 12, 18, 24):
            items = [
                Item(mix(x, noises[noise], snr, np.random.default_rng(i)), right(name))
                for i, (x, name) in enumerate(zip(sounds, files, strict=True))
            ]
            yield Condition(f"commands, {noise}, {snr} dB", grammar, items)


def _labels(path: Path) -> dict[str, dict[str, str]]:
    """Return the labelled slots by file name."""
    try:
        labels = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            f"{path} can't be read ({error}); take another copy of the labelled folder."
        ) from None
    if not isinstance(labels, dict) or not all(isinstance(row, dict) for row in labels.values()):
        raise InputError(
            f"{path} must hold an object of slots for each recording's file name, such as "
            '{"one.flac": {"size": "large"}}.'
        )
    return labels


def _check_labels(labels: dict[str, dict[str, str]], grammar: Grammar, path: Path) -> None:
    """Raise InputError where a label can't be met by any sentence: it would count as a mistake."""
    if not labels:
        raise InputError(f"{path} labels no recording; name at least one, with its slots.")
    for name, slots in labels.items():
        for slot, value in slots.items():
            where = f"{path}: {name} has the slot '{slot}'"
            if slot not in grammar.rule_names:
                raise InputError(f"{where}, but no rule of the grammar is called so.")
            if not isinstance(value, str) or not grammar.vocabulary.issuperset(value.split()):
                raise InputError(
                    f"{where} with the value {value!r}, which is not made of words of the grammar; "
                    "write it as it is said there."
                )


def _takes(folder: Path) -> dict[tuple[str, str], list[Path]]:
    """Return the recordings of single digits by speaker and digit."""
    takes: dict[tuple[str, str], list[Path]] = {}
    for path in sorted(folder.glob("*.flac")):
        parts = path.stem.split("_")
        if len(parts) != 3:
            raise InputError(f"{path} must be named DIGIT_SPEAKER_TAKE.flac, as in 7_ann_2.flac.")
        takes.setdefault((parts[1], parts[0]), []).append(path)
    for speaker in {speaker for speaker, _ in takes}:
        missing = [str(d) for d in range(10) if (speaker, str(d)) not in takes]
        if missing:
            raise InputError(f"{folder} lacks the digits {', '.join(missing)} by {speaker}.")
    return takes


def _digits(folder: Path, noises: dict[str, Samples], count: int) -> Iterator[Condition]:
    takes = _takes(folder)
    if not takes:
        return
    grammar = Grammar.from_file(folder / "digits.gram")
    speakers = sorted({speaker for speaker, _ in takes})
    for noise in (None, *(n for n in TOOLS if n in noises)):
        rng = np.random.default_rng(7)
        items = []
        for i in range(count):
            speaker = speakers[i % len(speakers)]
            digits = rng.integers(0, 10, int(rng.integers(2, 5)))
            parts = [np.zeros(RATE // 4, np.float32)]
            for digit in digits:
                files = takes[speaker, str(digit)]
                parts.append(read_audio(files[int(rng.integers(len(files)))]).samples)
                parts.append(np.zeros(int(rng.uniform(0.08, 0.25) * RATE), np.float32))
            sound = np.concatenate([*parts, np.zeros(RATE // 5, np.float32)])
            if noise:
                sound = mix(sound, noises[noise], 6, rng)
            words = " ".join(DIGITS[d] for d in digits)
            items.append(Item(sound, words.__eq__))
        yield Condition(f"digits, {noise or 'clean'}{', 6 dB' if noise else ''}", grammar, items)


def _nothing(folder: Path, noises: dict[str, Samples]) -> Iterator[Condition]:
    """Yield speech that holds no command and tools alone, cut into pieces of three seconds."""
    grammar = Grammar.from_file(folder / "commands" / "commands.gram")
    chatter = [read_audio(p).samples for p in sorted((folder / "chatter").glob("*.flac"))]
    yield Condition(
        "chatter, no command", grammar, [Item(p, None) for x in chatter for p in cut(x)]
    )
    tools = [p for x in noises.values() for p in cut(x)]
    tools.append(np.zeros(3 * RATE, np.float32))
    yield Condition("tools, babble and silence alone", grammar, [Item(p, None) for p in tools])


def cut(sound: Samples, seconds: float = 3.0) -> list[Samples]:
    """Return whole pieces of a sound."""
    size = int(seconds * RATE)
    return [sound[i : i + size] for i in range(0, max(1, len(sound) - size + 1), size)]


def score(engine: Engine, condition: Condition) -> Score:
    """Run one engine over one condition."""
    right = wrong = asked = 0
    seconds = []
    for item in condition.items:
        begun = time.perf_counter()
        hearing = engine.hear(item.samples, condition.grammar)
        seconds.append(time.perf_counter() - begun)
        fits = item.right is not None and item.right(hearing.text)
        if hearing.verdict is Verdict.ACCEPT:
            right += fits
            wrong += not fits
        else:
            asked += fits
    return Score(len(condition.items), right, wrong, asked, tuple(seconds))


class FreeText:
    """A peer: what free notes write down, taken where it is a sentence of the grammar.

    The same model, unrestricted, with the unadapted encoder.
    """

    name = "same model, free text + matching"

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def hear(self, samples: Samples, grammar: Grammar, **_: object) -> Hearing:
        """Accept the transcription where the grammar parses it, after plain normalising."""
        text = self._engine.dictate(samples).lower()
        words = "".join(c if c.isalnum() or c in "' " else " " for c in text).split()
        spelled = [DIGITS[int(w)] if w.isdigit() and len(w) == 1 else w for w in words]
        found = " ".join(spelled)
        known = bool(found) and grammar.parse(found) is not None
        verdict = Verdict.ACCEPT if known else Verdict.REJECT
        return Hearing(found if known else "", verdict, float(known), engine=self.name)


class Classic:
    """A peer: pocketsphinx (GMM acoustic model) with the same JSGF grammar."""

    name = "pocketsphinx, same grammar"

    def __init__(self) -> None:
        from pocketsphinx import Decoder

        self._make = Decoder
        self._decoders: dict[str, object] = {}

    def hear(self, samples: Samples, grammar: Grammar, **_: object) -> Hearing:
        """Accept whatever whole sentence it finds: it has no usable confidence."""
        decoder = self._decoders.get(grammar.text)
        if decoder is None:
            decoder = self._make(lm=None, loglevel="FATAL")
            decoder.add_jsgf_string("g", grammar.text)
            decoder.activate_search("g")
            self._decoders[grammar.text] = decoder
        pcm = (np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes()
        decoder.start_utt()  # type: ignore[attr-defined]
        decoder.process_raw(pcm, no_search=False, full_utt=True)  # type: ignore[attr-defined]
        decoder.end_utt()  # type: ignore[attr-defined]
        best = decoder.hyp()  # type: ignore[attr-defined]
        text = best.hypstr if best else ""
        known = bool(text) and grammar.parse(text) is not None
        verdict = Verdict.ACCEPT if known else Verdict.REJECT
        return Hearing(text if known else "", verdict, float(known), engine=self.name)


def engines(only_ours: bool) -> Iterator[object]:
    """Yield every recogniser that is installed."""
    from joblog.speech.engines import find_vosk_model, get_engine

    ours = get_engine()
    yield ours
    if only_ours:
        return
    yield FreeText(ours)
    try:
        yield Classic()
    except ImportError:
        print("(pocketsphinx is not installed: pip install pocketsphinx for a classic peer)")
    if find_vosk_model() is not None:
        yield get_engine("vosk")


def run(folder: Path, every: int, only_ours: bool) -> None:
    """Print the table."""
    rows = list(conditions(folder, every))
    for engine in engines(only_ours):
        print(f"\n{engine.name}")  # type: ignore[attr-defined]
        for condition in rows:
            line = score(engine, condition).line()  # type: ignore[arg-type]
            print(f"  {condition.name:32} n={len(condition.items):3}  {line}", flush=True)
