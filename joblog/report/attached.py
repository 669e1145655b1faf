"""The record and the report's data inside a PDF, and whether they and its pages agree.

``verify_report_pdf`` takes the record out, checks its chain, makes the report again from it with
the options that the PDF remembers, and compares: first the data, then the whole file byte for
byte. The photos are taken from the PDF itself, where they lie unchanged. Figures of earlier
services come from other records; they are quoted with the hash of each and can't be proved here.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from joblog.errors import InputError, JoblogError, RecordError
from joblog.job.replay import replay
from joblog.job.types import JobState
from joblog.record.chain import verify_lines
from joblog.record.entry import Entry
from joblog.report.build import FORMAT, Options, assemble, versions
from joblog.report.images import Shown, size_of
from joblog.report.model import Report
from joblog.report.past import Past
from joblog.report.pdf import DATA, RECORD, render_pdf
from joblog.report.pictures import shown_sha
from joblog.report.settings import ShopSettings
from joblog.sheet.load import recorded_sheet

_UNSEEN = (
    " An altered page would not be seen here: don't rely on this copy's pages; ask the shop for a "
    "report made anew, or for the job's export."
)
_LARGEST = 512 * 2**20  # bytes of one attached file; a record needs a few megabytes


@dataclass(frozen=True)
class Agreement:
    """What a check of a report found; ``sentence`` tells it."""

    agree: bool
    sentence: str
    exact: bool = False  # the pages were made again and are the same, byte for byte


def record_from_pdf(pdf: bytes | Path) -> bytes:
    """Return the ``record.jsonl`` that a report carries.

    Raises InputError where the file can't be read as a PDF, RecordError where it carries none.
    """
    data = _bytes(pdf)
    names = set(_all_attached(data))
    if RECORD not in names and DATA in names:
        if data_from_pdf(data).get("kind") == "history":
            raise RecordError(
                "this is a service history, which quotes records and carries none; "
                "check the report of each service instead"
            )
        raise RecordError(
            f"somebody took {RECORD} out of this report, so that it can't be checked; "
            "ask the shop for the report as it was made"
        )
    return _attached(data, RECORD)


def data_from_pdf(pdf: bytes | Path) -> dict[str, Any]:
    """Return the ``report.json`` that a report carries; raises as ``record_from_pdf``."""
    try:
        data = json.loads(_attached(_bytes(pdf), DATA))
    except ValueError as error:
        raise RecordError(f"the {DATA} attached to the PDF can't be read: {error}") from error
    if not isinstance(data, dict):
        raise RecordError(f"the {DATA} attached to the PDF holds no report")
    return data


def verify_pdf(path: Path) -> tuple[bool, str]:
    """Return whether the report in ``path`` and its record agree, and a sentence about it."""
    found = verify_report_pdf(_bytes(path))
    return found.agree, found.sentence


def verify_report_pdf(pdf: bytes) -> Agreement:
    """Return whether the record in a report is whole and the report says what the record says."""
    verdict, entries = verify_lines(record_from_pdf(pdf))
    if not verdict.whole:
        return Agreement(agree=False, sentence=f"{verdict.sentence} The report can't be trusted.")
    data = data_from_pdf(pdf)
    if data.get("final_hash") != verdict.final_hash:
        return Agreement(
            agree=False, sentence="The report carries the final hash of another record."
        )
    try:
        made = _made_again(pdf, data, entries)
    except (JoblogError, KeyError, TypeError, ValueError) as error:
        return Agreement(
            agree=False, sentence=f"The report can't be made again from its record: {error}."
        )
    return _compared(pdf, data, made)


def _compared(pdf: bytes, data: dict[str, Any], made: Report) -> Agreement:
    again = json.loads(made.to_json())
    then, now = data["made_with"].get("versions"), versions()
    same_rules = isinstance(then, dict) and then.get("rules") == now["rules"]
    one, other = data.get("core"), again["core"]
    if not same_rules:  # what other rules found is no sign of tampering
        one, other = _recorded(one), _recorded(other)
    if one != other:
        return Agreement(
            agree=False,
            sentence="Report and record do NOT agree: they differ in "
            f"{_first_difference(one, other)}.",
        )
    if data.get("core") != again["core"]:
        field = _first_difference(data.get("core"), again["core"])
        return Agreement(
            agree=True,
            sentence="Report and record agree in every value, quantity and photo. The report was "
            f"made by another version of joblog, which judges otherwise (first in {field}): steps, "
            f"findings, wording and pages were not compared.{_UNSEEN}",
        )
    if then != now:
        return Agreement(
            agree=True,
            sentence="Report and record agree in every value, step, photo and finding. The report "
            "was made by other versions of joblog's parts, so its wording and pages were not "
            f"compared.{_UNSEEN}",
        )
    if data != again:
        field = _first_difference(data, again)
        return Agreement(
            agree=False, sentence=f"Report and record do NOT agree: they differ in {field}."
        )
    if render_pdf(made, record_from_pdf(pdf)) != pdf:
        return Agreement(
            agree=False,
            sentence="The record and the data inside are whole and agree, but the pages are NOT "
            "byte for byte those that they give: the file was altered or saved again by another "
            "program. Ask the shop for the report as it was made.",
        )
    return Agreement(
        agree=True,
        sentence="Report and record agree: made again from the record inside, the report is the "
        f"same byte for byte.{_of_photos(made)}",
        exact=True,
    )


def _recorded(core: Any) -> Any:
    """Return of a report's core what stands in the record itself, without any judgement."""
    if not isinstance(core, dict):
        return core
    kept = {key: core.get(key) for key in ("final_hash", "closed", "fluids", "photos")}
    values = core.get("values")
    if isinstance(values, list):  # the fourth says whether it is within its limits
        values = [v[:3] + v[4:] if isinstance(v, list) else v for v in values]
    return kept | {"values": values}


