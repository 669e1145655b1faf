"""Read job sheets; say every mistake with its file, line and field."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from joblog.errors import SheetError
from joblog.sheet.check import check
from joblog.sheet.locate import FieldPath, field_lines, line_of
from joblog.sheet.model import Sheet

LIBRARY = Path(__file__).with_name("library")


@dataclass(frozen=True)
class Problem:
    """One mistake in a sheet."""

    file: str
    line: int
    field: str
    sentence: str

    def __str__(self) -> str:
        """Return 'file:line: field: sentence'."""
        where = f"{self.file}:{self.line}"
        return (
            f"{where}: {self.field}: {self.sentence}" if self.field else f"{where}: {self.sentence}"
        )


def problems_in(text: str, name: str) -> tuple[Sheet | None, list[Problem]]:
    """Return the sheet in ``text`` (None where it has no valid form) and all its mistakes."""
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        return None, [_toml_problem(error, name)]
    lines = field_lines(text)

    def at(path: FieldPath, sentence: str) -> Problem:
        return Problem(name, line_of(lines, path), _dotted(path), sentence)

    try:
        sheet = Sheet.model_validate(data)
    except ValidationError as error:
        details = error.errors(include_url=False)
        return None, [at(tuple(d["loc"]), _form_sentence(d)) for d in details]
    return sheet, [at(c.path, c.sentence) for c in check(sheet)]


def sheet_from_text(text: str, name: str = "sheet") -> Sheet:
    """Return the sheet written in ``text`` (TOML); ``name`` is what mistakes are reported under."""
    sheet, problems = problems_in(text, name)
    if problems or sheet is None:
        more = len(problems) - 1
        rest = f" (and {more} more: 'joblog sheet check' lists all)" if more else ""
        raise SheetError(f"{problems[0]}{rest}")
    return sheet


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
        return file.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise SheetError(f"{path}: is not UTF-8 text; save the sheet as UTF-8.") from None
    except OSError as error:
        raise SheetError(f"{path}: can't be read ({error.strerror}); check its name.") from None


def library() -> dict[str, Path]:
    """Return the shipped sheets: key -> file."""
    return {p.stem: p for p in sorted(LIBRARY.glob("*.toml"))}


def _dotted(path: FieldPath) -> str:
    return "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in path).lstrip(".")


def _toml_problem(error: tomllib.TOMLDecodeError, name: str) -> Problem:
    found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    line = int(found[1]) if found else 1
    said = re.sub(r" \(at [^)]*\)$", "", str(error))
    return Problem(name, line, "", f"is not TOML here: {said[0].lower()}{said[1:]}")


def _form_sentence(detail: ErrorDetails) -> str:
    """Say one pydantic complaint in a sheet author's words."""
    kind = detail["type"]
    field = str(detail["loc"][-1]) if detail["loc"] else ""
    if kind == "missing":
        return f"'{field}' is missing; add it here"
    if kind == "extra_forbidden":
        return f"'{field}' is not a field of this table; check its spelling or take it out"
    if kind == "string_pattern_mismatch":
        pattern = detail["ctx"]["pattern"]
        if "|()" in pattern:
            return (
                f"{detail['input']!r} can't be spoken: write lower-case words, "
                "with numbers as words, and | ( ) [ ] for variants"
            )
        return f"{detail['input']!r} is no key: use lower-case words joined by hyphens"
    message = detail["msg"].removeprefix("Input should be ").removeprefix("Value error, ")
    return f"{detail['input']!r} can't be used: it should be {message}"
