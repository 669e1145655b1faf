"""What screens ask for and send: a job's state, typed phrases, photos, reports, media."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from typing import Annotated, Any, Literal
from urllib.parse import parse_qsl

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from joblog.errors import InputError, JoblogError, PhotoError, WrongUnitError
from joblog.job.photographing import Taken
from joblog.job.session import JobSession
from joblog.measure.vin import LENGTH as VIN_LENGTH
from joblog.measure.vin import check_vin
from joblog.record.entry import Entry
from joblog.record.transfer import record_bytes
from joblog.sheet.load import sheet_text
from joblog.web.meters import UNITS, is_reading
from joblog.web.pages import body_of, form_page, shop_of, wants_page
from joblog.web.shop import Shop
from joblog.web.start import sheets_page
from joblog.web.view import job_view, not_closed, reply_view

router = APIRouter()
KINDS = ("plug", "dipstick", "fluid", "label", "other")
LONGEST_NAME, LONGEST_TEXT = 200, 2000  # letters of a field of the form that opens a job
LONGEST_BY = 80  # letters of who says it, and so of the technician
SHA256 = re.compile(r"[0-9a-f]{64}")
SHOWN = re.compile(r"image/(jpeg|png|webp|gif|tiff|bmp|heic|heif|avif|jp2)|audio/[\w.+-]+")


class Said(BaseModel):
    """A typed phrase."""

    text: str = Field(min_length=1, max_length=500)
    by: str = Field(default="", max_length=LONGEST_BY)


class Withdrawn(BaseModel):
    """A photo or a note to take back: the id of its entry."""

    photo: str = Field(default="", max_length=80)
    note: str = Field(default="", max_length=80)
    by: str = Field(default="", max_length=LONGEST_BY)


class Metered(BaseModel):
    """What the odometer or hour meter showed in truth when the job was opened."""

    odometer: str = Field(max_length=40)
    odometer_unit: str = Field(max_length=20)
    by: str = Field(default="", max_length=LONGEST_BY)


class Settled(BaseModel):
    """A finding confirmed with a reason, or explained to the customer.

    ``seen`` are the words for the customer that whoever explains has before them.
    """

    finding: str = Field(max_length=200)
    text: str = Field(max_length=2000)
    by: str = Field(default="", max_length=LONGEST_BY)
    seen: str | None = Field(default=None, max_length=2000)


class Closing(BaseModel):
    """How a job is closed."""

    how: str = "finished"
    reason: str = Field(default="", max_length=500)
    by: str = Field(default="", max_length=LONGEST_BY)


@router.post("/jobs")
async def open_job(request: Request) -> Response:
    """Open a job from the form's fields and show its bay screen."""
    body = await body_of(request)
    form = {k: v.strip() for k, v in parse_qsl(body.decode("utf-8", "replace"))}
    if form.get("meant"):  # a VIN that was offered in place of a wrong one
        return await run_in_threadpool(form_page, request, form)
    try:
        job = await run_in_threadpool(_begin, shop_of(request), form)
    except JoblogError as error:
        if not wants_page(request) or not {"form", "then"} & set(form):
            raise
        # what was typed stays, on the page that it came from
        if form.get("form") != "new":
            return await run_in_threadpool(sheets_page, request, form, "", _place(form), str(error))
        asks = isinstance(error, WrongUnitError)
        return await run_in_threadpool(form_page, request, form, str(error), ask_reason=asks)
    return RedirectResponse(f"/{_place(form)}/{job}", status_code=303)


def _place(form: dict[str, str]) -> str:
    """Return the screen on which a form's job goes on."""
    return "phone" if form.get("then") == "phone" else "job"


def _begin(shop: Shop, form: dict[str, str]) -> str:
    """Open the job that a form describes; nothing is opened where a field is wrong."""
    sheets = shop.sheets()
    _not_too_long(form)
    key = form.get("sheet", "")
    if key not in sheets:
        raise InputError("Choose the job sheet for this job from the list.")
    opening: dict[str, Any] = {
        "unit": {
            name: form[name]
            for name in ("type", "engine", "year", "make", "model", "plate", "vin", "odometer")
            if form.get(name)
        },
        "customer": {"name": form.get("customer", "")},
        "order": form.get("order", ""),
        "technician": form.get("technician", ""),
        "advisor": form.get("advisor", ""),
        "complaint": form.get("complaint", ""),
    }
    vin = opening["unit"].get("vin", "")
    # Older vehicles and machines have other numbers; 17 signs that don't fit are a slip.
    if len(vin) == VIN_LENGTH and not check_vin(vin).acceptable:
        raise InputError(f"The VIN '{vin}' doesn't fit its check digit; read it once more.")
    if "odometer" in opening["unit"]:
        opening["unit"]["odometer_unit"] = _meter_unit(form["odometer"], form.get("odometer_unit"))
    if form.get("override"):
        opening["override"] = form["override"]
    return shop.begin(sheet_text(sheets[key]), opening)