def _of_photos(made: Report) -> str:
    """Return what nobody can tell from the report alone, where it shows photos."""
    if not any(picture.image for picture in made.pictures):
        return ""
    return (
        " Its photos are small copies, taken as they lie in it: that they were made from those "
        "named in the record can be seen only beside the originals, in an export with --originals."
    )


def _first_difference(one: Any, other: Any, path: str = "") -> str:
    """Return the path of the first field in which two pieces of JSON differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        keys = sorted({*one, *other})
        key = next((k for k in keys if one.get(k) != other.get(k)), None)
        if key is not None:
            return _first_difference(one.get(key), other.get(key), f"{path}.{key}" if path else key)
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for i, (a, b) in enumerate(zip(one, other, strict=True)):
            if a != b:
                return _first_difference(a, b, f"{path}[{i}]")
    return path or "their form"


def job_from_record(entries: list[Entry]) -> JobState:
    """Return the job that a record tells, over the sheet that it carries.

    Raises RecordError where the record doesn't open a job or its sheet was altered.
    """
    opened = next((e for e in entries if e.kind == "job-opened"), None)
    sheet = opened.body.get("sheet") if opened else None
    if not isinstance(sheet, dict) or not isinstance(sheet.get("toml"), str):
        raise RecordError("the record doesn't say which job sheet it was made with")
    text = sheet["toml"]
    named = sheet.get("sha256")
    if named and named != hashlib.sha256(text.encode()).hexdigest():
        raise RecordError("the job sheet inside the record doesn't fit its hash")
    return replay(recorded_sheet(text, "the job sheet in the record"), entries)


def _made_again(pdf: bytes, data: dict[str, Any], entries: list[Entry]) -> Report:
    made_with = data["made_with"]
    if made_with["format"] > FORMAT:
        raise RecordError("it was made by a newer joblog; use that version or a later one")
    options = Options(
        language=made_with["language"],
        units=made_with["units"],
        paper=made_with["paper"],
        settings=ShopSettings.model_validate(made_with["settings"]),
        earlier=tuple(Past(**past) for past in made_with["earlier"]),
    )
    state = job_from_record(entries)
    return assemble(state, _shown(pdf, data, state), options)


def _shown(pdf: bytes, data: dict[str, Any], state: JobState) -> dict[str, Shown]:
    """Return the pictures as they lie in the PDF, by the SHA-256 of their originals."""
    wanted: dict[str, str] = {}
    copied: set[str] = set()
    for photo, picture in zip(state.photos, data["pictures"], strict=True):
        wanted[shown_sha(photo)] = picture["image"]
        if picture.get("copied"):
            copied.add(shown_sha(photo))
    wanted |= {pair["original"]: pair["image"] for pair in data.get("pairs", ())}
    signature = data["front"]["signature"]
    for entry in state.signatures[-1:] if signature else ():
        for ref in entry.media:
            wanted[ref.sha256] = signature
    if not any(wanted.values()):
        return {}
    lying = {hashlib.sha256(stream).hexdigest(): stream for stream in _jpegs(pdf)}
    shown = {}
    for sha256, key in wanted.items():
        if key and key not in lying:
            raise RecordError("a photo on its pages is not the one that its data names")
        if key:
            shown[sha256] = Shown(key, lying[key], *size_of(lying[key]), sha256 in copied)
    return shown


def _bytes(pdf: bytes | Path) -> bytes:
    if isinstance(pdf, bytes):
        return pdf
    try:
        return pdf.read_bytes()
    except OSError as error:
        raise InputError(f"{pdf} can't be read ({error.strerror or error})") from error


def _all_attached(pdf: bytes) -> dict[str, list[bytes]]:
    import logging

    from pypdf import PdfReader

    # What the reader remarks on a broken file would stand beside our own sentence about it.
    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    try:
        found = PdfReader(io.BytesIO(pdf)).attachments
        return {name: [bytes(content) for content in contents] for name, contents in found.items()}
    except Exception as error:  # whatever a broken file makes the reader say
        raise InputError(
            "this file can't be read as a PDF report: it was cut off or damaged on its way, or is "
            "another kind of file; ask for it to be sent once more"
        ) from error


def _attached(pdf: bytes, name: str) -> bytes:
    contents = _all_attached(pdf).get(name) or []
    if len(contents) != 1:
        how = "no" if not contents else "more than one"
        raise RecordError(f"the PDF carries {how} {name}; it is no report of this program")
    if len(contents[0]) > _LARGEST:
        raise RecordError(f"the {name} in the PDF is too large to be a job's record")
    return contents[0]


def _jpegs(pdf: bytes) -> Iterator[bytes]:
    """Yield every JPEG stream of a PDF as it lies there."""
    from pypdf import PdfReader
    from pypdf.generic import StreamObject

    reader = PdfReader(io.BytesIO(pdf))
    for number in range(1, len(reader.xref_objStm) + sum(len(x) for x in reader.xref.values()) + 1):
        try:
            found = reader.get_object(number)
        except Exception:  # noqa: BLE001  # an object that can't be read is no photo
            continue
        if isinstance(found, StreamObject) and found.get("/Filter") == "/DCTDecode":
            yield bytes(found._data)
