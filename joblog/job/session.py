"""A job being done: the one place where sentences, sounds and photos become entries.

Everything that is decided is decided by pure functions on the replayed state; a session only reads
clocks, calls the recogniser and the measurements, and appends. Several sessions (a bay screen, a
phone, two people) may run on one job at once: each reads what the others appended before it acts.

    session = JobSession.start(store, sheet_text, {"unit": {"type": "KT-6F"}, "technician": "..."})
    reply = session.type_in("fill plug loose", by="Imani Okafor")
    reply = session.hear(utterance, by="Imani Okafor")
    reply = session.photo(data, "plug", phase="before", by="Imani Okafor")
    for reply in session.tick(): ...
    session.state, session.grammar, session.close("finished")
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from joblog.audio.encode import MIME, flac_bytes
from joblog.audio.types import Beginning, Samples, Utterance
from joblog.errors import InputError, JoblogError, ModelError, UnansweredError
from joblog.job.both_ears import agreed
from joblog.job.check_phrases import PHRASE_RULES
from joblog.job.closing import closing_drafts
from joblog.job.denials import denied
from joblog.job.drafts import Draft, Plan
from joblog.job.expected import expected_tags
from joblog.job.explanations import note_key, words_between
from joblog.job.figures import (
    FIGURES,
    asks_for_number,
    confirmed,
    figures_alone,
    number_alone,
)
from joblog.job.foils import TAG, reply_to_foil
from joblog.job.grammar import awaits_answer, grammar_for_sheet, grammar_for_state
from joblog.job.guard_unit import unit_reasons
from joblog.job.listening import (
    BEGUN_EARLY,
    doubtful,
    heard_body,
    missed,
    only_asks,
    question_plan,
    says_it_is_not_done,
    sure_of_meaning,
)
from joblog.job.lone_no import heard_no
from joblog.job.meaning import meaning_of, meaning_of_typed
from joblog.job.microphones import Microphones, gist_of
from joblog.job.misunderstood import why_not_understood
from joblog.job.noting import dictated_note, note_pending
from joblog.job.open_job import IGNORED, OpenJob
from joblog.job.opening import opening_body, refuse_wrong_unit
from joblog.job.photographing import Shot, Taken, measured_photo
from joblog.job.photos import believed_age, done_when_taken, first_recorded
from joblog.job.plan_controls import plan_control, question_for
from joblog.job.settled_question import settled_by
from joblog.job.ticking import due_announcements
from joblog.job.told_meter import correction
from joblog.job.typed import note_in, typed_words
from joblog.job.types import JobState, Reply
from joblog.job.withdrawing import note_to_withdraw, photo_to_withdraw, withdrawal
from joblog.record.appending import New
from joblog.record.clock import Clock, Moment
from joblog.record.entry import MediaRef, Source
from joblog.record.store import Store
from joblog.sheet.load import sheet_from_text
from joblog.speech.breath import Breath, Said
from joblog.speech.engines import warm_up
from joblog.speech.grammar import Grammar
from joblog.speech.types import Engine, Hearing, Verdict
from joblog.speech.voices import Voice


class JobSession(OpenJob):
    """One job, open for work: what comes in. Safe to share between threads."""

    def __init__(
        self,
        store: Store,
        job: str,
        engine: Engine | None = None,
        clock: Clock | None = None,
    ) -> None:
        super().__init__(store, job, clock)
        self.engine = engine
        self._microphones = Microphones()
        self.voice_of: Callable[[str], Voice | None] = lambda _: None  # by the technician's name

    @classmethod
    def start(
        cls,
        store: Store,
        sheet_text: str,
        opening: Mapping[str, Any],
        engine: Engine | None = None,
        clock: Clock | None = None,
        *,
        name: str = "sheet",
    ) -> JobSession:
        """Open a new job with the sheet's TOML text.

        ``opening`` has shop, unit, customer, order, technician, advisor, complaint (see
        :mod:`joblog.job.types`); ``override`` is the reason for using the sheet on a unit that it
        is not for, which otherwise raises InputError naming the sheet that is; ``earlier_meter``
        what the vehicle's odometer showed at its last job. Raises SheetError for a sheet with
        mistakes.
        """
        sheet = sheet_from_text(sheet_text, name, PHRASE_RULES)
        unit = opening.get("unit") or {}
        override = str(opening.get("override") or "").strip()
        if not override:
            refuse_wrong_unit(sheet, unit)
        by = str(opening.get("technician") or "")
        news = [New("job-opened", opening_body(sheet, sheet_text, opening), "hand", by)]
        for key, _ in unit_reasons(sheet, unit) if override else ():
            news.append(
                New("confirmed", {"finding": f"unit:{key}", "reason": override}, "hand", by)
            )
        job = store.begin_job(news, clock=clock)
        session = cls(store, job, engine, clock)
        session.remark_at_opening()
        return session

    @classmethod
    def resume(
        cls,
        store: Store,
        job: str,
        engine: Engine | None = None,
        clock: Clock | None = None,
    ) -> JobSession:
        """Go on with a job, with the sheet as it was when the job was opened."""
        return cls(store, job, engine, clock)

    @property
    def grammar(self) -> Grammar:
        """What can be said on this job now; :func:`grammar_for_sheet` has all of it."""
        return grammar_for_state(self.state, self.clock.read())

    def hear(self, utterance: Utterance, by: str = "") -> Reply:
        """Listen to one utterance: keep its sound, understand it, act on it or ask back.

        On a closed job nothing is kept, and questions alone are answered. Raises ModelError where
        the session has no recogniser.
        """
        if self.engine is None:
            raise ModelError("no recogniser is loaded; type the phrase, or start with a model")
        with self._lock:
            return self._hear(self.engine, utterance, by)

    def warm_up(self) -> None:
        """Make ready for the first phrase: hear once, silently, with and without answers."""
        if self.engine is not None:
            sheet = self.sheet
            idle, asking = (grammar_for_sheet(sheet, answering=asks) for asks in (False, True))
            warm_up(self.engine, idle, asking, grammar_for_sheet(sheet, numbers=True))

    def listen(self, breath: Breath, utterance: Utterance | None, by: str = "") -> list[Reply]:
        """Listen to the next utterance of an open microphone, or with None to its silence.

        As :meth:`hear`, but what may go on after a pause waits in the microphone's ``breath``: then
        there is no reply yet.
        """
        if self.engine is None:
            raise ModelError("no recogniser is loaded; type the phrase, or start with a model")
        with self._lock:
            if utterance is None:
                return [self._take(self.engine, said, by, breath) for said in breath.release()]
            if self._pending_note(by) is not None and self._microphones.twin(utterance) is None:
                waited = [self._take(self.engine, s, by, breath) for s in breath.release()]
                return [*waited, self._hear(self.engine, utterance, by)]
            found = breath.heard(utterance, lambda samples: self._listen(samples, by))
            return [self._take(self.engine, said, by, breath) for said in found]

    def _listen(self, samples: Samples, by: str) -> Hearing:
        assert self.engine is not None
        state, now = self.state, self.clock.read()
        numbers = asks_for_number(state, by, now)
        choosing = self.choice is not None
        grammar = grammar_for_state(state, now, numbers=numbers, choosing=choosing)
        found = self.engine.hear(samples, grammar, expected=expected_tags(state))
        if not numbers or not figures_alone(found.text) or found.verdict is Verdict.REJECT:
            return found
        voice = self.voice_of(by)
        head = None if voice is None else voice.head
        figures = self.engine.hear(samples, FIGURES, voice=head)
        if voice is not None:
            figures = replace(figures, engine=f"{figures.engine}, voice learnt {voice.since}")
        return confirmed(found, figures)

    def _pending_note(self, by: str) -> str | None:
        state = self.state
        return None if state.closed else note_pending(state, by, self.clock.read())

    def _hear(self, engine: Engine, utterance: Utterance, by: str) -> Reply:
        pending = self._pending_note(by)
        if pending is None:
            return self._take(engine, Said(utterance, self._listen(utterance.samples, by)), by)
        self._microphones.took(utterance)
        sound = self._keep_sound(utterance)
        text = engine.dictate(utterance.samples).strip()
        # What is missing may be a 'not'.
        if utterance.beginning is Beginning.MISSING and not utterance.among_talk:
            part = Hearing(text, Verdict.ASK, 0.0, engine=engine.name, why=BEGUN_EARLY)
            draft = Draft("heard", heard_body(replace(part, duration=utterance.duration)))
            self._append(draft, "voice", by, media=(sound,))
            return self._remember(Reply("Say again.", BEGUN_EARLY, "again"))
        return self._note(text, "voice", by, media=(sound,), question=pending)

    def _keep_sound(self, utterance: Utterance) -> MediaRef:
        return self.store.put_media(flac_bytes(utterance.samples), MIME, role="audio")

    def _take(self, engine: Engine, said: Said, by: str, breath: Breath | None = None) -> Reply:
        """Record that something was heard, and act on it."""
        hearing, utterance = said.hearing, said.utterance
        if self.state.closed:  # it is answered, but the record, whose hash was given out, stays
            return self._understood(hearing, by, "")
        awaited = self.choice is not None or awaits_answer(self.state, self.clock.read())
        hearing = heard_no(engine, utterance, hearing, asked=awaited)
        numbers = asks_for_number(self.state, by, self.clock.read())
        question = question_for(self.state, by) if numbers else None
        unsettled = hearing
        if self._microphones.twin(utterance) is None:  # else the other's question is enough
            hearing = agreed(engine, utterance, hearing, self.sheet, question)
        said = replace(said, hearing=hearing)
        beside = self._microphones.beside(utterance, hearing, self.sheet)
        draft, sound = Draft("heard", heard_body(beside or hearing)), self._keep_sound(utterance)
        heard = self._append(draft, "voice", by, media=(sound,))
        before = breath.entry if breath is not None else ""
        if breath is not None:
            breath.entry = heard.id
        if beside is not None and beside.verdict is Verdict.REJECT:
            return IGNORED
        if hearing.verdict is not Verdict.REJECT:
            self._microphones.took(utterance, gist_of(hearing, self.sheet))
        again = missed(self.sheet, said)
        if again:
            return self._remember(Reply("Say again.", again, "again"))
        doubted = beside or doubtful(self.state, said, before)
        if doubted is None and hearing is unsettled:  # else free words were asked, and deny nothing
            doubted = denied(engine, utterance, hearing, self.sheet)
        if doubted is not None:
            asked = question_plan(self.sheet, doubted, self.state)
            return self._carry_out(asked, "voice", by, heard.id)
        note = dictated_note(engine, utterance, hearing)
        if note:
            self._microphones.took(utterance)
            return self._note(note, "voice", by, heard=heard.id)
        return self._understood(hearing, by, heard.id)

    def _understood(self, hearing: Hearing, by: str, heard: str) -> Reply:
        state = self.state
        unclear = hearing.verdict is Verdict.ASK and not sure_of_meaning(self.sheet, hearing)
        if hearing.verdict is Verdict.REJECT or (unclear and state.closed):
            return IGNORED
        if says_it_is_not_done(self.sheet, hearing):
            foil = meaning_of(hearing.text, self.sheet)
            return self._remember(reply_to_foil(hearing.text, foil.target if foil else ""))
        asked = only_asks(self.sheet, hearing)
        if asked is not None:  # never the sound of "recorded"
            answered = replace(plan_control(state, asked), tone="again")
            return self._carry_out(answered, "voice", by, heard)
        if unclear and number_alone(hearing.text, self.sheet) is not None:
            return self._remember(Reply("Say again.", "The number was not clear.", "again"))
        if unclear:
            settled = settled_by(state, self.sheet, hearing, by)
            if settled is None:
                settled = question_plan(self.sheet, hearing, state)
            return self._carry_out(settled, "voice", by, heard)
        meaning = meaning_of(hearing.text, self.sheet) or number_alone(hearing.text, self.sheet)
        return IGNORED if meaning is None else self._act(meaning, "voice", by, heard)

    def type_in(self, text: str, by: str = "", source: Source = "hand") -> Reply:
        """Take a phrase as typed text ('drain plug torqued to 41 ft lb'); act on it or say why not.

        What the grammar doesn't know changes nothing; the reply says what would be understood.
        """
        with self._lock:
            reply = self._typed_in(text, by, source)
            typed = replace(reply, typed=text.strip())
            if reply is not self._last:  # a refusal, which nobody has kept yet
                return self._remember(typed)
            self._last = typed  # what it told is known already
            return typed

    def _typed_in(self, text: str, by: str, source: Source) -> Reply:
        pending = note_pending(self.state, by, self.clock.read())
        note = text.strip() if pending is not None else note_in(text)
        if note:
            return self._note(note, source, by, question=pending)
        meaning = meaning_of_typed(text, self.sheet)
        if meaning is None and asks_for_number(self.state, by, self.clock.read()):
            meaning = number_alone(typed_words(text), self.sheet)
        if meaning is None:
            return Reply("Say again.", why_not_understood(text, self.sheet), "again")
        if meaning.act == TAG:
            return replace(reply_to_foil(text.strip(), meaning.target), tone="again")
        return self._act(meaning, source, by)

    def photo(
        self,
        data: bytes,
        kind: str,
        step: str | None = None,
        *,
        phase: str | None = None,
        by: str = "",
        name: str = "",
        taken_ago: float = 0.0,
        replaces: str | None = None,
    ) -> Reply:
        """Keep a photo (the bytes of a JPEG, PNG or HEIC file), measure it, and say what it shows.

        ``kind`` is plug, dipstick, fluid, label or other; without ``step`` it documents the step
        that wants such a photo next, or wanted it ``taken_ago`` seconds ago. ``replaces`` is the id
        of a photo that was recorded as of another kind and is this picture. Raises PhotoError where
        it is no photo; nothing is kept then.
        """
        taken = Taken(data, kind, step, phase, name, taken_ago, replaces)
        self.look_ahead(taken)
        with self._lock:
            return self._planned(lambda alone: self._photo_once(taken, by, alone))

    def _photo_once(self, taken: Taken, by: str, alone: bool) -> Reply:
        state, now = self._photographed()
        last = state.entries[-1] if alone else None
        shot = self._shot(state, taken, now)
        parts = shot.parts
        media = tuple(self.store.put_media(p.data, p.mime, p.role, p.name) for p in parts)
        waited = believed_age(state, now, taken.ago)
        late = {"waited": str(waited)} if waited and not taken.replaces else {}
        draft = Draft("photo", shot.body | late, supersedes=taken.replaces)
        asked = self._asked.pop(taken.kind, None)
        try:
            return self._carry_out(Plan((draft,)), "photo", by, media=media, planned_on=last)
        except UnansweredError:
            raise
        except JoblogError:  # it was not recorded, so it is still asked for
            if asked is not None:
                self._asked.setdefault(taken.kind, asked)
            raise

    def look_ahead(self, taken: Taken) -> None:
        """Measure a photo while nobody waits for the job; :meth:`photo` finds it measured.

        What it is of is decided there, from the job as it stands then. Raises as it does.
        """
        with self._lock:
            state, now = self._photographed()
        self._shot(state, taken, now)

    def _photographed(self) -> tuple[JobState, Moment]:
        return self._open_state("this photo is not added to it"), self.clock.read()

    def _shot(self, state: JobState, taken: Taken, now: Moment) -> Shot:
        asked = self._asked.get(taken.kind)
        if taken.step is None and not taken.phase:  # a phone sends the kind alone
            taken = replace(taken, phase=asked.phase or None if asked else None)
        first = first_recorded(state.entries, taken.replaces) if taken.replaces else None
        done = done_when_taken(state, now, taken.ago, first)
        return measured_photo(state, taken, now, done)

    def disregard_photo(self, entry: str, by: str = "") -> Reply:
        """Take back the photo of ``entry`` (its id). Raises InputError where none counts."""
        with self._lock:
            state = self._open_state("no photo of it is taken back")
            photo = photo_to_withdraw(state, entry).entry
            return self._carry_out(withdrawal(state, photo), "hand", by)

    def disregard_note(self, entry: str, by: str = "") -> Reply:
        """Take back the note of ``entry`` (its id), told to the customer or not.

        Raises InputError where none counts.
        """
        with self._lock:
            state = self._open_state("no note of it is taken back")
            return self._carry_out(withdrawal(state, note_to_withdraw(state, entry)), "hand", by)

    def correct_meter(self, value: str, unit: str, by: str = "") -> Reply:
        """Put another figure in place of what the opening told of the odometer or hour meter.

        ``unit`` is mi, km or h. Raises InputError where no meter shows that.
        """
        with self._lock:
            state = self._open_state("its odometer stays as it was told")
            return self._carry_out(Plan((correction(state, value, unit),)), "hand", by)

    def tick(self) -> list[Reply]:
        """Return the announcements that are due now ('reading window open'), each only once.

        They are entries too, so that a restarted program doesn't announce twice. Call it about
        every second.
        """
        with self._lock:
            replies = []
            for due in due_announcements(self.state, self.clock.read()):
                entry = self._append(due.draft, "clock", "")
                replies.append(self._remember(Reply(due.spoken, due.shown, "ok", (entry,))))
            return replies

    def confirm(self, finding: str, reason: str, by: str = "") -> Reply:
        """Let the finding stand, for a reason. Raises InputError for an unknown key."""
        with self._lock:
            if self._open_state("nothing more is confirmed").finding(finding) is None:
                raise InputError(f"there is no finding '{finding}' on this job")
            if not reason.strip():
                raise InputError("a finding is confirmed with a reason; give one")
            draft = Draft("confirmed", {"finding": finding, "reason": reason.strip()})
            return self._carry_out(Plan((draft,)), "hand", by)

    def explain(self, finding: str, text: str, by: str = "", seen: str | None = None) -> Reply:
        """Add the advisor's words for the customer to a finding, or to a note (its key).

        ``seen`` are the words that stood there for whoever writes. Where others were kept since,
        nothing is kept, and the reply says whose they are. Raises InputError for an unknown key
        and for empty words.
        """
        with self._lock:
            state, words = self.state, text.strip()
            notes = [note_key(note) for note in state.notes]
            if state.finding(finding) is None and finding not in notes:
                raise InputError(f"there is no finding '{finding}' on this job")
            if not words:
                raise InputError("There are no words for the customer yet: write a sentence first.")
            between = words_between(state, finding, words, seen)
            if between:
                return Reply("", between, "again")
            entry = self._append(
                Draft("explained", {"finding": finding, "text": words}), "hand", by
            )
            return Reply("", "Explanation kept.", "ok", (entry,))

    def sign(self, name: str, image: bytes | None, mime: str = "image/png", by: str = "") -> Reply:
        """Keep a signature: the picture that was drawn, or None where the name itself was typed."""
        with self._lock:
            typed = {"how": "typed"} if image is None else {}
            media = () if image is None else (self.store.put_media(image, mime, role="signature"),)
            draft = Draft("signature", {"name": name} | typed)
            entry = self._append(draft, "hand", by, media=media)
            return Reply("", f"Signed by {name}.", "ok", (entry,))

    def close(self, how: str = "finished", reason: str = "", by: str = "") -> Reply:
        """Close the job: ``how`` is 'finished' or 'aborted'.

        A job with something missing or open is not finished: the reply says what. With a
        ``reason`` everything open is confirmed with it first. Raises InputError for another
        ``how``, and for aborting without a reason.
        """
        with self._lock:
            reply = self._close_once(how, reason, by)
            if how == "finished" and reason.strip() and not self.state.closed:
                # Asking to close is what shows what is missing: now it can be confirmed, too.
                reply = self._close_once(how, reason, by)
            return reply

    def _close_once(self, how: str, reason: str, by: str) -> Reply:
        def once(alone: bool) -> Reply:
            state = self.state
            made = closing_drafts(state, how, reason.strip())
            last = state.entries[-1] if alone else None
            return self._carry_out(made, "hand", by, planned_on=last)

        return self._planned(once)
