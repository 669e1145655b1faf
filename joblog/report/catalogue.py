"""Messages for translators: collected from the source, kept in ``locale/``.

``python -m joblog.report.catalogue es`` brings ``locale/es.po`` and the texts of the shipped sheets
in ``locale/sheets/es.po`` up to date: new messages come in
untranslated, old translations stay, messages that nobody says any more are dropped. A new language
starts the same way, with its code.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from joblog.job.guard_unit import whys
from joblog.report.language import LOCALES
from joblog.sheet.load import library, load_sheet
from joblog.sheet.model import Sheet

_ROOM = Path(__file__).parent
_FIXED = datetime(2026, 1, 1, tzinfo=UTC)  # a catalogue's date says nothing; the history does


def messages() -> list[str | tuple[str, ...]]:
    """Return every message that the report's own source says; pairs have a plural."""
    found: dict[str | tuple[str, ...], None] = {}
    for path in sorted(_ROOM.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            texts = _texts(node)
            if texts:
                found.setdefault(texts[0] if len(texts) == 1 else texts)
    return list(found)


def _texts(node: ast.AST) -> tuple[str, ...]:
    """Return the literal messages of one call of ``say`` or ``count``, () for anything else."""
    if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
        return ()
    wanted = {"say": 1, "count": 2}.get(node.func.attr, 0)
    texts = [a.value for a in node.args[:wanted] if isinstance(a, ast.Constant)]
    return tuple(t for t in texts if isinstance(t, str)) if len(texts) == wanted else ()


def sheet_messages() -> list[str | tuple[str, ...]]:
    """Return the texts of the shipped job sheets that a customer or expert reads."""
    found: dict[str | tuple[str, ...], None] = {}
    for path in library().values():
        for text in sheet_texts(load_sheet(path)):
            found.setdefault(text)
    return list(found)


def sheet_texts(sheet: Sheet) -> Iterator[str]:
    """Yield the texts of one sheet that a report prints."""
    yield sheet.sheet.title
    yield sheet.sheet.summary
    if sheet.sheet.next_due:
        yield from sheet.sheet.next_due.watch
    yield from whys(sheet.applies.not_to)
    yield from (caution.text for caution in sheet.cautions)
    for fluid in sheet.fluids:
        yield fluid.name
        if fluid.specification:
            yield fluid.specification
    yield from sheet.conditions.values()
    for part in sheet.parts:
        yield part.name
        if part.fitted:
            yield part.fitted
    yield from (tool.name for tool in sheet.tools if tool.highest or tool.extension)
    for step in sheet.steps:
        yield step.title
        if step.customer:
            yield step.customer
        if step.torque:
            yield step.torque.fastener
        if step.reading:
            yield step.reading.name


def updated(path: Path, code: str, wanted: Iterable[str | tuple[str, ...]]) -> Catalog:
    """Return the catalogue at ``path`` with the messages ``wanted`` and no others."""
    old = Catalog(locale=code)
    if path.exists():
        with path.open("rb") as file:
            old = read_po(file, locale=code)
    new = Catalog(
        locale=code,
        project="joblog",
        creation_date=_FIXED,
        revision_date=_FIXED,
        fuzzy=False,
        version="1",
        copyright_holder="joblog",
        msgid_bugs_address="none",
        last_translator="joblog",
        language_team="joblog",
        header_comment="# Messages of the report; see catalogue.py. Licence: that of joblog.",
    )
    for message in wanted:
        known = old.get(message[0] if isinstance(message, tuple) else message)
        new.add(message, known.string if known else None)
    return new


def untranslated(catalogue: Catalog) -> list[str]:
    """Return the messages that have no translation yet."""
    ids = [(m.id, m.string) for m in catalogue if m.id]
    return [str(i) for i, s in ids if not s or (isinstance(s, tuple | list) and not all(s))]


def main(codes: list[str]) -> int:
    """Update the catalogues of these languages and say what is still to be translated."""
    for code in codes:
        for path, wanted in (
            (LOCALES / f"{code}.po", messages()),
            (LOCALES / "sheets" / f"{code}.po", sheet_messages()),
        ):
            catalogue = updated(path, code, wanted)
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("wb") as file:
                write_po(file, catalogue, no_location=True, sort_output=False, width=100)
            missing = untranslated(catalogue)
            print(f"{path.name}: {len(catalogue)} messages, {len(missing)} to be translated")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
