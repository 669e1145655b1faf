"""Phones: pairing by a code that works once, and the page that a paired phone opens."""

from __future__ import annotations

import io
import socket
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import segno
from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from joblog.errors import InputError
from joblog.web.access import COOKIE, LIFE, Gate
from joblog.web.pages import body_of, page, sentence_page, shop_of
from joblog.web.view import job_view

router = APIRouter()
WORKER = Path(__file__).with_name("static") / "phone-worker.js"
LONGEST_NAME = 40  # letters of a phone's name
ENDED = "This code was used already or is older than five minutes; ask the desk for a new one."


def own_address() -> str:
    """Return the address under which this machine's network sees it; no packet is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): never reached
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def base_address(request: Request) -> str:
    """Return the address that a phone must call: never this machine's own name for itself."""
    host = request.url.hostname or ""
    if host in ("127.0.0.1", "localhost", "::1", ""):
        host = own_address()
    port = f":{request.url.port}" if request.url.port else ""
    return f"{request.url.scheme}://{host}{port}"


@router.get("/phones")
def phones_page(request: Request) -> Response:
    """List what is paired."""
    return page(request, "phones.html", grants=_granted(request), code=None)


def _granted(request: Request) -> list[dict[str, str]]:
    """Return what is paired, so that one can be told from another; the newest first."""
    gate: Gate = request.app.state.gate
    shop = shop_of(request)
    jobs = {line["job"]: line for line in shop.index.lines()}
    rows = []
    for handle, grant in sorted(gate.listed(), key=lambda row: row[1].made, reverse=True):
        job = jobs.get(grant.job, {})
        words = (job.get(key, "") for key in ("vehicle", "plate", "title"))
        what = ", ".join(word for word in words if word) or "a job that is not there any more"
        since = _day(grant.made, shop.zone()) if grant.made else ""
        until = _day(grant.expires, shop.zone())
        kind = f"link to the report: {what}" if grant.kind == "report" else grant.kind
        told = [kind, f"since {since}" if since else "", f"until {until}"]
        row = {"handle": handle, "name": grant.name, "told": ", ".join(filter(None, told))}
        rows.append(row | {"what": "link" if grant.kind == "report" else "pairing"})
    return rows


def _day(seconds: float, zone: tzinfo | None) -> str:
    return f"{datetime.fromtimestamp(seconds, UTC).astimezone(zone):%Y-%m-%d\u00a0%H:%M}"


@router.post("/phones/pair")
def offer(request: Request) -> Response:
    """Show a code for one phone."""
    gate: Gate = request.app.state.gate
    address = f"{base_address(request)}/pair/{gate.grant('pair', 'code')}"
    drawn = io.BytesIO()
    segno.make(address, error="m").save(drawn, kind="svg", scale=7, border=3, xmldecl=False)
    return page(
        request,
        "phones.html",
        grants=_granted(request),
        code=drawn.getvalue().decode(),
        address=address,
    )


@router.post("/phones/{handle}/revoke")
def revoke(request: Request, handle: str) -> Response:
    """Take a device's token back."""
    request.app.state.gate.revoke(handle)
    return RedirectResponse("/phones", status_code=303)


@router.get("/pair/{code}")
def pair_page(request: Request, code: str) -> Response:
    """Ask the phone's owner once more; only then is the code used up."""
    grant = request.app.state.gate.look(code)
    if grant is None or grant.kind != "pair":
        return sentence_page(request, ENDED, status=403)
    return page(request, "pair.html", code=code, kind=_kind_of_phone(request))


@router.post("/pair/{code}")
async def pair(request: Request, code: str) -> Response:
    """Give this phone its own token, under the name that the desk will see."""
    gate: Gate = request.app.state.gate
    offered = gate.look(code)
    if offered is None or offered.kind != "pair":  # a stranger's form is not even read
        return sentence_page(request, ENDED, status=403)
    form = dict(parse_qsl((await body_of(request)).decode("utf-8", "replace")))
    if gate.use_up(code, "pair") is None:
        return sentence_page(request, ENDED, status=403)
    name = " ".join(form.get("name", "").split())[:LONGEST_NAME] or _kind_of_phone(request)
    answer = RedirectResponse("/phone", status_code=303)
    answer.set_cookie(
        COOKIE,
        gate.grant("phone", name),
        max_age=LIFE["phone"],
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return answer


def _kind_of_phone(request: Request) -> str:
    agent = request.headers.get("user-agent", "")
    return next((n for n in ("iPhone", "iPad", "Android") if n in agent), "Phone")


@router.get("/phone")
def phone_jobs(request: Request) -> Response:
    """Let the phone choose its job."""
    rows = shop_of(request).index.lines()
    return page(request, "phone_jobs.html", jobs=[row for row in rows if not row["closed"]])


@router.get("/phone/{job}")
def phone_page(request: Request, job: str) -> Response:
    """Show one job to the phone: camera, microphone, last answer."""
    session = shop_of(request).session(job)
    kinds = list(dict.fromkeys(s.photo.kind for s in session.sheet.steps if s.photo)) or ["other"]
    return page(request, "phone.html", view=job_view(session), kinds=kinds)


class Held(BaseModel):
    """What one phone holds: ``who`` is a name of its own, which tells it from the others."""

    who: str = Field(min_length=1, max_length=40)
    count: int = Field(ge=0, le=100_000)


@router.post("/api/jobs/{job}/refused")
def refused(request: Request, job: str, held: Held) -> dict[str, Any]:
    """Take how many refused photos of a job a phone holds; every screen of the job says it."""
    shop = shop_of(request)
    shop.session(job)
    shop.refusals.note(job, held.who, held.count)
    return {"refused": shop.refusals.count(job)}


@router.get("/phone-worker.js")
def worker() -> Response:
    """Return the service worker; it stands at the top so that it may serve /phone."""
    if not WORKER.is_file():
        raise InputError("The phone's service worker is missing; install joblog again.")
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/phone"}
    return FileResponse(WORKER, media_type="text/javascript", headers=headers)
