"""Command line of the audio room: ``joblog listen``."""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from joblog.errors import DeviceError, Exit, InputError, StoreError, UsageError

if TYPE_CHECKING:
    from joblog.audio.segment import Segmenter
    from joblog.audio.types import Utterance
    from joblog.job.noting import Noted, NoteTaker
    from joblog.readback.speaker import Speaker
    from joblog.speech.breath import Breath, Said

TO_SAY = 4  # answers that wait while somebody speaks; older ones are not worth saying any more


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this room's commands."""
    listen = subparsers.add_parser(
        "listen",
        help="listen to a microphone, file or stream and say which phrases were spoken",
        description="Cuts sound into utterances and finds the phrase of each. SOURCE is 'mic', "
        "'mic:NAME', a sound file, '-' for standard input, 'tcp:HOST:PORT' to fetch from a sender "
        "or 'listen:HOST:PORT' to wait for one. Streams are raw little-endian samples (see --rate) "
        "or start with a WAV header; files that end in .raw or .pcm have no header.",
    )
    what = listen.add_mutually_exclusive_group()
    what.add_argument("--grammar", type=Path, metavar="FILE.gram", help="a JSGF phrase grammar")
    what.add_argument("--sheet", metavar="SHEET", help="the phrases of a job sheet")
    listen.add_argument("--source", default="mic", metavar="SOURCE", help="default: mic")
    listen.add_argument("--engine", default="joblog", help="joblog (default) or vosk")
    listen.add_argument("--jsonl", action="store_true", help="print one JSON object an utterance")
    listen.add_argument(
        "--rate", type=int, default=16_000, help="Hz of a raw stream or file (16000)"
    )
    listen.add_argument(
        "--channels", type=int, default=1, help="channels of a raw stream or file (1)"
    )
    listen.add_argument("--bits", type=int, default=16, help="bits of a raw stream or file (16)")
    listen.add_argument("--meter", action="store_true", help="show the level on standard error")
    listen.add_argument("--keep", type=Path, metavar="DIR", help="keep each utterance as FLAC")
    listen.add_argument(
        "--aloud", action="store_true", help="say what was understood; deaf while it sounds"
    )
    listen.add_argument("--devices", action="store_true", help="list the microphones and end")
    listen.set_defaults(run=_listen)


def _listen(args: argparse.Namespace) -> int:
    if args.devices:
        return _list_devices()
    if args.grammar is None and args.sheet is None:
        raise UsageError("say what to listen for: --grammar FILE.gram or --sheet SHEET.")
    from joblog.audio.pcm import PcmFormat
    from joblog.audio.segment import Segmenter
    from joblog.audio.sources import open_source
    from joblog.speech.breath import Breath

    form = PcmFormat(args.rate, args.channels, args.bits)
    if args.keep:
        _make_folder(args.keep)
    hear, notes = _hearing(args)
    segmenter = Segmenter(args.source, live=args.source.partition(":")[0] == "mic")
    speaker = _speaker(segmenter) if args.aloud else None
    breath = Breath()
    to_say: deque[Noted] = deque(maxlen=TO_SAY)
    for block in open_source(args.source, form):
        ended = segmenter.feed(block)
        if args.meter:
            _show_level(segmenter.level, segmenter.floor)
        for noted in _noted(breath, hear, notes, ended, segmenter.pause):
            _answer(args, noted)
            to_say.append(noted)
        if speaker is not None and segmenter.pause > 0:  # nobody is in the middle of a phrase
            _say(speaker, to_say)
            to_say.clear()
    for noted in _noted(breath, hear, notes, segmenter.flush(), math.inf):
        _answer(args, noted)
        to_say.append(noted)
    if speaker is not None:
        _say(speaker, to_say)
        speaker.close()
        if speaker.trouble:
            raise DeviceError(speaker.trouble)
    return int(Exit.OK)


