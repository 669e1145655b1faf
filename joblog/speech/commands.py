"""Command line of the speech room: ``joblog hear`` and ``joblog bench speech``."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from joblog.bench import bench_parsers
from joblog.errors import Exit, JoblogError


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this room's commands."""
    hear = subparsers.add_parser(
        "hear", help="say which phrase of a grammar sound files hold, and how sure that is"
    )
    hear.add_argument("files", nargs="+", metavar="FILE", help="sound files of any usual kind")
    what = hear.add_mutually_exclusive_group(required=True)
    what.add_argument("--grammar", type=Path, metavar="FILE.gram", help="a JSGF phrase grammar")
    what.add_argument("--sheet", metavar="SHEET", help="the phrases of a job sheet")
    hear.add_argument("--jsonl", action="store_true", help="print one JSON object a file")
    hear.add_argument("--engine", default="joblog", help="joblog (default) or vosk")
    hear.add_argument(
        "--threads", type=int, default=0, metavar="N", help="cores that one phrase may use"
    )
    hear.set_defaults(run=_hear)

    bench = bench_parsers(subparsers).add_parser(
        "speech", help="recognising phrases in noise, on labelled recordings, beside peers"
    )
    bench.add_argument("folder", type=Path, metavar="FOLDER", help="labelled speech and noise")
    bench.add_argument("--every", type=int, default=1, metavar="N", help="take every Nth only")
    bench.add_argument("--ours", action="store_true", help="leave the peers out")
    bench.set_defaults(run=_bench)
    fit = bench_parsers(subparsers).add_parser(
        "fit", help="fit the recogniser's ranking and confidence on labelled recordings"
    )
    fit.add_argument("folder", type=Path, metavar="FOLDER", help="labelled speech and noise")
    fit.add_argument("--every", type=int, default=1, metavar="N", help="take every Nth only")
    fit.add_argument("--out", type=Path, help="where to write the weights; default: in place")
    fit.set_defaults(run=_fit)


def _hear(args: argparse.Namespace) -> int:
    from joblog.speech.engines import get_engine

    grammar = _grammar(args)
    engine = get_engine(args.engine, args.threads)
    status = Exit.OK
    for name in args.files:
        answer = _hear_file(engine, grammar, name)
        if "error" in answer:
            status = Exit.FAILED
        print(json.dumps(answer, ensure_ascii=False) if args.jsonl else _line(answer), flush=True)
    return int(status)


def _grammar(args: argparse.Namespace) -> Any:
    from joblog.speech.grammar import Grammar

    if args.sheet is None:
        return Grammar.from_file(args.grammar)
    from joblog.job.grammar import grammar_for_sheet
    from joblog.sheet.load import load_sheet

    return grammar_for_sheet(load_sheet(args.sheet))


def _hear_file(engine: Any, grammar: Any, name: str) -> dict[str, Any]:
    from joblog.audio.files import read_audio

    try:
        samples = read_audio(name).samples
        hearing = engine.hear(samples, grammar)
    except JoblogError as error:
        return {"file": name, "error": str(error)}
    return {
        "file": name,
        "text": hearing.text,
        "accepted": hearing.verdict == "accept",
        "confidence": hearing.confidence,
        "alternatives": [
            {"text": other.text, "confidence": other.confidence} for other in hearing.alternatives
        ],
        "seconds": round(hearing.seconds, 4),
        "duration": round(hearing.duration, 3),
        "verdict": str(hearing.verdict),
        "why": hearing.why,
        "engine": hearing.engine,
    }


def _line(answer: dict[str, Any]) -> str:
    """Return the answer for people."""
    if "error" in answer:
        print(f"joblog: {answer['error']}", file=sys.stderr)
        return f"{answer['file']}: could not be read"
    text = f"{answer['file']}: {answer['verdict']} {answer['confidence']:.2f} {answer['text']!r}"
    return f"{text} ({answer['why']})" if answer["why"] else text


def _fit(args: argparse.Namespace) -> int:
    from joblog.speech.fit import run

    run(args.folder, args.every, args.out)
    return int(Exit.OK)


def _bench(args: argparse.Namespace) -> int:
    from joblog.speech.bench import run

    run(args.folder, args.every, args.ours)
    return int(Exit.OK)
