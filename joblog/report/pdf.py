"""The report as PDF/A-3a and PDF/UA-1, with the record and the report's data attached.

The typesetter gets a folder with the layout, the pictures and ``data.json``; every word reaches it
as a string in that file, so nothing that anyone said can become markup. The same report gives the
same bytes: the only time in the file is that of the record's last entry.
"""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import typst

from joblog.errors import StoreError
from joblog.report.fonts import FOLDER, not_covered
from joblog.report.model import Report
from joblog.report.text import breakable

TEMPLATE = Path(__file__).with_name("templates") / "report.typ"
STANDARDS: list[Literal["a-3a", "ua-1"]] = ["a-3a", "ua-1"]
REMEMBERED = 10  # documents whose parts the typesetter keeps, in case they are wanted again
RECORD, DATA = "record.jsonl", "report.json"
_MISSING = "□"
_PRE_UNIX = datetime(1970, 1, 1, tzinfo=UTC)


@lru_cache
def _fonts() -> Any:
    # Only the report's own fonts: those of a machine would change the bytes from one to the next.
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FOLDER)]
    )


def render_pdf(report: Report, record_jsonl: bytes = b"") -> bytes:
    """Return the PDF with ``record_jsonl`` attached as ``record.jsonl``, if there is one.

    Raises StoreError where the disk refuses the typesetter's scratch folder.
    """
    try:
        with tempfile.TemporaryDirectory(prefix="joblog-report-") as folder:
            return _compile(Path(folder), report, record_jsonl)
    except OSError as error:
        raise StoreError(f"the report can't be typeset, the disk refuses it: {error}") from error


def _compile(folder: Path, report: Report, record_jsonl: bytes) -> bytes:
    for key, data in report.images.items():
        (folder / _name(key, data)).write_bytes(data)
    (folder / RECORD).write_bytes(record_jsonl)
    (folder / DATA).write_bytes(report.to_json())
    layout = layout_data(report) | {"has_record": bool(record_jsonl)}
    text = json.dumps(layout, ensure_ascii=False)
    (folder / "data.json").write_text(text, encoding="utf-8")
    root: Any = str(folder)  # the stub ties its type to that of the input
    compiled = typst.compile(
        TEMPLATE.read_bytes(),
        root=root,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        format="pdf",
        pdf_standards=[*STANDARDS],
        timestamp=_timestamp(report),
    )
    _forget()
    if not isinstance(compiled, bytes):
        raise TypeError("the typesetter gave no PDF")
    return compiled


def _forget() -> None:
    """Typeset empty documents until the typesetter has let the report go.

    Ten reports with seven photos each would stay, 350 MB; empty ones take 0.05 s in all, and a
    report that is typeset again hardly longer.
    """
    for _ in range(REMEMBERED + 1):
        typst.compile(b"", format="pdf", font_paths=_fonts(), ignore_system_fonts=True)


def _timestamp(report: Report) -> int:
    if not report.created_at:
        return 0
    when = datetime.fromisoformat(report.created_at)
    return max(int((when - _PRE_UNIX).total_seconds()), 0)


def _name(key: str, data: bytes) -> str:
    return f"{key}.png" if data.startswith(b"\x89PNG") else f"{key}.jpg"


def layout_data(report: Report) -> dict[str, Any]:
    """Return what the layout reads: the report as JSON, made printable in the fonts at hand."""
    data = report.to_dict()
    missing = not_covered(_words(data))
    files = {key: _name(key, image) for key, image in report.images.items()}
    printable: dict[str, Any] = _printable(data, missing, files)
    printable["shop"]["logo_ratio"] = float(report.shop.logo_ratio)
    printable |= {
        "footer": " · ".join(
            _shortened(_replaced(x, missing))
            for x in (report.shop.name, report.title, report.order, report.times)
            if x
        ),
        "keywords": [x for x in (report.final_hash[:16], report.kicker) if x],
        "hash_lines": [report.final_hash[i : i + 32] for i in range(0, len(report.final_hash), 32)],
        "letters_missing": bool(missing),
    }
    return printable


def _shortened(text: str, most: int = 44) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _words(value: Any) -> set[str]:
    """Return every character in ``value``, at any depth."""
    if isinstance(value, str):
        return set(value)
    if isinstance(value, dict):
        return set().union(*(_words(x) for x in value.values()))
    if isinstance(value, list | tuple):
        return set().union(*(_words(x) for x in value))
    return set()


def _printable(value: Any, missing: set[str], files: dict[str, str]) -> Any:
    if isinstance(value, str):
        if value in files:
            return files[value]
        if value.startswith("<svg"):
            return _replaced(value, missing)
        return breakable(_replaced(value, missing).replace("\u202f", "\u00a0"))
    if isinstance(value, dict):
        return {k: _printable(v, missing, files) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(v, missing, files) for v in value]
    return value


def _replaced(text: str, missing: set[str]) -> str:
    if not missing.intersection(text):
        return text
    return "".join(_MISSING if char in missing else char for char in text)
