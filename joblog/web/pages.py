"""The pages themselves: lists, bay screen, help, and plain sentences where something is wrong."""

from __future__ import annotations

import re
from datetime import tzinfo
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup
from starlette.templating import Jinja2Templates

from joblog.errors import TooLargeError
from joblog.measure.vin import check_vin
from joblog.measure.vin_labels import vin_trouble
from joblog.record.times import parse_time
from joblog.web.seeking import differences
from joblog.web.shop import Shop
from joblog.web.view import help_view, job_view

router = APIRouter()
SHOWN = 50  # jobs on a page; older ones are found by their words, or all at once
LARGEST = 30_000_000  # bytes of one photo
TURNING = re.compile("[\0-\x08\x0b-\x1f\x7f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
templates = Jinja2Templates(directory=Path(__file__).with_name("templates"))


def local_time(at: str, zone: tzinfo | None) -> str:
    """Return a recorded time in ``zone`` (None: this PC's), as '2026-11-25 14:05'; '' for none.

    The space doesn't break: a date without its hour says little.
    """
    return f"{parse_time(at).astimezone(zone):%Y-%m-%d\u00a0%H:%M}" if at else ""


def in_order(value: Any) -> Any:
    """Return text without what turns the letters behind it around or is no letter at all.

    A name may hold it, and would then change how a whole line reads. The record keeps it.
    """
    return (
        value if isinstance(value, Markup) or not isinstance(value, str) else TURNING.sub("", value)
    )


templates.env.filters["local_time"] = local_time
templates.env.finalize = in_order


def shop_of(request: Any) -> Shop:
    """Return the shop that this request belongs to."""
    shop: Shop = request.app.state.shop
    return shop


def wants_page(request: Request) -> bool:
    """Say whether a person's browser asks, not a script."""
    return "text/html" in request.headers.get("accept", "")


def page(request: Request, name: str, **values: Any) -> HTMLResponse:
    """Return a template as a page."""
    return templates.TemplateResponse(request, name, values)


def sentence_page(request: Request, sentence: str, status: int) -> Response:
    """Return a page with one sentence on it."""
    response = page(request, "sentence.html", sentence=sentence)
    response.status_code = status
    return response


async def body_of(request: Request) -> bytes:
    """Return the body, read piece by piece and never more than a photo may have."""
    too_large = TooLargeError("The photo is larger than 30 MB; take it with a smaller resolution.")
    told = request.headers.get("content-length", "")
    if told.isdecimal() and int(told) > LARGEST:
        raise too_large  # before it has travelled
    pieces, size = [], 0
    async for piece in request.stream():
        size += len(piece)
        if size > LARGEST:
            raise too_large
        pieces.append(piece)
    return b"".join(pieces)


@router.get("/")
def jobs_page(request: Request, find: str = "", older: bool = False) -> Response:
    """List the jobs, newest first; ``find`` looks in plate, VIN, customer and order."""
    lines = shop_of(request).index.lines()
    if find.strip():
        lines = [row for row in lines if _fits(find, row)]
    shown = lines if older else lines[:SHOWN]
    more, zone = len(lines) - len(shown), shop_of(request).zone()
    told = shop_of(request).told
    return page(request, "jobs.html", jobs=shown, find=find, more=more, zone=zone, told=told)


def _fits(wanted: str, line: dict[str, Any]) -> bool:
    """Say whether ``wanted`` stands in a job's line; a plate is found without its spaces, too."""
    words = [str(line[key]).lower() for key in ("plate", "vin", "customer", "order", "vehicle")]
    sign = "".join(filter(str.isalnum, wanted.lower()))
    plate = "".join(filter(str.isalnum, words[0]))
    return any(wanted.strip().lower() in word for word in words) or (sign != "" and sign in plate)


@router.get("/new")
def new_page(request: Request) -> Response:
    """Show the form that opens a job."""
    return form_page(request, {})


def form_page(
    request: Request, form: dict[str, str], error: str = "", *, ask_reason: bool = False
) -> Response:
    """Return the form that opens a job, as it was filled, with what is wrong with it.

    With ``ask_reason`` it has the field for why a sheet is used that is not for the unit. A VIN
    that was ``meant`` stands in place of the one given, to be compared with the vehicle.
    """
    shop = shop_of(request)
    given, meant = check_vin(form.get("vin", "")).vin, check_vin(form.get("meant", "")).vin
    form = form | {"vin": meant} if meant else form
    report = check_vin(form.get("vin", ""))
    near = shop.likely(report) if report.vin and vin_trouble(report) else []
    sheets, wrong = shop.titles()
    for key, title in sheets:  # the list has titles; the sentence may be the command line's
        error = error.replace(f"sheet '{key}'", f"sheet '{title}'")
    values = {"sheets": sheets, "wrong": wrong, "form": form, "error": error, "near": near}
    differs = differences(given, meant) if meant else []
    reason = ask_reason or "override" in form
    response = page(request, "new.html", **values, ask_reason=reason, differs=differs)
    response.status_code = 400 if error else 200
    return response


@router.get("/job/{job}")
def bay_page(request: Request, job: str) -> Response:
    """Show one job live, for the screen in the bay."""
    session = shop_of(request).session(job)
    return page(request, "bay.html", view=job_view(session), help=help_view(session))