def _not_too_long(form: dict[str, str]) -> None:
    for name, value in form.items():
        most = LONGEST_TEXT if name in ("complaint", "override") else LONGEST_NAME
        most = LONGEST_BY if name == "technician" else most
        if len(value) > most:
            raise InputError(
                f"The {name.replace('_', ' ')} has {len(value)} letters; at most {most} can be "
                "kept: shorten it."
            )


def _meter_unit(reading: str, counts: str | None) -> str:
    """Return what an odometer or hour meter counts in; InputError where it can't be so."""
    unit = UNITS.get(counts or "")
    if unit is None:
        raise InputError("An odometer or hour meter counts in miles, kilometres or hours.")
    if not is_reading(reading, unit):
        raise InputError(
            "The hour meter is a number such as 1450.5, without commas or letters."
            if unit == "h"
            else "The odometer is a whole number, without commas or letters."
        )
    return unit


@router.get("/api/jobs/{job}")
def state(request: Request, job: str) -> dict[str, Any]:
    """Return everything that the screens show of a job."""
    shop = shop_of(request)
    return job_view(shop.session(job), shop.voice, shop.refusals.count(job))


@router.post("/api/jobs/{job}/say")
def say(request: Request, job: str, said: Said) -> dict[str, Any]:
    """Take a typed phrase."""
    shop = shop_of(request)
    return reply_view(shop.session(job).type_in(said.text, said.by), shop.voice)


@router.post("/api/jobs/{job}/disregard")
def disregard(request: Request, job: str, withdrawn: Withdrawn) -> dict[str, Any]:
    """Take a photo back that shows something else, or a note that is not so."""
    session = shop_of(request).session(job)
    if withdrawn.note:
        return reply_view(session.disregard_note(withdrawn.note, withdrawn.by))
    return reply_view(session.disregard_photo(withdrawn.photo, withdrawn.by))


@router.post("/api/jobs/{job}/meter")
def meter(request: Request, job: str, metered: Metered) -> dict[str, Any]:
    """Correct the odometer or hour meter that was told at the opening; the record keeps both."""
    reading = metered.odometer.strip()
    unit = _meter_unit(reading, metered.odometer_unit)
    return reply_view(shop_of(request).session(job).correct_meter(reading, unit, metered.by))


@router.post("/api/jobs/{job}/confirm")
def confirm(request: Request, job: str, settled: Settled) -> dict[str, Any]:
    """Let a finding stand, with the technician's reason."""
    session = shop_of(request).session(job)
    return reply_view(session.confirm(settled.finding, settled.text, settled.by))


@router.post("/api/jobs/{job}/explain")
def explain(request: Request, job: str, settled: Settled) -> dict[str, Any]:
    """Keep the advisor's words for the customer, or say whose words came between."""
    session = shop_of(request).session(job)
    reply = session.explain(settled.finding, settled.text, settled.by, seen=settled.seen)
    now = session.state.explanation(settled.finding)
    return reply_view(reply) | {"kept": bool(reply.entries), "explained": now}


@router.post("/api/jobs/{job}/close")
def close(request: Request, job: str, closing: Closing) -> dict[str, Any]:
    """Close the job, or say what is missing in words for a desk, where nobody speaks."""
    session = shop_of(request).session(job)
    reply = reply_view(session.close(closing.how, closing.reason, closing.by))
    return reply | {"shown": not_closed(session.state) or reply["shown"]}


class Shot(BaseModel):
    """What comes with a photo: its kind, who took it, and the phone's own time as a remark.

    ``age`` is how many seconds it has waited on the phone: that needs no clock that is right.
    """

    kind: str
    by: str = Field(default="", max_length=LONGEST_BY)
    phase: Literal["", "before", "after", "once"] = ""
    taken: str = Field(default="", max_length=40)
    age: float = Field(default=0.0, ge=0.0, allow_inf_nan=False)


