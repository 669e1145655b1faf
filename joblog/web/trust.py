"""The page that says how a phone comes to trust this shop, and what works without."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, Response

from joblog.errors import InputError
from joblog.web.pages import page

router = APIRouter()


@router.get("/trust")
def trust_page(request: Request) -> Response:
    """Explain the certificate; offer it where this shop has one."""
    authority = getattr(request.app.state, "authority", None)
    return page(request, "trust.html", has_certificate=authority is not None)


@router.get("/trust/shop.crt")
def certificate(request: Request) -> Response:
    """Return the shop's own certificate authority, for phones to install."""
    authority = getattr(request.app.state, "authority", None)
    if authority is None:
        raise InputError("joblog was started without --lan, so there is no certificate.")
    return FileResponse(authority, media_type="application/x-x509-ca-cert", filename="shop.crt")