def _make_folder(folder: Path) -> None:
    """Make the folder of ``--keep``; told before anybody speaks where nothing can be kept in it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or error
        raise InputError(
            f"The folder {folder} can't be made ({reason}); name another with --keep."
        ) from error
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"The folder {folder} may not be written to; name another with --keep.")


def _keep(utterance: Utterance, folder: Path) -> Path:
    """Write the sound of an utterance into ``folder``; return its file."""
    from joblog.audio.encode import flac_bytes

    kept = folder / f"{utterance.started:09.2f}.flac"
    try:
        kept.write_bytes(flac_bytes(utterance.samples))
    except OSError as error:
        reason = error.strerror or error
        raise StoreError(
            f"{kept} can't be written ({reason}); free some space or name another --keep."
        ) from error
    return kept


def _speaker(segmenter: Segmenter) -> Speaker:
    from joblog.readback.clips import load_clips
    from joblog.readback.speaker import Speaker

    return Speaker(load_clips(), segmenter)


def _say(speaker: Speaker, to_say: Iterable[Noted]) -> None:
    """Say what was understood, 'say again' where it was not clear, nothing where nobody spoke."""
    if speaker.trouble:
        raise DeviceError(speaker.trouble)
    for noted in to_say:
        hearing = noted.said.hearing
        if hearing.verdict == "accept":
            speaker.say("noted." if noted.note else f"{hearing.text}.", "ok")
        elif hearing.verdict == "ask":
            speaker.say("say again.", "again")


def _hearing(args: argparse.Namespace) -> tuple[Callable[[Any], Any], NoteTaker | None]:
    """Return the function from samples to a hearing, and who takes notes where there is a sheet.

    The engine starts before the sound does.
    """
    from joblog.speech.engines import get_engine, warm_up
    from joblog.speech.grammar import Grammar

    if args.sheet is None:
        grammar, sheet = Grammar.from_file(args.grammar), None
    else:
        from joblog.job.grammar import grammar_for_sheet
        from joblog.sheet.load import library, load_sheet

        sheet = load_sheet(library().get(args.sheet, args.sheet))
        grammar = grammar_for_sheet(sheet)
    engine = get_engine(args.engine)
    warm_up(engine, grammar)
    notes = None
    if sheet is not None:
        from joblog.job.noting import NoteTaker

        notes = NoteTaker(engine, sheet)
    return lambda samples: engine.hear(samples, grammar), notes


def _noted(
    breath: Breath,
    hear: Callable[[Any], Any],
    notes: NoteTaker | None,
    ended: Sequence[Utterance],
    pause: float,
) -> Iterator[Noted]:
    """Yield what counts as said once ``ended`` was spoken, and ``pause`` seconds of silence."""
    from joblog.job.noting import Noted
    from joblog.speech.breath import asked_again

    def looked(found: Iterable[Said]) -> Iterator[Noted]:
        for said in map(asked_again, found):
            yield from [Noted(said)] if notes is None else notes.look(said)

    for utterance in ended:
        if notes is not None and notes.expects(utterance):
            yield from looked(breath.release())
            yield from notes.dictated(utterance)
        else:
            yield from looked(breath.heard(utterance, hear))
    if breath.silent(ended, pause):
        yield from looked(breath.release())


def _answer(args: argparse.Namespace, noted: Noted) -> None:
    hearing, utterance = noted.said.hearing, noted.said.utterance
    answer = {
        "started": round(utterance.started, 3),
        "duration": round(utterance.duration, 3),
        "text": f"{hearing.text} {noted.note}".strip(),
        "accepted": hearing.verdict == "accept",
        "verdict": str(hearing.verdict),
        "confidence": None if noted.dictated else hearing.confidence,
        "alternatives": [
            {"text": other.text, "confidence": other.confidence} for other in hearing.alternatives
        ],
        "seconds": round(hearing.seconds, 4),
        "why": hearing.why,
        "engine": hearing.engine,
        "source": utterance.source,
    }
    if noted.note:
        answer["note"] = noted.note
    trouble = None
    if args.keep:
        try:
            answer["kept"] = str(_keep(utterance, args.keep))
        except StoreError as error:
            trouble = error  # what was heard is printed first
    print(json.dumps(answer, ensure_ascii=False) if args.jsonl else _line(answer), flush=True)
    if trouble is not None:
        raise trouble


def _line(answer: dict[str, Any]) -> str:
    """Return the answer for people."""
    sure = "" if answer["confidence"] is None else f" {answer['confidence']:.2f}"
    text = f"{answer['started']:8.2f} s  {answer['verdict']}{sure} {answer['text']!r}"
    return f"{text} ({answer['why']})" if answer["why"] else text


def _show_level(level: float, floor: float) -> None:
    from joblog.audio.microphone import meter

    print(f"\r{meter(level, floor)}", end="", file=sys.stderr, flush=True)


def _list_devices() -> int:
    from joblog.audio.microphone import list_devices

    devices = list_devices()
    if not devices:
        raise DeviceError("there is no microphone; plug one in, or give --source FILE.")
    for device in devices:
        mark = "*" if device.default else " "
        print(f"{mark} {device.name}  ({device.channels} inputs, {device.rate} Hz)")
    return int(Exit.OK)
