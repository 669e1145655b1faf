"""``joblog voice``: learn, list and forget technicians' voices without a browser."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from joblog.errors import Exit, InputError

PAUSE = 1.0  # seconds of silence behind a row; digits are read with shorter ones between them


def add_voice(subparsers: argparse._SubParsersAction[argparse.ArgumentParser], beside: str) -> None:
    """Add ``joblog voice``."""
    voice = subparsers.add_parser(
        "voice", help="teach joblog a technician's voice, so that digits are heard more surely"
    )
    what = voice.add_subparsers(dest="voice_command", metavar="ACTION", required=True)
    learn = what.add_parser(
        "learn",
        help="read rows of digits aloud, and let joblog learn from them",
        description="Shows one row of digits after the other; read each aloud, digit by digit, in "
        "quiet. What is read is not kept, only what was learnt. SOURCE is as for 'joblog listen'.",
    )
    learn.add_argument("name", metavar="NAME", help="the technician, as jobs name them")
    learn.add_argument("--source", default="mic", metavar="SOURCE", help="default: mic")
    learn.set_defaults(run=run_learn)
    listed = what.add_parser("list", help="print whose voices are known")
    listed.set_defaults(run=run_list)
    forget = what.add_parser("forget", help="delete what was learnt of a voice")
    forget.add_argument("name", metavar="NAME")
    forget.set_defaults(run=run_forget)
    for parser in (learn, listed, forget):
        parser.add_argument("--data", help=beside)


def run_learn(args: argparse.Namespace) -> int:
    """Show the rows, listen to them, learn."""
    from joblog.audio.segment import Cut, Segmenter
    from joblog.audio.sources import open_source
    from joblog.speech.engines import get_engine
    from joblog.speech.lesson import Lesson, second_ear_of, spaced, summary
    from joblog.speech.voices import Voices
    from joblog.web.other_words import other_words

    lesson = Lesson(args.name)
    engine = get_engine()
    ear = second_ear_of(engine)
    segmenter = Segmenter(args.source, cut=Cut(hangover=PAUSE))
    print(f"Read aloud, digit by digit, in one go: {spaced(lesson.wanted)}", flush=True)
    for block in open_source(args.source):
        for utterance in segmenter.feed(block):
            told = lesson.take(engine, utterance.samples) if lesson.wanted else ""
            if told and lesson.stuck:
                lesson.leave_out()
                told = f"This one is left out. Now: {spaced(lesson.wanted)}"
            if lesson.wanted:
                print(told or f"Good. Now: {spaced(lesson.wanted)}", flush=True)
        if not lesson.wanted:
            break
    for utterance in segmenter.flush() if lesson.wanted else ():
        lesson.take(engine, utterance.samples)
    if not lesson.enough:
        raise InputError(f"only {len(lesson.read)} rows were heard; read them again, in quiet.")
    print("joblog learns the voice; that takes a minute or two.", flush=True)
    learnt, kept = lesson.learn(ear, Voices(_folder(args.data)), other_words(), _show)
    print(file=sys.stderr)
    print(summary(lesson.name, learnt, kept))
    return int(Exit.OK if kept is not None else Exit.FAILED)


def _show(share: float) -> None:
    print(f"\r{share:4.0%}", end="", file=sys.stderr, flush=True)


def run_list(args: argparse.Namespace) -> int:
    """Print the voices, one a line."""
    from joblog.speech.voices import Voices

    known, wrong = Voices(_folder(args.data)).listed()
    for sentence in wrong:
        print(f"joblog: {sentence}", file=sys.stderr)
    if not known and not wrong:
        print("No voice is known yet; 'joblog voice learn NAME' learns one.")
    for voice in known:
        print(
            f"{voice.name}  since {voice.since}  {voice.after} of {voice.trials} test readings "
            f"right, {voice.before} before"
        )
    return int(Exit.FAILED if wrong else Exit.OK)


def run_forget(args: argparse.Namespace) -> int:
    """Delete a voice."""
    from joblog.speech.voices import Voices, plain

    if not Voices(_folder(args.data)).forget(args.name):
        raise InputError(f"no voice of {plain(args.name)} is known; 'joblog voice list' has all.")
    print(f"The voice of {plain(args.name)} is deleted.")
    return int(Exit.OK)


def _folder(data: str | None) -> Path:
    from joblog.record.store import data_folder

    return data_folder(data)
