"""Starting a job in a few seconds: scan a label, say or choose an order, pick the sheet.

Nothing is recorded here: the choice ends in the form that opens the job (``POST /jobs``).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlencode

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from joblog.audio.resample import Resampler
from joblog.errors import AudioError, InputError, PhotoError
from joblog.measure.vin import VinReport, check_vin
from joblog.measure.vin_labels import vin_trouble, vins_in
from joblog.speech.types import Verdict
from joblog.web.choosing import (
    OTHER_FIELDS,
    UNIT_FIELDS,
    choices,
    details,
)
from joblog.web.listen import RATES
from joblog.web.orders import COLUMNS, read_orders
from joblog.web.pages import body_of, page, shop_of
from joblog.web.pool import BusyError
from joblog.web.saying_orders import said_orders, said_vin, start_grammar
from joblog.web.seeking import (
    Likely,
    Order,
    differences,
    here_before,
    known_near,
    orders_meant,
    signs,
)
from joblog.web.shop import Shop

router = APIRouter()
LARGEST_LIST = 3_000_000  # bytes of a CSV file
SHORT = 12  # signs: fewer are meant as an order or a plate, not as a VIN
LONGEST_SAID = 20  # seconds of one spoken choice
UNREAD = "No bar code could be read; hold the phone square to the label, nearer, without glare."


@router.get("/start")
def start_page(
    request: Request,
    *,
    order: str = "",
    vin: str = "",
    then: str = "",
    again: bool = False,
    was: str = "",
    compared: bool = False,
) -> Response:
    """Show today's orders; with an order or a VIN the vehicle and the sheets for it.

    ``vin`` is what was typed: an order or a plate, too. With ``was``, the VIN is one that was
    offered instead of that, to be compared with the vehicle; ``compared`` says that it was. With
    ``again`` the form's own fields are looked at once more: somebody corrected the unit.
    """
    shop = shop_of(request)
    place = "phone" if then == "phone" else "job"
    if again:
        typed = {k: v.strip() for k, v in request.query_params.items()}
        return sheets_page(request, typed, "", place)
    chosen = shop.orders.find(order) if order else None
    if order and chosen is None:
        raise InputError(f"There is no order '{order[:40]}' on the list; choose another one.")
    meant = _orders_meant(shop, vin) if vin and chosen is None else []
    if len(meant) == 1:
        chosen, vin = dict(meant[0]), ""
    report = check_vin(vin) if vin else None
    trouble = vin_trouble(report) if report else ""
    if meant and report:
        return _list_page(request, place, vin, "Several orders fit; choose one.", meant=meant)
    if report and (trouble or was):
        wrong = _not_found(request, place, vin, report, trouble) if trouble else None
        return wrong or _compare_page(request, place, report.vin, was)
    if report and chosen is None:
        chosen = shop.orders.for_vin(report.vin)
        sure = chosen or compared or report.check_fits
        near = [] if sure else known_near(shop.likely(report), report.vin)
        if near:
            own = Likely(report.vin, "As it was given: a vehicle that is new here")
            trouble = f"{report.vin} is not known here, and its check digit does not fit."
            return _list_page(request, place, vin, trouble, near=[*near, own])
    if chosen or report:
        known = shop.last_unit(report.vin if report else (chosen or {}).get("vin", ""))
        fields = details(chosen, known, report.vin if report else "")
        return sheets_page(request, fields, (chosen or {}).get("sheet", ""), place)
    return _list_page(request, place)


def _orders_meant(shop: Shop, text: str) -> list[Order]:
    """Return today's orders that typed text names, else that of another day with this number."""
    earlier: list[Order] = [
        row for row in shop.orders.every() if signs(row["order"]) == signs(text)
    ]
    return orders_meant(shop.orders.listed(), text) or earlier[:1]


def _not_found(
    request: Request, place: str, typed: str, report: VinReport, trouble: str
) -> Response:
    """Say what is wrong with what was typed, and offer what it may have meant."""
    shop = shop_of(request)
    near = shop.likely(report)
    before = here_before(shop.index.lines(), typed)
    if not near and len(report.vin) < SHORT:
        trouble = f"No order of today has '{typed[:40]}' as its number or plate. {trouble}"
    return _list_page(request, place, typed, trouble, near=near, before=before)


def _list_page(
    request: Request, place: str, typed: str = "", trouble: str = "", **offered: Any
) -> Response:
    """Return today's orders, with what is wrong with what was typed and what is ``offered``."""
    shop = shop_of(request)
    rows = shop.orders.listed()
    started = shop.started([row["order"] for row in rows])
    told = {"vin": typed, "trouble": trouble, **offered}
    return page(request, "start.html", orders=rows, started=started, then=place, **told)


def _compare_page(request: Request, place: str, vin: str, was: str) -> Response:
    """Ask whether the vehicle shows the VIN that was chosen instead of what was given."""
    shop = shop_of(request)
    given = check_vin(was[:40]).vin
    same = [a == b for a, b in zip(given, vin, strict=True)] if len(given) == len(vin) else []
    marked = list(zip(vin, same or [True] * len(vin), strict=True))
    known = shop.likely(VinReport(vin))
    return page(
        request,
        "start_compare.html",
        vin=vin,
        groups=[marked[:3], marked[3:8], marked[8:11], marked[11:]],
        known=next((one.known for one in known if one.vin == vin), ""),
        differences=differences(given, vin) if len(given) > SHORT else [],
        was=was[:40],
        then=place,
    )


