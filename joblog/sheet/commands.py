"""``joblog sheet``: write, check, show and try job sheets."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from joblog.errors import Exit, InputError, SheetError, StoreError

if TYPE_CHECKING:
    from joblog.job.kit import Kit
    from joblog.sheet.model import Sheet


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``joblog sheet`` with its own subcommands."""
    parser = subparsers.add_parser("sheet", help="write, check, show and try job sheets")
    does = parser.add_subparsers(metavar="WHAT", required=True)

    new = does.add_parser("new", help="write a commented sheet to start from")
    new.add_argument("key", help="its key, such as coolant-change")
    new.add_argument("--out", type=Path, help="the file; KEY.toml if left out")
    new.set_defaults(run=run_new)

    check = does.add_parser("check", help="find every mistake, with file and line")
    check.add_argument("files", nargs="+", metavar="FILE")
    check.set_defaults(run=run_check)

    show = does.add_parser("show", help="the sheet as a page to read")
    show.add_argument("sheet", help="a file, or the key of a shipped sheet")
    show.add_argument("--grammar", action="store_true", help="print its phrase grammar (JSGF)")
    show.add_argument("--html", type=Path, metavar="FILE", help="write a page to read and print")
    show.add_argument("--kit", action="store_true", help="print what to fetch before the job")
    show.set_defaults(run=run_show)

    tries = does.add_parser("try", help="see what phrases would do; nothing is recorded")
    tries.add_argument("sheet", help="a file, or the key of a shipped sheet")
    tries.add_argument("phrases", nargs="*", metavar="PHRASE", help="left out: one per input line")
    tries.add_argument("--audio", nargs="+", type=Path, default=[], metavar="FILE")
    tries.set_defaults(run=run_try)

    does.add_parser("schema", help="print the JSON Schema for editors").set_defaults(run=run_schema)
    does.add_parser("list", help="name the shipped sheets").set_defaults(run=run_list)


def run_new(args: argparse.Namespace) -> int:
    """Write a new sheet; an existing file is never overwritten."""
    from joblog.sheet.skeleton import skeleton

    text = skeleton(args.key)
    path: Path = args.out or Path(f"{args.key}.toml")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(f"{path} is there already; name another file with --out.") from None
    except OSError as error:
        raise StoreError(f"{path} can't be written ({error.strerror}); name another.") from None
    print(f"{path} is written. Fill it in, then: joblog sheet check {path}")
    return int(Exit.OK)


def run_check(args: argparse.Namespace) -> int:
    """Print every mistake of every file; remarks alone are no failure."""
    from joblog.job.check_phrases import PHRASE_RULES, REMARK_RULES
    from joblog.sheet.beside import rule_beside
    from joblog.sheet.load import library, mistakes, problems_in, sheet_text

    failed = False
    for name in args.files:
        own = Path(name)
        rules = (*PHRASE_RULES, *REMARK_RULES, rule_beside(own.parent, library(), own))
        try:
            sheet, problems = problems_in(sheet_text(name), str(name), rules)
        except SheetError as error:  # this file can't be read: the others still are
            print(error)
            failed = True
            continue
        for problem in problems:
            print(problem)
        failed = failed or bool(mistakes(problems))
        if sheet is not None and not mistakes(problems):
            print(f"{name}: no mistakes, {len(sheet.steps)} steps{_where_to(own)}")
    return int(Exit.FAILED if failed else Exit.OK)


def _where_to(own: Path) -> str:
    """Return where a sheet's file goes so that jobs can start with it; '' for a shipped one."""
    from joblog.record.store import data_folder
    from joblog.sheet.load import SHEETS

    folder = data_folder() / SHEETS
    if not own.is_file():
        return ""
    if own.resolve().parent == folder.resolve():
        return "; it stands among the sheets where jobs start"
    return f"; put it into {folder}, and it stands among the sheets where jobs start"


