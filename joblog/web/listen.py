"""The microphone socket: raw sound in, what was heard and answered out.

First message (text): ``{"rate": 48000, "mode": "open" | "push", "by": "...", "who": "..."}``;
``who`` is any name of the device, the same that it gives when it speaks. Then binary messages of
16-bit little-endian mono samples at that rate. Text messages in between: ``press`` and ``release``
(push to talk), ``speaking`` while a read-back plays and ``spoken`` when its last sample has truly
been played. A page without a microphone says the same by ``/api/jobs/ID/speaking``, for the other
microphones of its job. Answers are JSON objects with ``reply`` (also of what could not be taken, so
that it is told aloud), or ``error`` with one sentence where the line ends, or ``hears``: false when
this microphone goes deaf because joblog speaks, true when it hears again.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import time
from dataclasses import replace
from typing import Any

import numpy as np
from fastapi import APIRouter, Request, WebSocket, WebSocketDisconnect
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from joblog.audio.resample import Resampler
from joblog.audio.segment import Mode, Phase, Segmenter
from joblog.audio.types import Samples, Utterance
from joblog.errors import AudioError, JoblogError
from joblog.job.session import JobSession
from joblog.job.types import Reply
from joblog.speech.breath import GO_ON, Breath
from joblog.web.access import from_own_page
from joblog.web.pages import shop_of
from joblog.web.pool import BusyError
from joblog.web.view import reply_view

router = APIRouter()
RATES = range(8_000, 192_001)
BIGGEST = 1 << 20  # bytes of one message: more than ten seconds at any sane rate
LOOK = 0.05  # seconds between two looks whether somebody still talks
AFTER_SPEAKING = 0.4  # seconds that stay muted for the echo in the room


class Begun(BaseModel):
    """A device that begins to speak for so many seconds at most, or with none has ended."""

    who: str = Field(min_length=1, max_length=40)
    seconds: float = Field(ge=0, le=600)


@router.post("/api/jobs/{job}/speaking")
def speaking(request: Request, job: str, begun: Begun) -> dict[str, bool]:
    """Make all of the job's microphones deaf, or let them hear again."""
    shop = shop_of(request)
    shop.session(job)
    if begun.seconds:
        shop.speaking.begin(job, begun.who, begun.seconds)
    else:
        shop.speaking.end(job, begun.who)
    return {"speaking": shop.speaking.on(job)}


