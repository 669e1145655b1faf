"""What a job is at one moment, as computed by replay; nothing here is stored.

The record holds entries of these kinds (``Entry.kind``) with these bodies; values are decimal
strings, never floats. ``heard`` in a body is the id of the hearing that led to the entry.

``job-opened``      sheet {key, title, revision, sha256, toml}, shop {name, address, phone},
                    unit {type, make, model, year, vin, plate, engine, odometer, odometer_unit},
                    customer {name, contact}, order, technician, advisor, complaint,
                    earlier_meter {job, at, value, unit} of the vehicle's newest job before,
                    where it told one
``heard``           text, verdict, confidence, alternatives [{text, confidence}], engine, why
                    (media role ``audio``)
``step-done``       step
``torque``          step, value, unit
``quantity``        fluid, direction, value, unit, step
``reading``         step, name, value, unit; of a range low and high stand in place of value
``photo``           step, kind, phase, measurement {the photo command's fields; of a label,
                    labels and vin, or vin_trouble where it can't be right}, trial,
                    waited (seconds on the phone, where it had no network)
                    (media roles ``photo`` and ``overlay``)
``part``            step, part, state (new, reused)
``clock``           name, event (start, stop)
``asked``           question, options [text], about
``confirmed``       finding, reason
``note``            text
``disregarded``     (supersedes names the entry taken back)
``explained``       finding (or ``note:`` and its id), text (the advisor's words for the customer)
``signature``       name (media role ``signature``), or name and how ('typed') without a picture
``job-closed``      how (finished, aborted), reason
``answered``        question (id of the ``asked`` entry), answer (as spoken), how ('replaced')
``meter``           value, unit: the odometer or hour meter as told at the opening, corrected
                    (supersedes names the opening, or the correction before)
``asked-again``     question (id of the ``asked`` entry), which is asked once more

Numbers are decimal strings ("3.3") or exact fractions ("1/3"). A ``torque`` of a step with several
fasteners carries ``which`` ("all", or "1", "2" ...), and ``wrench`` (the tool's key) where it is
known; its value is what the wrench shows. ``photo`` measurements keep their floats as
decimal strings, since a record holds no floats; ``Photo.measurement`` has them as numbers again.
``asked`` says in ``about`` what hangs on it: ``hearing`` (an unclear sentence), ``value`` (an
ambiguous or absurd number), ``note`` (the next utterance is the note), ``close`` (the job can't be
closed yet); its ``options`` are sentences that the grammar understands.

A corrected ``torque``, ``quantity``, ``reading`` or ``photo`` is a new entry of the same kind whose
``supersedes`` names the old one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Any

from joblog.job.order import overtaken, ready
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet, Step

KINDS = frozenset(  # of entries that this version knows; it keeps others and says that it does
    {
        *("job-opened", "heard", "step-done", "torque", "quantity", "reading", "photo", "part"),
        *("clock", "asked", "asked-again", "answered", "confirmed", "note", "disregarded"),
        *("explained", "signature", "meter", "job-closed"),
    }
)


class StepStatus(StrEnum):
    """Where a step stands."""

    OPEN = "open"
    DONE = "done"
    INCOMPLETE = "incomplete"  # marked done, but a value or photo that it needs is missing


class FindingKind(StrEnum):
    """What the guard noticed."""

    OUT_OF_ORDER = "out of order"
    OUT_OF_SPEC = "out of specification"
    OUTSIDE_WINDOW = "outside its time window"
    MISSING = "missing"
    UNSURE = "not sure"
    CONDITION = "unsafe or unready condition"
    MISMATCH = "quantities do not agree"
    WRONG_UNIT = "wrong unit for this sheet"
    OTHER_VEHICLE = "label of another vehicle"
    OBSERVATION = "observation"  # seen in a photo or said in a note; nobody's mistake


@dataclass(frozen=True)
class Finding:
    """Something the guard noticed. ``key`` is stable over replays, so entries can refer to it.

    ``text`` is for the technician, ``customer`` for the customer; ``resolved`` says how it ended
    ('' while it is open).
    """

    key: str
    kind: FindingKind
    text: str
    step: str | None = None
    entry: str | None = None  # id of the entry at which it was noticed
    at: str | None = None
    resolved: str = ""
    customer: str = ""
    spoken: str = ""  # ``text`` in words that can be spoken, numbers digit by digit
    advice: str = ""  # what may still be done about it, while it is open

    @property
    def told(self) -> str:
        """``text``, and while it is open the advice."""
        return f"{self.text} {self.advice}" if self.advice and not self.resolved else self.text


@dataclass(frozen=True)
class Value:
    """One value that counts (not superseded), beside what was specified.

    ``value`` is the lower end of a range and ``upper`` its higher one, None where it is no range.
    """

    name: str
    value: Decimal | Fraction
    unit: str
    entry: Entry
    step: str | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    nominal: Decimal | None = None
    within: bool | None = None  # None where nothing is specified
    corrected_from: tuple[Entry, ...] = ()
    spec_unit: str = ""  # unit of low, high and nominal; '' where nothing is specified
    in_spec_unit: Fraction | None = None  # ``value`` converted exactly, None where it can't be;
    # through an adapter, what the fastener gets while the wrench shows ``value``
    wrench: str = ""  # key of the wrench that was used, '' where nobody knows
    adapter: str = ""  # key of the adapter that it was used through
    undone: bool = False  # its step was undone since (a sheet's ``undoes``): it counts no more
    early: bool = False  # taken before its window's start: it says nothing of what was wanted
    upper: Decimal | Fraction | None = None
    upper_in_spec_unit: Fraction | None = None

    @property
    def first_seq(self) -> int:
        """Place in the record of the first entry of this value, before any correction."""
        return self.corrected_from[0].seq if self.corrected_from else self.entry.seq


@dataclass(frozen=True)
class Photo:
    """One photo with its measurement (the fields of the photo command)."""

    kind: str
    phase: str
    measurement: dict[str, Any]
    entry: Entry
    step: str | None = None
    early: bool = False  # taken before its window's start, or its step's turn

    @property
    def usable(self) -> bool:
        """Whether the measurement counts."""
        return bool(self.measurement.get("usable"))

    @property
    def together(self) -> dict[str, Any]:
        """What this and the shot before say together of a dipstick; {} of one shot alone."""
        return self.measurement.get("together") or {}

    @property
    def level(self) -> tuple[Any, Any]:
        """The dipstick's level and its uncertainty, of two shots together where there are two."""
        told = self.together if self.together.get("usable") else self.measurement
        return told.get("level_fraction"), told.get("level_uncertainty")


