"""Teaching joblog a technician's voice: a page with strings of digits to read aloud.

What is read is kept in memory until it was learnt from, then dropped. One lesson a name at a time.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
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
from joblog.speech.voices import plain
from joblog.web.listen import RATES
from joblog.web.other_words import other_words
from joblog.web.pages import body_of, page, shop_of
from joblog.web.pool import BusyError
from joblog.web.shop import Shop

router = APIRouter()
LONGEST_READ = 15  # seconds of one reading
MOST = 8  # lessons at a time; the oldest that is not learnt from is dropped
IDLE_SECONDS = 600.0  # after which a lesson that nobody goes on with is dropped
LAST_SECONDS = 5.0  # that learning has to stop in, at the end


class StoppedError(Exception):
    """Nobody wants to know any more what would be learnt."""


@dataclass
class Course:
    """A lesson on a page, and how far joblog is with learning from it."""

    lesson: Lesson
    told: str = ""
    share: float | None = None  # of the learning; None before it begins
    done: bool = False
    stopped: bool = False
    touched: float = field(default_factory=time.monotonic)

    @property
    def learns(self) -> bool:
        """Whether joblog learns from it just now, or will."""
        return self.share is not None and not self.done


class Courses:
    """The lessons that run, by name."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._by_name: dict[str, Course] = {}
        self._learning = threading.Lock()  # one at a time: it takes a core for a minute
        self._threads: list[threading.Thread] = []

    def begin(self, name: str) -> Course:
        """Begin a lesson anew. InputError where its last one is being learnt from just now."""
        course = Course(Lesson(name))
        key = course.lesson.name.casefold()
        with self._lock:
            self._drop_old()
            running = self._by_name.get(key)
            if running and running.learns:
                raise InputError(f"joblog learns from what {running.lesson.name} read; wait.")
            idle = [other for other, one in self._by_name.items() if not one.learns]
            for other in idle[: max(0, len(self._by_name) - MOST + 1)]:
                del self._by_name[other]
            self._by_name[key] = course
        return course

    def _drop_old(self) -> None:
        """Forget lessons that nobody went on with, and what was read in them."""
        now = time.monotonic()
        self._by_name = {
            key: one
            for key, one in self._by_name.items()
            if one.learns or now - one.touched < IDLE_SECONDS
        }

    def find(self, name: str) -> Course:
        """Return the lesson of ``name``; InputError where none was begun."""
        with self._lock:
            self._drop_old()
            course = self._by_name.get(plain(name).casefold())
        if course is None:
            raise InputError("This lesson is not there any more; begin it anew.")
        course.touched = time.monotonic()
        return course

    def start(self, course: Course, shop: Shop) -> None:
        """Learn from what was read, in a thread of its own; once only."""
        with self._lock:
            if course.share is not None:
                return
            course.share = 0.0
            thread = threading.Thread(target=self._learn, args=(course, shop), daemon=True)
            self._threads = [one for one in self._threads if one.is_alive()] + [thread]
        thread.start()

    def _learn(self, course: Course, shop: Shop) -> None:
        """Learn; says in the course what came of it."""

        def told(share: float) -> None:
            if course.stopped:
                raise StoppedError
            course.share = share

        with self._learning:
            try:
                ear = second_ear_of(shop.engine())
                learnt, kept = course.lesson.learn(ear, shop.voices, other_words(), told)
                course.told = summary(course.lesson.name, learnt, kept)
            except JoblogError as error:
                course.told = str(error)
            except StoppedError:
                course.told = "Nothing was learnt: it was stopped."
            finally:
                course.lesson.read.clear()
                course.done = True

    def stop(self, name: str = "") -> None:
        """Stop learning the voice of ``name``, or with '' every one, and wait for its end."""
        with self._lock:
            for key, course in self._by_name.items():
                course.stopped |= not name or key == plain(name).casefold()
            threads = [] if name else self._threads
        for thread in threads:
            thread.join(LAST_SECONDS)


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
    known, wrong = shop.voices.listed()
    return page(request, "voice.html", known=known, wrong=wrong, who=who[:80], count=len(STRINGS))


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
    if course.share is not None:  # another tab of the same lesson
        raise InputError("joblog learns from what was read already; begin anew to read more.")
    sound = np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32768)
    samples = Resampler(rate).feed(np.pad(sound, rate // 4))
    engine = shop.engine()
    try:
        call = shop.pool.submit("voice", lambda: course.lesson.take(engine, samples))
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
    courses.start(course, shop)
    return _view(course)


@router.get("/api/voice/lesson")
def lesson(request: Request, name: str) -> dict[str, Any]:
    """Say how far a lesson is."""
    return _view(_courses(request).find(name))


@router.post("/api/voice/forget")
def forget(request: Request, who: Named) -> dict[str, Any]:
    """Delete a learnt voice for good."""
    _courses(request).stop(who.name)
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