def run_show(args: argparse.Namespace) -> int:
    """Print the sheet for a person, its grammar, or its kit list."""
    from joblog.job.grammar import grammar_text
    from joblog.job.kit import kit_list
    from joblog.sheet.load import load_sheet
    from joblog.sheet.show import sheet_lines

    sheet = load_sheet(args.sheet)
    if args.html:
        _write_page(sheet, args.html)
    elif args.grammar:
        print(grammar_text(sheet), end="")
    elif args.kit:
        print("\n".join(_kit_lines(kit_list(sheet))))
    else:
        print("\n".join(sheet_lines(sheet)))
    return int(Exit.OK)


def _write_page(sheet: Sheet, file: Path) -> None:
    from joblog.job.grammar import grammar_text
    from joblog.job.phrases import help_card
    from joblog.sheet.page import sheet_page

    card = {name: [(p.example, p.does) for p in rows] for name, rows in help_card(sheet).items()}
    try:
        file.write_text(sheet_page(sheet, card, grammar_text(sheet)), encoding="utf-8")
    except OSError as error:
        raise StoreError(f"{file} can't be written ({error.strerror}); name another.") from None
    print(f"{file} is written.")


def _kit_lines(kit: Kit) -> list[str]:
    """Return what to fetch before the job: containers, parts, tools, time, and what won't do."""
    from joblog.sheet.show import folded

    lines = ["Fetch before you start"]
    lines += [f"  {need.sentence}" for need in kit.fluids]
    lines += [f"  {part.quantity} x {part.name} {part.number or ''}".rstrip() for part in kit.parts]
    lines += [f"  {tool.name} {tool.size or ''}".rstrip() for tool in kit.tools]
    lines += [f"  {check.sentence}" for check in kit.wrenches]
    if kit.minutes is not None:
        lines += [f"  Time: about {kit.minutes} minutes"]
    lines += ["", "Mind"]
    for caution in kit.cautions:
        lines += folded("  ! ", caution)
    return lines


def run_try(args: argparse.Namespace) -> int:
    """Say what each phrase would do."""
    import sys

    from joblog.job.explaining import explained
    from joblog.job.meaning import meaning_of_typed
    from joblog.job.misunderstood import why_not_understood
    from joblog.sheet.load import load_sheet

    sheet = load_sheet(args.sheet)
    phrases = list(args.phrases) + [_heard(path, args.sheet) for path in args.audio]
    if not phrases:
        phrases = [line.strip() for line in sys.stdin if line.strip()]
    for phrase in phrases:
        meaning = meaning_of_typed(phrase, sheet)
        if meaning is None:
            print(f"“{phrase}”: not understood. {why_not_understood(phrase, sheet)}")
        else:
            print(f"“{phrase}”: {explained(meaning, sheet)}.")
    return int(Exit.OK)


def _heard(path: Path, sheet: str) -> str:
    """Return what the recogniser hears in a sound file, with the sheet's grammar."""
    from joblog.audio.files import read_audio
    from joblog.job.grammar import grammar_for_sheet
    from joblog.sheet.load import load_sheet
    from joblog.speech.engines import get_engine

    hearing = get_engine().hear(read_audio(path).samples, grammar_for_sheet(load_sheet(sheet)))
    ends = {"accept": "taken", "ask": "asked back", "reject": "ignored"}[hearing.verdict]
    print(f"{path}: heard “{hearing.text}”, {hearing.confidence:.0%} sure: would be {ends}.")
    return hearing.text


def run_schema(_: argparse.Namespace) -> int:
    """Print the JSON Schema of a sheet."""
    from joblog.sheet.model import Sheet

    print(json.dumps(Sheet.model_json_schema(), indent=1))
    return int(Exit.OK)


def run_list(_: argparse.Namespace) -> int:
    """Print key and title of every shipped sheet."""
    from joblog.sheet.load import library, load_sheet

    for key, path in library().items():
        print(f"{key:22} {load_sheet(path).sheet.title}")
    return int(Exit.OK)
