"""Live updates by server-sent events.

Each event carries the whole view of the job and the number of its last entry as its id. A browser
that was away reconnects by itself and is given the newest view: nothing can be missed, since
nothing but the record decides what is shown. Entries of other programs on the same store are
noticed too.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from joblog.errors import StoreError
from joblog.job.session import JobSession
from joblog.web.pages import shop_of
from joblog.web.view import job_view

router = APIRouter()
LOOK = 0.4  # seconds between two looks at the record
BEAT = 15.0  # seconds after which silence is broken, so that both ends know the line holds


@router.get("/api/jobs/{job}/events")
async def events(request: Request, job: str) -> StreamingResponse:
    """Stream the view of a job, first as it stands, then at every change."""
    session = await run_in_threadpool(shop_of(request).session, job)
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(
        _stream(request, session), media_type="text/event-stream", headers=headers
    )


async def _stream(request: Request, session: JobSession) -> AsyncIterator[str]:
    seen: tuple[object, ...] = ()
    quiet = 0.0
    yield "retry: 1000\n\n"
    gate = request.app.state.gate
    while gate.may_enter(request) and not await request.is_disconnected():
        talking = shop_of(request).talking.on(session.job)
        refused = shop_of(request).refusals.count(session.job)
        try:
            mark = (*await run_in_threadpool(_ticked, session, talking), refused)
        except StoreError:  # the database is away: the browser says so, and asks again by itself
            return
        if mark != seen:
            seen, quiet = mark, 0.0
            view = await run_in_threadpool(job_view, session, shop_of(request).voice, refused)
            yield f"id: {view['seq']}\nevent: view\ndata: {json.dumps(view)}\n\n"
        elif quiet >= BEAT:
            quiet = 0.0
            yield ": still here\n\n"
        await asyncio.sleep(LOOK)
        quiet += LOOK


def _ticked(session: JobSession, talking: bool = False) -> tuple[int, str, str]:
    """Let the job's clocks speak up, unless somebody is talking; return what tells a changed view.

    Running clocks change nothing: browsers count on by themselves from the seconds they were given.
    """
    if session.state.clocks and not session.state.closed and not talking:
        session.tick()
    last = session.last_reply
    return len(session.state.entries), last.shown, last.typed
