"""The advisor's desk: findings in words for the customer, the report, and handing it over."""

from __future__ import annotations

import base64
import binascii
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field, StringConstraints

from joblog.errors import InputError, PhotoError
from joblog.job.types import JobState
from joblog.record.transfer import evidence, record_bytes
from joblog.report.build import build_report
from joblog.report.html import render_html
from joblog.report.language import languages, name_of
from joblog.report.model import Report
from joblog.report.pdf import render_pdf
from joblog.report.quantity import Paper, Units
from joblog.report.settings import SETTINGS, ShopSettings
from joblog.vision.load import load_photo
from joblog.web.commands import OPEN_HOSTS
from joblog.web.pages import page, sentence_page, shop_of
from joblog.web.phone import base_address
from joblog.web.shop import Shop
from joblog.web.view import job_view

router = APIRouter()
# What a report can be had in besides its language: the name in its address, what it is called,
# and each choice.
CHOICES = (
    ("units", "Units", (("us", "US"), ("metric", "Metric"), ("both", "Both"))),
    ("paper", "Paper", (("a4", "A4"), ("letter", "Letter"))),
)
# A report is one file that needs nothing from anywhere and runs nothing.
REPORT_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; font-src data:"


@dataclass(frozen=True)
class Wish:
    """What a report is asked for in; what is left out is as the shop has it in ``shop.toml``."""

    language: str | None = None
    units: Units | None = None
    paper: Paper | None = None


Wished = Annotated[Wish, Depends()]


class Signature(BaseModel):
    """Who signed: the picture as a data: address of a PNG, or that the name was typed."""

    name: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
    image: str = Field("", max_length=2_000_000)
    typed: bool = False


@router.get("/desk/{job}")
def desk_page(request: Request, job: str) -> Response:
    """Show one job to the advisor."""
    shop = shop_of(request)
    session = shop.examined(job)
    nameless = no_shop_name(shop, session.state)
    view = job_view(session, refused=shop.refusals.count(job))
    offered = offers(shop)
    return page(request, "desk.html", view=view, choices=offered, nameless=nameless)


def offers(shop: Shop) -> list[tuple[str, str, tuple[tuple[str, str], ...], str]]:
    """Return what a report can be had in, with the shop's own choice at the end of each."""
    try:
        own = shop.report_settings() or ShopSettings()
    except InputError:  # told where the report is made
        own = ShopSettings()
    codes = dict.fromkeys([*languages(), own.language])
    spoken = ("language", "Language", tuple((code, name_of(code)) for code in codes))
    return [(*choice, getattr(own, choice[0])) for choice in (spoken, *CHOICES)]


def no_shop_name(shop: Shop, state: JobState) -> str:
    """Return how a report comes by the shop's name, '' where it has one.

    A mistake in ``shop.toml`` is told where the report is made.
    """
    try:
        settings = shop.report_settings()
    except InputError:
        return ""
    opened = state.opened.get("shop") or {}
    if (settings and settings.name.strip()) or (isinstance(opened, dict) and opened.get("name")):
        return ""
    return (
        "The report has no shop name yet. Write it into the file "
        f'{shop.folder / SETTINGS}: a line [shop], below it name = "Your shop"; address, phone '
        "and logo may stand there, too."
    )


def _report(shop: Shop, state: JobState, wish: Wish) -> Report:
    """Return the report, with what earlier jobs on the vehicle measured beside it.

    ``state`` is that of a job whose record was examined. Raises RecordError where a photo or sound
    of it was altered.
    """
    settings = shop.report_settings() or ShopSettings()
    return build_report(
        state,
        evidence(state.entries, lambda ref: shop.store.media_path(ref.sha256)),
        language=wish.language or settings.language,
        units=wish.units or settings.units,
        paper=wish.paper or settings.paper,
        settings=settings,
        history=shop.earlier(state.job),
    )


@router.get("/job/{job}/report.html")
def report_html(request: Request, job: str, wish: Wished) -> Response:
    """Return the report as one self-contained file."""
    shop = shop_of(request)
    text = render_html(_report(shop, shop.examined(job).state, wish))
    return HTMLResponse(text, headers={"Content-Security-Policy": REPORT_POLICY})


@router.get("/job/{job}/report.pdf")
def report_pdf(request: Request, job: str, wish: Wished) -> Response:
    """Return the report as a PDF that carries the record."""
    return _pdf(shop_of(request), job, wish)


def _pdf(shop: Shop, job: str, wish: Wish) -> Response:
    state = shop.examined(job).state  # read once: the record inside is the one that is told
    report = _report(shop, state, wish)
    data = render_pdf(report, record_bytes(state.entries))
    name = f"service-report-{job[:8]}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(data, media_type="application/pdf", headers=headers)


@router.post("/api/jobs/{job}/link")
def link(request: Request, job: str) -> dict[str, Any]:
    """Make a link to the report that nobody can guess and that ends after two weeks."""
    shop_of(request).session(job)
    token = request.app.state.gate.grant("report", "customer's link", job=job)
    path = f"/report/{token}"
    lan = getattr(request.app.state, "authority", None) is not None
    alone = not lan and request.url.hostname in OPEN_HOSTS
    base = str(request.base_url).rstrip("/") if alone else base_address(request)
    where = (
        "works on this PC only, for 14 days; start 'joblog serve --lan' to make links that work "
        "on the shop's network"
        if alone
        else "works on this shop's network for 14 days"
    )
    return {"path": path, "days": 14, "url": base + path, "where": where}


@router.get("/report/{token}")
def shared_report(request: Request, token: str, wish: Wished) -> Response:
    """Show the report that a customer's link opens, and that report alone."""
    grant = request.app.state.gate.look(token)
    if grant is None or grant.kind != "report":
        sentence = "This link has ended or was never given; ask the shop for a new one."
        return sentence_page(request, sentence, status=404)
    shop = shop_of(request)
    text = render_html(_report(shop, shop.examined(grant.job).state, wish))
    return HTMLResponse(text, headers={"Content-Security-Policy": REPORT_POLICY})


@router.post("/api/jobs/{job}/sign")
def sign(request: Request, job: str, signature: Signature) -> dict[str, str]:
    """Keep the customer's signature as an entry: drawn, or the name that was typed."""
    if signature.typed and signature.image:
        raise InputError("A signature is drawn or typed, not both; sign again.")
    image = None if signature.typed else drawn(signature.image)
    shop_of(request).session(job).sign(signature.name, image)
    return {"shown": "Signature kept, as typed." if signature.typed else "Signature kept."}


def drawn(address: str) -> bytes:
    """Return the picture in a data: address; raises InputError where there is none in it."""
    head, _, data = address.partition(",")
    if head != "data:image/png;base64":
        raise InputError("The signature must be a drawn picture; sign in the field again.")
    try:
        image = base64.b64decode(data, validate=True)
    except binascii.Error:
        raise InputError("The signature arrived damaged; sign again.") from None
    try:
        load_photo(image)
    except PhotoError:
        raise InputError("The signature arrived damaged; sign again.") from None
    return image