@dataclass(frozen=True)
class StepState:
    """A step of the sheet and what has become of it."""

    step: Step
    status: StepStatus
    at: str | None = None
    entry: Entry | None = None
    values: tuple[Value, ...] = ()
    photos: tuple[Photo, ...] = ()
    missing: tuple[str, ...] = ()  # what is still wanted, in words: "torque", "photo of the plug"


@dataclass(frozen=True)
class FluidState:
    """Sums of one fluid, exact, in the unit of its service amount.

    ``poured_in`` and ``poured_out`` are since the drain plug came out last.
    """

    key: str
    name: str
    unit: str
    poured_in: Fraction
    poured_out: Fraction
    specified: Decimal | None
    total: Decimal | None
    renewed: (
        Decimal | None
    )  # share of the fluid that is new, 0..1; at least, where ``again`` came out
    all_in: Fraction = Fraction(0)  # of the whole job, with what was filled and drained once more
    all_out: Fraction = Fraction(0)
    again: Fraction = Fraction(0)  # what came out once new fluid was in: part of it may be new


@dataclass(frozen=True)
class ClockState:
    """A wait or reading window since a step: all in seconds of monotonic time."""

    name: str
    step: str  # the step whose window this is
    started_at: str
    started_mono: Decimal
    boot: str
    opens: Decimal
    closes: Decimal | None
    stopped: bool = False


@dataclass(frozen=True)
class Question:
    """What joblog has asked and waits for."""

    entry: Entry
    question: str
    options: tuple[str, ...]
    about: str = "hearing"
    again: Entry | None = None  # where it was asked once more, the last time

    @property
    def asked(self) -> Entry:
        """The entry with which it was asked last: its answers are listened for from then on."""
        return self.again or self.entry

    @property
    def in_full(self) -> str:
        """The question with the answers that it wants."""
        wants = self.about == "hearing" and len(self.options) == 1
        return f"{self.question} Affirm or negative." if wants else self.question


@dataclass(frozen=True)
class Mark:
    """One moment at which a step counted as done, and what held just before it.

    ``entry`` is the entry that counts; its time is that of ``root``, the entry first recorded
    before any correction.
    """

    step: str
    entry: Entry
    root: Entry
    conditions: frozenset[str]
    done: frozenset[str]
    first: bool  # the step was not done before


