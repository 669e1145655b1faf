"""Work orders from the shop's own program: a CSV file, read strictly.

One row is one order. The first row names the columns, in any order; see ``COLUMNS``. Separators are
comma, semicolon or tab; UTF-8 (with or without a byte order mark), UTF-16 with one, or Windows-1252
[format: RFC 4180, and what spreadsheet programs make of it]. A file with a mistake is refused whole
with one sentence and its line, so that no half list is worked on; what can be left out without harm
is a remark. A row that asks for a job sheet that isn't there is left out alone: the other rows are
well.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import date

from joblog.errors import InputError
from joblog.measure.vin import LENGTH as VIN_LENGTH
from joblog.measure.vin import check_vin
from joblog.web.meters import UNITS, is_reading

# Column -> what else it may be called in the first row.
COLUMNS: dict[str, tuple[str, ...]] = {
    "order": ("order number", "work order", "number"),
    "date": ("day",),
    "plate": ("registration", "licence plate", "license plate"),
    "vin": (),
    "year": ("model year",),
    "make": (),
    "model": (),
    "type": ("gearbox", "unit", "unit type"),
    "engine": (),
    "odometer": ("mileage",),
    "odometer_unit": (),
    "customer": ("customer name",),
    "technician": (),
    "advisor": (),
    "complaint": ("concern", "came for"),
    "sheet": ("job sheet",),
}
MOST = 5_000  # orders of one file
LONGEST = 500  # characters of one field
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class Orders:
    """What a file holds: orders by column (empty ones left out), remarks, and rows left out."""

    rows: tuple[dict[str, str], ...]
    remarks: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()


@dataclass
class _Reading:
    """Where the reading stands: the columns, remarks, and in which line an order was first seen."""

    columns: list[str]
    remarks: list[str]
    sheets: Collection[str] | None = None  # keys of the sheets that there are; None: not asked
    refused: list[str] = field(default_factory=list)
    rows: dict[str, dict[str, str]] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)


def read_orders(data: bytes, sheets: Collection[str] | None = None) -> Orders:
    """Return the orders of a CSV file; raises InputError with the line of the first mistake.

    ``sheets`` are the keys of the job sheets that there are: an order for another is refused.
    """
    text, remarks = _text(data)
    rows = _rows(text, _separator(text))
    line, head = next(rows, (1, []))
    reading = _Reading(_columns(head, line, remarks), remarks, sheets)
    for line, row in rows:
        _take(reading, line, row)
        if len(reading.rows) > MOST:
            raise InputError(f"Line {line}: more than {MOST} orders; import one day at a time.")
    if not reading.rows and not reading.refused:
        raise InputError("The file has no orders under its first row; export it again.")
    found, told = tuple(reading.rows.values()), tuple(reading.remarks)
    return Orders(found, told, tuple(reading.refused))


def _text(data: bytes) -> tuple[str, list[str]]:
    if data[:4] == b"PK\x03\x04" or data[:4] == b"\xd0\xcf\x11\xe0":
        raise InputError("That is a spreadsheet, not a CSV file; save it as CSV and try again.")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), []
        except UnicodeDecodeError:
            raise InputError("The file's end is damaged; export it again.") from None
    if not data.strip():
        raise InputError("The file is empty; export the orders again.")
    if b"\0" in data:
        raise InputError("That is no text file; export the orders as CSV.")
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            f"Line {line} has signs that can't be read; export the file as UTF-8."
        ) from None
    return text, ["The file is not UTF-8; it was read as Windows-1252: check names with accents."]


def _separator(text: str) -> str:
    """Return the separator that makes the most known columns of the first row."""
    head = text.lstrip("\r\n").split("\n", 1)[0]
    return max(",;\t", key=lambda sign: sum(_known(name) != "" for name in head.split(sign)))


def _known(name: str) -> str:
    """Return the column that a name in the first row means, '' for none."""
    plain = re.sub(r"[\s_-]+", " ", name.strip(' "\r').lower())
    for column, others in COLUMNS.items():
        if plain in (column.replace("_", " "), *others):
            return column
    return ""


def _rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Yield (line, fields) of every row that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    start = 1
    while True:
        try:
            row = next(reader, None)
        except csv.Error as error:
            why = "a quotation mark is not closed" if "end of data" in str(error) else str(error)
            raise InputError(f"Line {start}: {why}; correct it and import again.") from None
        if row is None:
            return
        if any(text.strip() for text in row):
            yield start, row
        start = reader.line_num + 1


def _columns(head: list[str], line: int, remarks: list[str]) -> list[str]:
    columns = [_known(name) for name in head]
    if "order" not in columns:
        raise InputError(
            f"Line {line} must name the columns, one of them 'order'; the names are: "
            f"{', '.join(COLUMNS)}."
        )
    twice = next((c for c in columns if c and columns.count(c) > 1), None)
    if twice:
        raise InputError(f"Line {line}: two columns mean '{twice}'; take one out.")
    strange = [n.strip() for n, c in zip(head, columns, strict=True) if not c and n.strip()]
    if strange:
        remarks.append(f"Columns not used: {', '.join(strange)}.")
    return columns


def _take(reading: _Reading, line: int, row: list[str]) -> None:
    """Add one row; raises InputError for a mistake in it."""
    columns = reading.columns
    if len(row) != len(columns):
        few = len(row) < len(columns)
        raise InputError(
            f"Line {line} has {len(row)} {'field' if len(row) == 1 else 'fields'}, but the first "
            f"row names {len(columns)}; "
            + (
                "leave a field empty where nothing is known, but keep its separator."
                if few
                else "put texts that hold the separator into quotation marks."
            )
        )
    fields = {c: " ".join(v.split()) for c, v in zip(columns, row, strict=True) if c}
    order = {column: value for column, value in fields.items() if value}
    long = next((c for c, v in order.items() if len(v) > LONGEST), None)
    if long:
        raise InputError(f"Line {line}: '{long}' is longer than {LONGEST} characters.")
    number = order.get("order", "")
    if not number:
        raise InputError(f"Line {line} has no order number; every order needs one.")
    _numbers(order, line)
    _vin(order, line, reading.remarks)
    unknown = _unknown_sheet(order, reading.sheets)
    if unknown:
        reading.refused.append(f"Line {line}: order {number} was left out: {unknown}")
        return
    known = reading.rows.get(number)
    if known is not None and known != order:
        first = reading.lines[number]
        raise InputError(
            f"Line {line}: order {number} stands in line {first} already, with other words; keep "
            "one of them."
        )
    if known is not None:
        reading.remarks.append(f"Line {line}: order {number} stands there twice; taken once.")
    reading.rows[number] = order
    reading.lines.setdefault(number, line)


def _numbers(order: dict[str, str], line: int) -> None:
    day = order.get("date", "")
    if day and not _is_day(day):
        raise InputError(f"Line {line}: the date '{day}' must look like 2026-11-25.")
    year = order.get("year", "")
    if year and not re.fullmatch(r"(19|20)\d\d", year):
        raise InputError(f"Line {line}: the model year '{year}' must have four figures.")
    _meter(order, line)


def _meter(order: dict[str, str], line: int) -> None:
    count, unit = order.get("odometer", ""), order.get("odometer_unit", "").lower()
    if unit not in UNITS:
        raise InputError(
            f"Line {line}: an odometer or hour meter counts in mi, km or h, not in '{unit}'."
        )
    if count and not is_reading(count, UNITS[unit]):
        hours = UNITS[unit] == "h"
        what, kind = ("hour meter", "number") if hours else ("odometer", "whole number")
        raise InputError(
            f"Line {line}: the {what} '{count}' must be a {kind}, without commas or units."
        )
    if unit:
        order["odometer_unit"] = UNITS[unit]


def _unknown_sheet(order: dict[str, str], sheets: Collection[str] | None) -> str:
    """Return what is wrong with the order's job sheet, '' where nothing is; case doesn't count."""
    key = order.get("sheet", "")
    if not key or sheets is None:
        return ""
    known = next((name for name in sheets if name.lower() == key.lower()), "")
    if known:
        order["sheet"] = known
        return ""
    return f"there is no job sheet '{key}'; there are {', '.join(sorted(sheets))}."


def _is_day(text: str) -> bool:
    try:
        return _ISO_DAY.fullmatch(text) is not None and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _vin(order: dict[str, str], line: int, remarks: list[str]) -> None:
    """Leave a VIN out that can't be right: it is read at the vehicle instead."""
    vin = order.get("vin", "")
    if not vin:
        return
    order["vin"] = vin.upper().replace(" ", "")
    report = check_vin(vin)
    if len(report.vin) == VIN_LENGTH and not report.acceptable:
        del order["vin"]
        remarks.append(
            f"Line {line}: the VIN {vin} can't be right and was left out; scan it at the vehicle."
        )