class Ear:
    """One microphone of one bay: its segmenter and its place in the recogniser's queue."""

    def __init__(self, socket: WebSocket, session: JobSession, hello: dict[str, Any]) -> None:
        rate = hello.get("rate")
        if not isinstance(rate, int) or rate not in RATES:
            raise AudioError("The sound's rate must be a number from 8000 to 192000 a second.")
        mode = hello.get("mode", "open")
        if mode not in ("open", "push"):
            raise AudioError("The microphone's mode must be 'open' or 'push'.")
        self.socket = socket
        self.shop = shop_of(socket)
        self.session = session
        self.bay = session.job
        self.by = str(hello.get("by", ""))[:80]
        self.who = str(hello.get("who", ""))[:40]
        self.resampler = Resampler(rate)
        source = self.who or str(id(self))
        self.segmenter = Segmenter(source, Mode.PUSH if mode == "push" else Mode.OPEN, live=True)
        self.breath = Breath()
        self.own_voice = False  # this microphone's own page speaks
        self.deaf = False
        self.told_to_hear = True  # what its page was told last

    def feed(self, data: bytes) -> list[Utterance | None]:
        """Return the utterances that this piece of sound completes; None is silence behind one."""
        if len(data) % 2 or len(data) > BIGGEST:
            raise AudioError("A piece of sound must be whole 16-bit samples, at most 1 MB.")
        self._heed()
        samples: Samples = np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32768)
        ended = [self._timed(u) for u in self.segmenter.feed(self.resampler.feed(samples))]
        pause = self.segmenter.pause
        silent = self.breath.silent(ended, pause)
        talks = pause == 0 or (self.breath.waits and pause < GO_ON)
        self.shop.talking.note(self.bay, self, talks)
        return [*ended, None] if silent else [*ended]

    def _timed(self, utterance: Utterance) -> Utterance:
        """Return it with the time at which it ended: another microphone may have heard it, too."""
        ago = self.segmenter.seconds - utterance.ended
        return replace(utterance, at=time.monotonic() - ago)

    def _heed(self) -> None:
        """Be deaf while this page or another device of the job speaks, and a moment longer."""
        speaks = self.own_voice or self.shop.speaking.on(self.bay, but=self.who)
        if speaks and not self.deaf:
            self.segmenter.mute()
        elif self.deaf and not speaks:
            self.segmenter.unmute(AFTER_SPEAKING)
        self.deaf = speaks

    def command(self, text: str) -> list[Utterance | None]:
        """Obey a text message between two pieces of sound."""
        if text == "press":
            self.segmenter.press()
        elif text == "release":
            made = self.segmenter.release()
            return [self._timed(made)] if made is not None else []
        elif text in ("speaking", "spoken"):
            self.own_voice = text == "speaking"
            self._heed()
        else:
            raise AudioError("That message is not understood; see the page's own script.")
        return []

    def news(self) -> dict[str, bool] | None:
        """Return what to tell the page where this microphone went deaf or hears again, else None.

        It hears again only when the echo has gone, not already with the last word of the answer.
        """
        hears = self.segmenter.phase is not Phase.MUTED
        if hears is self.told_to_hear:
            return None
        self.told_to_hear = hears
        return {"hears": hears}

    def leave(self) -> None:
        """No more comes from this microphone: what waits to be said to its end counts as said."""
        self.shop.talking.note(self.bay, self, talks=False)
        self.breath.silent([], math.inf)
        with contextlib.suppress(BusyError):  # behind what is heard now, and it may wait then
            self.shop.listen(self.bay, self.session, self.breath, None, self.by)

    async def answer(self, utterance: Utterance | None) -> None:
        """Have one utterance heard, or the silence behind it, and send the answers.

        What may go on has none yet (:mod:`joblog.speech.breath`).
        """
        try:
            future = self.shop.listen(self.bay, self.session, self.breath, utterance, self.by)
            replies = await asyncio.wrap_future(future)
        except BusyError as error:
            replies = [Reply("Say again.", str(error), "again")]
        except JoblogError as error:  # nobody under a car sees a line at the foot of the screen
            replies = [Reply("See the screen.", str(error), "again")]
        for reply in replies:
            while self.shop.talking.on(self.bay):  # an answer would make deaf for what is said now
                await asyncio.sleep(LOOK)
            await self.socket.send_json({"reply": reply_view(reply, self.shop.voice)})


@router.websocket("/api/jobs/{job}/listen")
async def listen(socket: WebSocket, job: str) -> None:
    """Hear one microphone until it goes away."""
    gate = socket.app.state.gate
    if not gate.may_enter(socket) or not from_own_page(socket):
        await socket.close(code=4403, reason="This device is not paired; scan a code at the desk.")
        return
    await socket.accept()
    tasks: set[asyncio.Task[None]] = set()
    ear: Ear | None = None
    try:
        hello = json.loads(await socket.receive_text())
        if not isinstance(hello, dict):
            raise AudioError("The first message must be a JSON object with the sound's rate.")
        session = await run_in_threadpool(shop_of(socket).session, job)
        ear = Ear(socket, session, hello)
        ear.shop.warm_up(job, ear.session)
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                break
            if not gate.may_enter(socket):
                raise AudioError("This device's pairing was taken back; scan a new code.")
            data, text = message.get("bytes"), message.get("text")
            found = (
                await run_in_threadpool(ear.feed, data)
                if data is not None
                else ear.command(text or "")
            )
            news = ear.news()
            if news is not None:
                await socket.send_json(news)
            for utterance in found:
                task = asyncio.create_task(ear.answer(utterance))
                tasks.add(task)
                task.add_done_callback(tasks.discard)
    except WebSocketDisconnect:
        pass
    except (JoblogError, ValueError, KeyError) as error:
        said = str(error) if isinstance(error, JoblogError) else "The first message must be JSON."
        with contextlib.suppress(RuntimeError, WebSocketDisconnect):
            await socket.send_json({"error": said})
            await socket.close(code=4400)
    finally:
        # What was said before the line broke is still heard and recorded; only its answer is lost.
        if ear is not None:
            ear.leave()
        if tasks:
            await asyncio.gather(*tasks, return_exceptions=True)