def sheets_page(
    request: Request, form: Mapping[str, str], ordered: str, place: str, error: str = ""
) -> Response:
    """Return the page on which the sheet is chosen; ``error`` says what was wrong with its form."""
    shop = shop_of(request)
    fields = {name: form.get(name, "") for name in (*UNIT_FIELDS, *OTHER_FIELDS)}
    found = choices(shop.sheets(), fields, ordered)
    response = page(
        request,
        "start_sheet.html",
        fields=fields,
        fit=[c for c in found if not c.reasons],
        rest=[c for c in found if c.reasons],
        started=shop.started([fields["order"]]) if fields["order"] else {},
        before=shop.been_here(fields["vin"]),
        zone=shop.zone(),
        then=place,
        error=error,
        override=form.get("override", ""),
    )
    response.status_code = 400 if error else 200
    return response


@router.put("/api/start/photos/label")
async def scan(request: Request) -> dict[str, Any]:
    """Read a photo of a label or of an order's bar code; says where to go on, or what is wrong."""
    data, shop = await body_of(request), shop_of(request)
    return await shop.look(_scanned, shop, data)


def _scanned(shop: Shop, data: bytes) -> dict[str, Any]:
    from joblog.vision.labels import load_for_labels, read_labels

    texts = [label.text for label in read_labels(load_for_labels(data))]
    numbers = [row["order"] for row in shop.orders.listed()]
    order = next((text for text in texts if text in numbers), "")
    if order:
        return _go(order=order)
    vins = vins_in(texts)
    if len(vins) == 1:
        trouble = vin_trouble(check_vin(vins[0]))
        return _wrong(shop, vins[0], trouble) if trouble else _go(vin=vins[0])
    if vins:
        raise PhotoError("There are several VINs on the photo; take one label alone.")
    if texts:
        raise PhotoError("No code on the photo holds a VIN or an order's number; take its label.")
    raise PhotoError(UNREAD)


def _wrong(shop: Shop, vin: str, trouble: str) -> dict[str, Any]:
    """Tell what is wrong with a VIN; where it may mean others, its page offers them."""
    told = {"told": trouble}
    return told | {"go": _go(vin=vin)["go"]} if shop.likely(check_vin(vin)) else told


def _go(**found: str) -> dict[str, Any]:
    return {"go": f"/start?{urlencode(found)}", **found}


@router.put("/api/start/said")
async def said(request: Request, rate: Annotated[int, Query()]) -> dict[str, Any]:
    """Hear one of today's orders: 16-bit little-endian mono samples at ``rate``."""
    if rate not in RATES:
        raise AudioError("The sound's rate must be a number from 8000 to 192000 a second.")
    data = await body_of(request)
    if len(data) % 2 or len(data) > LONGEST_SAID * 2 * rate:
        raise AudioError(f"Say it in at most {LONGEST_SAID} seconds.")
    device = f"start {request.client.host}" if request.client else "start"
    return await run_in_threadpool(_understood, shop_of(request), device, data, rate)


def _understood(shop: Shop, device: str, data: bytes, rate: int) -> dict[str, Any]:
    meant = said_orders(shop.orders.listed())
    grammar = start_grammar(meant)
    sound = np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32768)
    samples = Resampler(rate).feed(np.pad(sound, rate // 4))
    try:
        hearing = shop.pool.submit(device, lambda: shop.engine().hear(samples, grammar)).result()
    except BusyError as error:
        raise InputError(str(error)) from None
    number = meant.get(hearing.text.removeprefix("order "), "")
    vin = said_vin(hearing.text)
    found = start_meaning(hearing.verdict, number, vin)
    wrong = vin and not number and hearing.verdict is not Verdict.REJECT
    return _wrong(shop, vin, found["told"]) if wrong and vin_trouble(check_vin(vin)) else found


def start_meaning(verdict: Verdict, number: str, vin: str) -> dict[str, Any]:
    """Go where it is clear, offer what was likely meant, or say what can be said.

    A spoken VIN must fit its check digit even where it needn't have one: nothing else tells a
    misheard sign. Where it doesn't, it is shown to be compared.
    """
    if verdict is not Verdict.REJECT and (number or vin):
        found = _go(order=number) if number else _go(vin=vin)
        report = check_vin(vin) if vin else None
        if report and not report.acceptable:
            return {"told": f"{vin} was heard, but its check digit is wrong. Say it again."}
        if verdict is Verdict.ACCEPT and (report is None or report.check_fits):
            return found
        named = f"order {number}" if number else vin
        return {"told": f"Was that {named}?", "maybe": found["go"]}
    return {"told": "Say an order's number, its plate, or the VIN letter by letter."}


@router.get("/orders")
def orders_page(request: Request) -> Response:
    """Show today's orders and the way to import them."""
    shop = shop_of(request)
    rows = shop.orders.listed()
    return page(
        request,
        "orders.html",
        orders=rows,
        started=shop.started([row["order"] for row in rows]),
        columns=[name for name in COLUMNS if name != "order"],
    )


@router.put("/api/orders")
async def take_orders(request: Request) -> dict[str, Any]:
    """Import a CSV file of work orders; with a mistake nothing, with an unknown sheet the rest."""
    data = await body_of(request)
    if len(data) > LARGEST_LIST:
        raise InputError("The file is larger than 3 MB; export one day's orders.")
    shop = shop_of(request)
    orders = await run_in_threadpool(read_orders, data, shop.sheets())
    new, renewed = await run_in_threadpool(shop.orders.take, orders)
    remarks = [*orders.refused, *orders.remarks]
    return {"new": new, "renewed": renewed, "refused": len(orders.refused), "remarks": remarks}
