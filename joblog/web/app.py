"""The web application: pages, their JSON, live updates and the microphone socket."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from threading import Event, Thread
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.base import BaseHTTPMiddleware, RequestResponseEndpoint

from joblog import __version__
from joblog.errors import JoblogError, StoreError, TooLargeError
from joblog.readback.clips import FOLDER as CLIPS
from joblog.web import desk, jobs, listen, live, pages, phone, start, trust, voices
from joblog.web.access import Gate, too_large
from joblog.web.heard_out import HeardOut
from joblog.web.pages import wants_page
from joblog.web.shop import Shop

LAST_PHOTO = 10.0  # seconds that a picture being measured has at the end
STATIC = Path(__file__).with_name("static")
# Nothing may come from another host, no page may be framed, no script but our own runs.
POLICY = (
    "default-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "style-src 'self' 'unsafe-inline'; frame-ancestors 'self'; form-action 'self'; base-uri 'none'"
)

NOT_SO = {
    400: "That could not be read as it was sent; check it and send it again.",
    404: "There is no such page here; go on from the list of jobs.",
    405: "That can't be done with this page; go on from the list of jobs.",
}


class Guarded(BaseHTTPMiddleware):
    """Lets in whom the gate knows, and sends the headers that keep a page to itself."""

    def __init__(self, app: Any, gate: Gate) -> None:
        super().__init__(app)
        self.gate = gate

    async def dispatch(self, request: Request, call_next: RequestResponseEndpoint) -> Response:
        """Refuse strangers and posts from other pages."""
        request.state.kind = self.gate.kind_of(request)  # a page offers no link that it may not use
        response = self._refused(request) or await call_next(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        return response

    def _refused(self, request: Request) -> Response | None:
        refused = self.gate.why_not(request)
        if refused and wants_page(request):
            return pages.sentence_page(request, refused, 403)
        if refused:
            return PlainTextResponse(refused, status_code=403)
        if too_large(request):
            sentence = "That is too large to be a form; send photos as photos."
            return JSONResponse({"error": sentence}, status_code=413)
        return None


def create_app(
    shop: Shop, gate: Gate | None = None, beside: Sequence[Callable[[Event], None]] = ()
) -> FastAPI:
    """Return the application for ``shop``; without a ``gate`` this machine alone is let in.

    Each of ``beside`` runs in a thread of its own until the application ends.
    """

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        stop = Event()
        threads = [Thread(target=run, args=(stop,), daemon=True) for run in beside]
        for thread in threads:
            thread.start()
        yield
        stop.set()
        app.state.courses.stop()
        for thread in threads:
            thread.join(LAST_PHOTO)
        shop.close()

    app = FastAPI(title="joblog", version=__version__, lifespan=life, docs_url=None, redoc_url=None)
    app.state.shop = shop
    app.state.courses = voices.Courses()
    app.state.gate = gate or Gate(shop.folder / "access.json")
    app.add_middleware(Guarded, gate=app.state.gate)
    app.add_middleware(HeardOut)  # around the gate: it refuses without reading, too
    app.mount("/static/clips", StaticFiles(directory=CLIPS, check_dir=False), name="clips")
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for room in (pages, jobs, start, live, listen, desk, phone, trust, voices):
        app.include_router(room.router)

    @app.exception_handler(JoblogError)
    async def _told(request: Request, error: JoblogError) -> Response:
        status = 413 if isinstance(error, TooLargeError) else 400
        if isinstance(error, StoreError):  # of what was sent nothing is wrong: it is sent again
            status = 503
        return _sentence(request, str(error), status)

    @app.exception_handler(HTTPException)
    async def _not_so(request: Request, error: HTTPException) -> Response:
        known = error.status_code in NOT_SO
        return _sentence(request, NOT_SO[error.status_code if known else 400], error.status_code)

    @app.exception_handler(RequestValidationError)
    async def _unfit(request: Request, error: RequestValidationError) -> Response:
        field = str(error.errors()[0]["loc"][-1])
        sentence = f"'{field}' can't be used as it was sent; check it and send it again."
        return _sentence(request, sentence, 422)

    return app


def _sentence(request: Request, sentence: str, status: int) -> Response:
    """Return what is wrong, to a person as a page."""
    if wants_page(request):
        return pages.sentence_page(request, sentence, status)
    return JSONResponse({"error": sentence}, status_code=status)
