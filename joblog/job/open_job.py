"""A job that is worked on: its record, how it stands, and how something gets into it.

What is to be recorded is planned by pure functions; here it is appended, and answered by what it
changed. What comes in (sentences, sounds, photos) is the session's: :mod:`joblog.job.session`.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, replace
from typing import Any

from joblog.errors import (
    InputError,
    OvertakenError,
    RecordError,
    StoreError,
    UnansweredError,
)
from joblog.job.asking import chosen
from joblog.job.cautions import cautions_said
from joblog.job.drafts import CLOSED, Draft, Plan
from joblog.job.figures import answers_nothing
from joblog.job.guard_meter import METER
from joblog.job.listening import question_plan
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.noting import phrase_behind, takes_back
from joblog.job.opening import sheet_of
from joblog.job.plan import plan
from joblog.job.plan_controls import plan_disregard
from joblog.job.replay import replay
from joblog.job.replies import next_words, reply_for
from joblog.job.settled_question import settled_by
from joblog.job.told import Choice, Told, reasoned
from joblog.job.types import JobState, Reply, StepStatus
from joblog.record.appending import New, chained
from joblog.record.clock import Clock
from joblog.record.entry import Entry, MediaRef, Source
from joblog.record.store import CHANGED_SINCE, Store
from joblog.sheet.model import Sheet
from joblog.speech.types import Hearing, Verdict

IGNORED = Reply("", "", "none")


def _new(
    draft: Draft,
    source: Source,
    by: str,
    heard: str | None = None,
    media: tuple[MediaRef, ...] = (),
) -> New:
    because = {} if heard is None else {"heard": heard}
    return New(draft.kind, draft.body | because, source, by, media, draft.supersedes)


@contextmanager
def answering(entries: Sequence[Entry]) -> Iterator[None]:
    """Say of what fails behind an append that it is the answer alone which is missing.

    Who reads that the database was away says it all again, and it would count twice.
    """
    try:
        yield
    except UnansweredError:
        raise
    except StoreError as error:
        if not entries:
            raise
        raise UnansweredError(
            f"{error}. This is recorded all the same, only its answer is missing: don't say or "
            "send it again"
        ) from error


_NUMBERS = itertools.count(1)
_OVERTAKEN = 5  # times that somebody else may be quicker before it is recorded as it was planned


@dataclass(frozen=True)
class Asked:
    """A photo asked for by a phrase: what it is to show, who asked, and a number that tells when.

    The numbers of all jobs of one program count on, so that the last that asked is known.
    """

    number: int
    kind: str
    phase: str
    by: str


class OpenJob:
    """One job and its record. Safe to share between threads."""

    def __init__(self, store: Store, job: str, clock: Clock | None = None) -> None:
        self.store = store
        self.job = job
        self.clock: Clock = clock or store.clock
        self._entries: list[Entry] = store.entries(job)
        self.sheet: Sheet = sheet_of(self._entries, job)
        self._state: JobState | None = None
        self._last = IGNORED
        self._told = Told()
        self._cautioned: set[str] = set()  # steps whose cautions were said, once each
        self._asked: dict[str, Asked] = {}  # the photos asked for and not taken yet, by kind
        self._lock = threading.RLock()

    @property
    def state(self) -> JobState:
        """The job as it stands, other sessions' entries included."""
        with self._lock:
            last = self._entries[-1]
            new = self.store.entries(self.job, after=last.seq)
            if new and new[0].prev != last.hash:
                raise RecordError(CHANGED_SINCE)
            if new or self._state is None:
                self._entries += new
                self._state = replay(self.sheet, self._entries)
            return self._state

    @property
    def known_closed(self) -> bool:
        """Whether the job was closed when it was last looked at; waits for nobody."""
        return self._state is not None and bool(self._state.closed)

    @property
    def last_reply(self) -> Reply:
        """The last reply that was not silence."""
        return self._last

    @property
    def choice(self) -> Choice | None:
        """What was asked last: which finding a reason is for; None once it is old or answered."""
        return self._told.lately(self.clock.read()).choice

    @property
    def asks(self) -> tuple[Asked, ...]:
        """The photos that were asked for and not taken yet, the newest last; none once closed."""
        with self._lock:
            if not self._asked or self.state.closed:
                return ()
            return tuple(sorted(self._asked.values(), key=lambda asked: asked.number))

    def tell(self, sentence: str) -> None:
        """Show a sentence that answers no phrase, such as that a camera gives no picture."""
        with self._lock:
            self._remember(Reply("See the screen.", sentence, "again"))

    def alone(self) -> AbstractContextManager[Any]:
        """Keep other threads off this session: what is read inside still stands when one writes."""
        return self._lock

    def remark_at_opening(self) -> None:
        """Answer the opening: a meter that shows less, and a first step that has a caution."""
        state = self.state
        seen = [f for f in state.findings if f.key.startswith(METER)]
        says = [(f.spoken, f.told) for f in seen[:1]]
        if state.next_step and cautions_said(state.sheet, state.next_step.step):
            says.append(next_words(state))
        if says:
            opened = tuple(e for e in state.entries if e.kind == "job-opened")
            spoken, shown = (" ".join(parts) for parts in zip(*says, strict=True))
            tone = "warn" if seen else "ok"
            self._remember(Reply(spoken, shown, tone, opened, tuple(seen)))

    def _open_state(self, else_: str) -> JobState:
        """Return the state of the job; InputError where it is closed."""
        state = self.state
        if state.closed:
            raise InputError(f"The job is closed: {else_}. What comes after it is a new job.")
        return state

    def _act(self, meaning: Meaning, source: Source, by: str, heard: str | None = None) -> Reply:
        """Do what a sentence means, or what it settles of the question that waits.

        Two PCs on one database may hear the same at once: who is second plans it anew, on what the
        first has recorded, as one program alone would.
        """
        return self._planned(lambda alone: self._act_once(meaning, source, by, heard, alone=alone))

    @staticmethod
    def _planned(once: Callable[[bool], Reply]) -> Reply:
        """Return what ``once`` does, done anew where it says that somebody else was quicker.

        It is told whether it must be the only one that writes, with ``planned_on`` of what it
        carries out.
        """
        for _ in range(_OVERTAKEN):
            with suppress(OvertakenError):
                return once(True)
        return once(False)

    def _act_once(
        self, meaning: Meaning, source: Source, by: str, heard: str | None, *, alone: bool
    ) -> Reply:
        state = self.state
        repeated = None if state.closed else settled_by(state, self.sheet, meaning, by)
        if repeated is None and meaning.act == "bare" and not meaning.correction:
            return self._remember(answers_nothing(meaning))
        now = self.clock.read()
        told = self._told.lately(now)
        made = repeated or plan(state, meaning, by=by, now=now, told=told)
        planned_on = state.entries[-1] if alone else None
        return self._carry_out(made, source, by, heard, planned_on=planned_on)

    def _carry_out(
        self,
        made: Plan,
        source: Source,
        by: str,
        heard: str | None = None,
        media: tuple[MediaRef, ...] = (),
        *,
        planned_on: Entry | None = None,
    ) -> Reply:
        """Append what a plan wants recorded; the reply tells what that changed, or asks.

        Raises OvertakenError where ``planned_on``, the last entry that the plan knows, is the
        record's last no more.
        """
        if made.say_again:
            # Nothing new is recorded: who asked again is not who said the words before.
            told = self._told
            reply = self._remember(replace(self._last, entries=(), typed=""))
            self._told = replace(told, at=self.clock.read())
            return reply
        before = self.state
        news = [_new(draft, source, by, heard, media) for draft in made.drafts]
        meaning = meaning_of(made.replan, self.sheet) if made.replan else None
        if meaning is not None:
            return self._settle(news, meaning, planned_on)
        entries = self._write(news, planned_on)
        if made.wants_photo:
            kind, phase = made.wants_photo
            self._asked[kind] = Asked(next(_NUMBERS), kind, phase, by)
        with answering(entries):
            return self._answer(made, before, entries)

    def _settle(self, answer: Sequence[New], meaning: Meaning, planned_on: Entry | None) -> Reply:
        """Append an answer with what it chose, both or neither: it would be answered, and lost."""
        now, (first, *_) = self.clock.read(), answer
        entries = [*self.state.entries]
        for new in answer:
            entries.append(chained(self.job, new, now, entries[-1]))
        before = replay(self.sheet, entries)  # as the job will be once it is answered
        made = plan(before, chosen(before, meaning), by=first.by, now=now)
        heard = first.body.get("heard")
        if made.say_again or made.wants_photo or made.replan:
            self._write(answer, planned_on)
            return self._carry_out(made, first.source, first.by, heard)
        more = [_new(draft, first.source, first.by, heard) for draft in made.drafts]
        written = self._write([*answer, *more], planned_on)[len(answer) :]
        with answering(written):
            return self._answer(made, before, written)

    def _answer(self, made: Plan, before: JobState, entries: Sequence[Entry]) -> Reply:
        reply = self._remember(self._reply(made, before, entries))
        if made.lists:
            listed = tuple(f.key for f in reasoned(self.state.open_findings))
            lacks = any(s.status is StepStatus.INCOMPLETE for s in self.state.steps)
            keys = () if lacks else self._told.keys  # a reason may be meant for what is wanted yet
            self._told = Told(keys, self.clock.read(), listed)
        if made.choice is not None:
            self._told = Told(at=self.clock.read(), choice=made.choice)
        return reply

    def _reply(self, made: Plan, before: JobState, entries: Sequence[Entry]) -> Reply:
        if made.wants_photo:
            kind, phase = made.wants_photo
            text = f"Photo {kind}."
            return Reply(text, f"Photo {kind}: take it now.", "ok", wants_photo=(kind, phase))
        if made.spoken or made.tone == "none":
            return Reply(made.spoken, made.shown or made.spoken, made.tone, tuple(entries))
        return reply_for(before, self.state, entries, self._cautioned)

    def _note(
        self,
        text: str,
        source: Source,
        by: str,
        *,
        media: tuple[MediaRef, ...] = (),
        heard: str | None = None,
        question: str | None = None,
    ) -> Reply:
        """Keep a note; ``question`` is the id of the one that waited for its words."""
        before = self.state
        if before.closed:
            return self._carry_out(CLOSED, source, by)
        if not text:
            return self._remember(Reply("Say again.", "No words were heard.", "again"))
        if question is not None and takes_back(text):
            return self._carry_out(plan_disregard(before, by), source, by)
        answer = Draft("answered", {"question": question, "answer": text})
        news = [] if question is None else [_new(answer, source, by)]
        dictated = source == "voice"
        text, phrase = phrase_behind(text, self.sheet) if dictated else (text, "")
        draft = Draft("note", {"text": text, "dictated": dictated})
        entry = self._write([*news, _new(draft, source, by, heard, media)])[-1]
        with answering([entry]):
            noted = self._remember(reply_for(before, self.state, [entry]))
        return self._ask_behind(noted, phrase, by, heard) if phrase else noted

    def _ask_behind(self, noted: Reply, phrase: str, by: str, heard: str | None) -> Reply:
        """Ask about the phrase that was said behind a note."""
        made = question_plan(self.sheet, Hearing(phrase, Verdict.ASK, 0.0), self.state)
        asked = self._carry_out(made, "voice", by, heard)
        spoken, shown = f"{noted.spoken} {asked.spoken}", f"{noted.shown} {asked.shown}"
        entries = (*noted.entries, *asked.entries)
        return self._remember(replace(asked, spoken=spoken, shown=shown, entries=entries))

    def _append(
        self,
        draft: Draft,
        source: Source,
        by: str,
        heard: str | None = None,
        media: tuple[MediaRef, ...] = (),
    ) -> Entry:
        return self._write([_new(draft, source, by, heard, media)])[0]

    def _write(self, news: Sequence[New], planned_on: Entry | None = None) -> list[Entry]:
        """Append all or none: an answer without the value that it chose would lose that value."""
        if not news:
            return []
        behind, alone = planned_on or self._entries[-1], planned_on is not None
        return self.store.append_all(self.job, news, clock=self.clock, behind=behind, alone=alone)

    def _remember(self, reply: Reply) -> Reply:
        if reply.spoken:
            self._last = reply
            self._note_cautions(reply.spoken)
            findings = self.state.open_findings
            self._told = self._told.after(findings, reply, self.clock.read())
        return reply

    def _note_cautions(self, spoken: str) -> None:
        """Remember that the cautions of the next step were said, so that they are said once."""
        following = self.state.next_step
        said = cautions_said(self.sheet, following.step) if following else ""
        if following and said and said in spoken:
            self._cautioned.add(following.step.key)
