"""The ``joblog`` command: each subcommand is a thin door to one room.

A room that has commands keeps them in its ``commands.py`` with one function
``add_commands(subparsers)``; every subparser sets ``run`` to a function that takes the parsed
arguments and returns an exit status.
"""

from __future__ import annotations

import argparse
import codecs
import importlib
import io
import json
import os
import sys

from joblog import __version__
from joblog.errors import Exit, JoblogError

ROOMS_WITH_COMMANDS = (
    "demo",
    "audio",
    "speech",
    "vision",
    "record",
    "sheet",
    "report",
    "readback",
    "web",
)


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with every room's commands."""
    parser = argparse.ArgumentParser(
        prog="joblog", description="Offline job log for technicians whose hands are full."
    )
    parser.add_argument("--version", action="version", version=f"joblog {__version__}")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for room in ROOMS_WITH_COMMANDS:
        importlib.import_module(f"joblog.{room}.commands").add_commands(subparsers)
    return parser


def _escaped(error: UnicodeError) -> tuple[str, int]:
    """Return what the terminal can't show as JSON writes it, so that a line of JSON stays one."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return json.dumps(error.object[error.start : error.end])[1:-1], error.end


def _show_any_name() -> None:
    """Let a file's name be told that the terminal has no letters for, or that is no text at all."""
    codecs.register_error("joblog", _escaped)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="joblog")


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit status; every known failure is one sentence."""
    _show_any_name()
    parser = build_parser()
    if not (sys.argv[1:] if argv is None else argv):
        parser.print_help(sys.stderr)  # who types the bare name asks what there is
        return int(Exit.USAGE)
    args = parser.parse_args(argv)
    try:
        return int(args.run(args))
    except JoblogError as error:
        print(f"joblog: {error}", file=sys.stderr)
        return int(error.exit_code)
    except KeyboardInterrupt:
        print("joblog: stopped by the keyboard; what was recorded is kept.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output has gone (`joblog ... | head`): nothing is left to tell it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(Exit.OK)


if __name__ == "__main__":
    sys.exit(main())
