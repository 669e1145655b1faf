"""Teaching joblog a technician's voice: a page with strings of digits to read aloud.

What is read is kept in memory until it was learnt from, then dropped. One lesson a name at a time.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from joblog.audio.resample import Resampler
from joblog.errors import AudioError, InputError, JoblogError
from joblog.speech.lesson import Lesson, second_ear_of, spaced, summary
from joblog.speech.voice import STRINGS
from joblog.speech.voices import Voice, plain
from joblog.web.listen import RATES
from joblog.web.pages import body_of, page, shop_of
from joblog.web.pool import BusyError
from joblog.web.shop import Shop

router = APIRouter()
LONGEST_READ = 15  # seconds of one reading
MOST = 8  # lessons at a time; the oldest is dropped


@dataclass
class Course:
    """A lesson on a page, and how far joblog is with learning from it."""

    lesson: Lesson
    told: str = ""
    share: float | None = None  # of the learning; None before it begins
    done: bool = False


class Courses:
    """The lessons that run, by name."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._by_name: dict[str, Course] = {}
        self._learning = threading.Lock()  # one at a time: it takes a core for a minute

    def begin(self, name: str) -> Course:
        """Begin a lesson anew. InputError where its last one is being learnt from just now."""
        course = Course(Lesson(name))
        key = course.lesson.name.casefold()
        with self._lock:
            running = self._by_name.get(key)
            if running and running.share is not None and not running.done:
                raise InputError(f"joblog learns from what {running.lesson.name} read; wait.")
            self._by_name.pop(key, None)
            while len(self._by_name) >= MOST:
                self._by_name.pop(next(iter(self._by_name)))
            self._by_name[key] = course
        return course

    def find(self, name: str) -> Course:
        """Return the lesson of ``name``; InputError where none was begun."""
        with self._lock:
            course = self._by_name.get(plain(name).casefold())
        if course is None:
            raise InputError("This lesson is not there any more; begin it anew.")
        return course

    def learn(self, course: Course, shop: Shop) -> None:
        """Learn from what was read; says in the course what came of it."""

        def told(share: float) -> None:
            course.share = share

        with self._learning:
            try:
                ear = second_ear_of(shop.engine())
                learnt, kept = course.lesson.learn(ear, shop.voices, told)
                course.told = summary(course.lesson.name, learnt, kept)
            except JoblogError as error:
                course.told = str(error)
            finally:
                course.lesson.read.clear()
                course.done = True


class Named(BaseModel):
    """Whose voice it is."""

    name: str = Field(min_length=1, max_length=80)


def _courses(request: Request) -> Courses:
    found: Courses = request.app.state.courses
    return found


@router.get("/voice")
def voice_page(request: Request, who: Annotated[str, Query(alias="name")] = "") -> Response:
    """Show whose voices are known, and the lesson."""
    shop = shop_of(request)
    known, trouble = _known(shop)
    return page(
        request, "voice.html", known=known, trouble=trouble, who=who[:80], count=len(STRINGS)
    )


def _known(shop: Shop) -> tuple[list[Voice], str]:
    try:
        return shop.voices.listed(), ""
    except JoblogError as error:
        return [], str(error)


@router.post("/api/voice/begin")
def begin(request: Request, who: Named) -> dict[str, Any]:
    """Begin a lesson."""
    second_ear_of(shop_of(request).engine())
    return _view(_courses(request).begin(who.name))


@router.put("/api/voice/read")
async def read(
    request: Request, name: Annotated[str, Query()], rate: Annotated[int, Query()]
) -> dict[str, Any]:
    """Take one reading: 16-bit little-endian mono samples at ``rate``."""
    if rate not in RATES:
        raise AudioError("The sound's rate must be a number from 8000 to 192000 a second.")
    data = await body_of(request)
    if len(data) % 2 or len(data) > LONGEST_READ * 2 * rate:
        raise AudioError(f"Read one string at a time, in at most {LONGEST_READ} seconds.")
    return await run_in_threadpool(_taken, shop_of(request), _courses(request), name, data, rate)


def _taken(shop: Shop, courses: Courses, name: str, data: bytes, rate: int) -> dict[str, Any]:
    course = courses.find(name)
    sound = np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32768)
    samples = Resampler(rate).feed(np.pad(sound, rate // 4))
    engine = shop.engine()
    try:
        call = shop.pool.submit(f"voice {name}", lambda: course.lesson.take(engine, samples))
        course.told = call.result()
    except BusyError as error:
        raise InputError(str(error)) from None
    return _view(course)


@router.post("/api/voice/leave-out")
def leave_out(request: Request, who: Named) -> dict[str, Any]:
    """Go on with the next string."""
    course = _courses(request).find(who.name)
    course.lesson.leave_out()
    course.told = ""
    return _view(course)


@router.post("/api/voice/learn")
def learn(request: Request, who: Named) -> dict[str, Any]:
    """Learn from what was read, in a thread of its own; ask again how far it is."""
    courses, shop = _courses(request), shop_of(request)
    course = courses.find(who.name)
    if not course.lesson.enough:
        raise InputError("Too few strings were read to learn from; begin anew.")
    if course.share is None:
        course.share = 0.0
        threading.Thread(target=courses.learn, args=(course, shop), daemon=True).start()
    return _view(course)


@router.get("/api/voice/lesson")
def lesson(request: Request, name: str) -> dict[str, Any]:
    """Say how far a lesson is."""
    return _view(_courses(request).find(name))


@router.post("/api/voice/forget")
def forget(request: Request, who: Named) -> dict[str, Any]:
    """Delete a learnt voice for good."""
    gone = shop_of(request).voices.forget(who.name)
    name = plain(who.name)
    return {"told": f"The voice of {name} is deleted." if gone else f"No voice of {name} is known."}


def _view(course: Course) -> dict[str, Any]:
    mine = course.lesson
    return {
        "name": mine.name,
        "wanted": spaced(mine.wanted),
        "read": len(mine.read),
        "enough": mine.enough,
        "told": course.told,
        "share": course.share,
        "done": course.done,
    }
