"""Read job sheets; say every mistake with its file, line and field."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from joblog.errors import SheetError
from joblog.sheet.check import check
from joblog.sheet.complaints import Complaint
from joblog.sheet.form import form_mistakes, salvaged
from joblog.sheet.locate import FieldPath, field_lines, line_of
from joblog.sheet.model import RECORDED, Sheet
from joblog.sheet.slips import slip_in

SHEETS = "sheets"  # the shop's own, in the folder of the records
LIBRARY = Path(__file__).with_name("library")
LARGEST = 500_000  # bytes; the longest shipped sheet has ten thousand
# Behind a slip in its writing a file can't be read on: better said than taken for a clean sheet.
_REST_FOLLOWS = "Mend this and check again: the rest of the sheet is checked only after that."


@dataclass(frozen=True)
class Problem:
    """One mistake in a sheet; ``remark`` and ``stops`` as in a complaint."""

    file: str
    line: int
    field: str
    sentence: str
    remark: bool = False
    stops: bool = True

    def __str__(self) -> str:
        """Return 'file:line: field: sentence'."""
        parts = (self.field, "remark" if self.remark else "", self.sentence)
        return ": ".join([f"{self.file}:{self.line}", *(part for part in parts if part)])


Rule = Callable[[Sheet], Iterable[Complaint]]


def problems_in(
    text: str, name: str, also: Sequence[Rule] = ()
) -> tuple[Sheet | None, list[Problem]]:
    """Return the sheet in ``text`` (None where it has no valid form) and all its mistakes.

    ``also`` are rules of other rooms. A mistake of form doesn't hide the mistakes of sense behind
    it: what is left without it is checked, too. Only a text that is no TOML hides the rest, and
    says so.
    """
    try:
        data = _toml(text)
    except _NotTomlError as error:
        first = _toml_problem(str(error), name, text)
        return None, [replace(first, sentence=f"{first.sentence}. {_REST_FOLLOWS}")]
    lines = field_lines(_lf(text))

    def at(found: Complaint) -> Problem:
        line, field = line_of(lines, found.path), _dotted(found.path)
        return Problem(name, line, field, found.sentence, found.remark, found.stops)

    try:
        sheet = Sheet.model_validate(data)
    except ValidationError as error:
        form = [Complaint(*mistake) for mistake in form_mistakes(error, data)]
        rest = salvaged(data)
        behind = [c for c in (_senseless(rest, also) if rest else ()) if not c.remark]
        apart = [c for c in behind if not any(_overlap(c.path, f.path) for f in form)]
        return None, sorted(map(at, [*form, *apart]), key=lambda p: p.line)
    return sheet, sorted(map(at, _senseless(sheet, also)), key=lambda p: (p.remark, p.line))


def _senseless(sheet: Sheet, also: Sequence[Rule]) -> list[Complaint]:
    return [*check(sheet), *(complaint for rule in also for complaint in rule(sheet))]


def _overlap(one: FieldPath, other: FieldPath) -> bool:
    """Say whether one path lies within the other: what was filled in is not complained of."""
    shorter = min(len(one), len(other))
    return one[:shorter] == other[:shorter]


def mistakes(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems that are more than remarks."""
    return [problem for problem in problems if not problem.remark]


def sheet_from_text(text: str, name: str = "sheet", also: Sequence[Rule] = ()) -> Sheet:
    """Return the sheet written in ``text`` (TOML); ``name`` is what mistakes are reported under."""
    sheet, problems = problems_in(text, name, also)
    found = [problem for problem in mistakes(problems) if problem.stops]
    if found or sheet is None:
        more = len(found) - 1
        rest = f" (and {more} more: 'joblog sheet check' lists all)" if more else ""
        raise SheetError(f"{found[0]}{rest}")
    return sheet


def recorded_sheet(text: str, name: str) -> Sheet:
    """Return the sheet that a record carries.

    It was checked when its job was opened, by the rules of that day: later rules must not make an
    old record unreadable, so that only its form is asked for here.
    """
    try:
        return Sheet.model_validate(_toml(text), context=RECORDED)
    except _NotTomlError as error:
        raise SheetError(f"{_toml_problem(str(error), name, text)}") from None
    except ValidationError as error:
        path, sentence = form_mistakes(error, {})[0]
        raise SheetError(f"{name}: {_dotted(path)}: {sentence}") from None


def load_sheet(path: str | Path) -> Sheet:
    """Return the sheet in the file ``path``, or the shipped one of that key."""
    return sheet_from_text(sheet_text(path), str(path))


def sheet_text(path: str | Path) -> str:
    """Return the TOML of the file ``path``, or of the shipped sheet of that key."""
    file = Path(path)
    if not file.exists():
        shipped = library()
        if str(path) not in shipped:
            raise SheetError(
                f"{path}: no such file, and no shipped sheet of that name "
                f"(shipped: {', '.join(shipped)})."
            )
        file = shipped[str(path)]
    try:
        with file.open("rb") as opened:
            data = opened.read(LARGEST + 1)
    except OSError as error:
        raise SheetError(f"{path}: can't be read ({error.strerror}); check its name.") from None
    if len(data) > LARGEST:
        raise SheetError(
            f"{path}: is larger than {LARGEST // 1000} kB, which no job sheet is; "
            "name the sheet's own file."
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SheetError(
            f"{path}:{line}: is not UTF-8 text here; save the sheet as UTF-8."
        ) from None


def library() -> dict[str, Path]:
    """Return the shipped sheets: key -> file."""
    return {p.stem: p for p in sorted(LIBRARY.glob("*.toml"))}


def sheets_beside(folder: Path) -> dict[str, Path]:
    """Return the sheets that a shop chooses from: the shipped ones and its own, which win.

    Its own are the ``*.toml`` files in ``sheets`` beside its records in ``folder``.
    """
    return library() | {p.stem: p for p in sorted((folder / SHEETS).glob("*.toml"))}


def _dotted(path: FieldPath) -> str:
    return "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in path).lstrip(".")


class _NotTomlError(Exception):
    """The text is no TOML; the message says where."""


def _lf(text: str) -> str:
    """Return ``text`` without a byte order mark and with line feeds only, as TOML counts lines."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n")


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(_lf(text), parse_float=Decimal)
    except RecursionError:
        raise _NotTomlError("Brackets are nested too deeply") from None
    except ValueError as error:  # TOMLDecodeError, and whole numbers of thousands of digits
        raise _NotTomlError(str(error)) from None


def _toml_problem(said: str, name: str, text: str) -> Problem:
    line, wrong = slip_in(_lf(text), said)
    return Problem(name, line, "", f"is not TOML here: {wrong}")