@router.put("/api/jobs/{job}/photos/{sha256}")
async def photo(
    request: Request, job: str, sha256: str, shot: Annotated[Shot, Query()]
) -> Response:
    """Take one photo, named by the hash of its bytes: sent twice, it is kept once.

    Sent again as another kind, it takes the place of what it was first taken for.
    """
    shop = shop_of(request)
    session = await run_in_threadpool(shop.session, job)
    if shot.kind not in KINDS:
        known = ", ".join(KINDS)
        raise InputError(f"There is no photo of the kind '{shot.kind}'; use one of {known}.")
    data = await body_of(request)
    if hashlib.sha256(data).hexdigest() != sha256:
        raise PhotoError("The photo arrived incomplete; it is still on the phone, send it again.")
    return JSONResponse(await shop.look(keep_once, session, data, sha256, shot))


def keep_once(
    session: JobSession, data: bytes, sha256: str, shot: Shot, name: str = ""
) -> dict[str, Any]:
    """Take a photo; the same one that comes at the same moment waits until it is there.

    ``name`` is a remark on where it came from, where that wasn't a phone.
    """
    taken = Taken(data, shot.kind, phase=shot.phase or None, ago=shot.age)
    if not _known(session, sha256)[0]:
        session.look_ahead(taken)
    with session.alone():
        return _keep(session, data, sha256, shot, name)


def _known(session: JobSession, sha256: str) -> tuple[list[Entry], Entry | None]:
    """Return what was recorded of a photo, and which of it counts."""
    state = session.state
    known = [e for e in state.entries if e.kind == "photo" and _is_of(e, sha256)]
    return known, next((p.entry for p in state.photos if p.entry in known), None)


def _keep(session: JobSession, data: bytes, sha256: str, shot: Shot, name: str) -> dict[str, Any]:
    known, counts = _known(session, sha256)
    kind = counts.body.get("kind") if counts else ""
    if kind == shot.kind or (counts is None and _any_as(known, shot.kind)):
        measured = (counts or known[-1]).body.get("measurement") or {}
        return {"again": True, "measurement": _short(measured), "reply": None}
    reply = session.photo(
        data,
        shot.kind,
        phase=shot.phase or None,
        by=shot.by,
        name=f"taken {shot.taken} by the phone's clock" if shot.taken else name,
        taken_ago=shot.age,
        replaces=counts.id if counts else None,  # sent as another kind by mistake
    )
    entry = next((e for e in reply.entries if e.kind == "photo"), None)
    measured = entry.body.get("measurement", {}) if entry else {}
    overlay = next((m.sha256 for m in entry.media if m.role == "overlay"), "") if entry else ""
    return {
        "again": False,
        "measurement": _short(measured),
        "overlay": overlay,
        "reply": reply_view(reply),
    }


def _is_of(entry: Entry, sha256: str) -> bool:
    return any(m.sha256 == sha256 and m.role == "photo" for m in entry.media)


def _any_as(photos: Sequence[Entry], kind: str) -> bool:
    """Say whether one of ``photos`` came as ``kind``: taken back, it doesn't come again by itself.

    A phone whose answer was lost sends it once more, and that must not undo a 'disregard'.
    """
    return any(entry.body.get("kind") == kind for entry in photos)


def _short(measured: dict[str, Any]) -> dict[str, Any]:
    """Leave out the outlines: a phone shows the picture that they are drawn on."""
    return {k: v for k, v in measured.items() if not isinstance(v, list | dict)}


@router.get("/api/jobs/{job}/media/{sha256}")
def media(request: Request, job: str, sha256: str) -> Response:
    """Return a photo or sound that the job's record names."""
    session = shop_of(request).session(job)
    if not SHA256.fullmatch(sha256):
        raise InputError("That is no photo's hash.")
    for entry in session.state.entries:
        for ref in entry.media:
            if ref.sha256 == sha256:
                return _as_kept(session.store.read_media(sha256), ref.mime)
    raise InputError("This job has no such photo.")


def _as_kept(data: bytes, mime: str) -> Response:
    """Return a photo or sound. What an imported record calls another thing is no page of ours."""
    headers = {"Cache-Control": "private", "Content-Security-Policy": "default-src 'none'; sandbox"}
    if not SHOWN.fullmatch(mime):
        return Response(data, media_type="application/octet-stream", headers=headers)
    return Response(data, media_type=mime, headers=headers)


@router.get("/api/jobs/{job}/record.jsonl")
def record(request: Request, job: str) -> Response:
    """Return the job's record as it is exported."""
    data = record_bytes(shop_of(request).session(job).state.entries)
    return Response(data, media_type="application/x-ndjson")