@dataclass(frozen=True)
class JobState:
    """The whole job, as replayed from its entries."""

    job: str
    sheet: Sheet
    opened: dict[str, Any]  # body of job-opened, with the meter as it was corrected last
    opened_at: str
    steps: tuple[StepState, ...]
    fluids: tuple[FluidState, ...]
    values: tuple[Value, ...]
    photos: tuple[Photo, ...]
    clocks: tuple[ClockState, ...]
    findings: tuple[Finding, ...]
    notes: tuple[Entry, ...]
    conditions: frozenset[str]
    question: Question | None
    closed: str  # '', 'finished' or 'aborted'
    entries: tuple[Entry, ...]
    explained: dict[str, Entry] = field(default_factory=dict)  # finding key -> advisor's words
    marks: tuple[Mark, ...] = ()
    early: tuple[Mark, ...] = ()  # steps reported before their window's start: they don't count
    questions: tuple[
        Question, ...
    ] = ()  # all that are open, oldest first; ``question`` is the last
    fan_cycles: int = 0
    signatures: tuple[Entry, ...] = ()

    @property
    def reported(self) -> tuple[Mark, ...]:
        """Every time that a step was reported, too early for its window or not, oldest first."""
        too_early = {mark.entry.id for mark in self.early}
        counted = (mark for mark in self.marks if mark.entry.id not in too_early)
        return tuple(sorted((*self.early, *counted), key=lambda mark: mark.root.seq))

    @property
    def next_step(self) -> StepState | None:
        """The first step that is not done and whose order allows it.

        A step that others have overtaken stays next as long as it is open that it must come first;
        once that is confirmed with a reason its moment has passed: it is no longer proposed, and
        nothing waits for it. So it is with a step that was confirmed as left out. One from which
        the window of a step to come runs has its moment still to come.
        """
        done, settled = self.done, self.settled
        left = [s for s in self.steps if s.step.key not in settled]
        first = self._must_come_first | {s.step.window.since for s in left if s.step.window}
        passed = {
            s.step.key
            for s in left
            if s.step.key not in first and overtaken(self.sheet, s.step.key, done)
        }
        able = (s for s in left if ready(self.sheet, s.step, settled | passed))
        return next((s for s in able if s.step.key not in passed), None)

    @property
    def _must_come_first(self) -> frozenset[str]:
        """Keys of the steps that an open finding says must come before one that was done."""
        keys = [f.key.split(":") for f in self.findings if not f.resolved]
        return frozenset(key[2] for key in keys if key[0] == "order" and len(key) == 3)

    @property
    def done(self) -> frozenset[str]:
        """Keys of the steps that were done, perhaps with something missing."""
        return frozenset(s.step.key for s in self.steps if s.status is not StepStatus.OPEN)

    @property
    def left_out(self) -> frozenset[str]:
        """Keys of the steps not done that were confirmed as missing, with a reason."""
        settled = {f.key for f in self.findings if f.resolved}
        return frozenset(
            s.step.key
            for s in self.steps
            if s.status is StepStatus.OPEN and f"missing:{s.step.key}:step" in settled
        )

    @property
    def settled(self) -> frozenset[str]:
        """Keys of the steps for which no other step waits: done, or left out with a reason."""
        return self.done | self.left_out

    @property
    def waiting(self) -> tuple[Question, ...]:
        """Open questions that want an answer, the one asked last at the end."""
        return tuple(q for q in self.questions if q.about in ("hearing", "value"))

    @property
    def open_findings(self) -> tuple[Finding, ...]:
        """Findings that are not resolved; observations are nobody's mistake and don't count."""
        return tuple(
            f for f in self.findings if not f.resolved and f.kind is not FindingKind.OBSERVATION
        )

    def step(self, key: str) -> StepState | None:
        """The state of the step ``key``, or None."""
        return next((s for s in self.steps if s.step.key == key), None)

    def finding(self, key: str) -> Finding | None:
        """The finding ``key``, or None."""
        return next((f for f in self.findings if f.key == key), None)

    def explanation(self, key: str) -> str:
        """The advisor's last words about the finding ``key``, or ''."""
        said = self.explained.get(key)
        return str(said.body.get("text", "")) if said else ""

    @property
    def final_hash(self) -> str:
        """Hash of the last entry: the whole record in one number."""
        return self.entries[-1].hash if self.entries else ""


@dataclass(frozen=True)
class Reply:
    """joblog's answer: ``spoken`` is short enough to be said, ``shown`` may say more.

    ``tone`` is 'ok', 'again', 'warn' or 'none' (ignored speech gets no answer).
    """

    spoken: str
    shown: str
    tone: str
    entries: tuple[Entry, ...] = ()
    findings: tuple[Finding, ...] = ()
    wants_photo: tuple[str, str] | None = None  # (kind, phase or '') that should be taken now
    typed: str = ""  # the phrase as it was typed, where this answers one
