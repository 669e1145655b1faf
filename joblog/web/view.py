"""What a screen shows of a job, as plain JSON; computed from the replayed state, never stored."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from joblog.job.cautions import cautions_of
from joblog.job.clocks import clock_reading
from joblog.job.controls import REASONS
from joblog.job.explanations import notes_untold
from joblog.job.foremost import foremost, missing_line, told
from joblog.job.phrases import help_card
from joblog.job.plan_confirm import WHICH, choices
from joblog.job.ranges import value_shown
from joblog.job.session import JobSession
from joblog.job.told import Choice, named_last, reasoned
from joblog.job.told_meter import meter_shown
from joblog.job.types import FindingKind, JobState, Photo, Reply, StepState, StepStatus, Value
from joblog.job.values import step_named
from joblog.job.wording import capital, shown_missing, step_name, window_shown
from joblog.measure.units import Quantity, format_quantity
from joblog.readback.clips import Stock, stock
from joblog.readback.sequence import pieces_of
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet
from joblog.web.desk_view import desk_marks, notes_view, withdrawn_lines

RECENT = 12


def amount(value: Decimal | Fraction, unit: str) -> str:
    """Return a value with its unit, as printed."""
    return format_quantity(Quantity.of(value, unit))


def job_line(session: JobSession) -> dict[str, Any]:
    """Return a job's line in the list of jobs."""
    state = session.state
    unit, customer = state.opened.get("unit") or {}, state.opened.get("customer") or {}
    done = sum(s.status != "open" for s in state.steps)
    unresolved = [f.kind for f in state.findings if not f.resolved]
    observed = unresolved.count(FindingKind.OBSERVATION)
    return {
        "job": state.job,
        "title": state.sheet.sheet.title,
        "vehicle": _joined(unit.get("year"), unit.get("make"), unit.get("model")),
        "plate": unit.get("plate", ""),
        "vin": unit.get("vin", ""),
        "unit": {name: str(value) for name, value in unit.items()},
        "customer": customer.get("name", ""),
        "order": state.opened.get("order", ""),
        "technician": state.opened.get("technician", ""),
        "advisor": state.opened.get("advisor", ""),
        "opened_at": state.opened_at,
        "closed": state.closed,
        "state": state_word(state.closed),
        "progress": progress(state, done),
        "open_findings": len(unresolved) - observed,
        "observations": observed,  # nobody's mistake, so nothing that is left open
        "notes_untold": len(notes_untold(state)),
    }


def state_word(closed: str) -> str:
    """Return how a job stands in the one word that all screens and the report have for it."""
    return {"": "open", "aborted": "stopped"}.get(closed, closed)


def progress(state: JobState, done: int) -> str:
    """Return how many steps are done; of a finished job also how many were left out."""
    steps = f"{done} of {len(state.steps)} steps"
    left = len(state.steps) - done
    return f"{steps}, {left} left out" if state.closed == "finished" and left else steps


def job_view(session: JobSession, voice: Stock | None = None, refused: int = 0) -> dict[str, Any]:
    """Return everything that the live screens show of a job.

    ``refused`` counts the photos that were not taken and still lie on phones.
    """
    state = session.state
    following = state.next_step
    later = undone(state)
    return job_line(session) | {
        "seq": len(state.entries) - 1,
        "hash": state.final_hash,
        "example": state.sheet.sheet.example,
        "cautions": [c.text for c in state.sheet.cautions],
        "next": next_view(state, following) if following else None,
        "photo": photo_wanted(state),
        "photos_also": photos_also_wanted(state),
        "photos": [photo_view(photo) for photo in state.photos],
        "steps": [step_view(state.sheet, s) for s in state.steps],
        "fluids": [
            {
                "name": f.name,
                "in": amount(f.poured_in, f.unit),
                "out": amount(f.poured_out, f.unit),
                "specified": amount(f.specified, f.unit) if f.specified is not None else "",
            }
            for f in state.fluids
        ],
        "clocks": clock_views(session, state),
        "findings": [
            {
                "key": f.key,
                "kind": str(f.kind),
                "text": f.told,
                "headed": headed(f.kind, f.told),
                "customer": state.explanation(f.key) or f.customer,
                "resolved": f.resolved,
                "undone": f.key in later,
                "missing": f.kind is FindingKind.MISSING and not f.resolved,
                **desk_marks(state, f),
            }
            for f in state.findings
        ],
        "meter": f"{capital(meter_shown(state.opened)) or 'Odometer not told'}.",
        "notes": notes_view(state),
        "notes_withdrawn": withdrawn_lines(state),
        "undone": undone_line(state),
        "refused": refused_line(refused),
        "missing": "" if state.closed else missing_line(state.findings),
        "question": None if state.closed else _question(state, session.choice),
        "settle": settle_view(state, session.last_reply, session.choice),
        "recent": [line for e in state.entries[-4 * RECENT :] if (line := recent_line(e))][
            -RECENT:
        ],
        "reply": reply_view(session.last_reply, voice),
        "voice": voice_view(voice or stock()),
    }


def photo_wanted(state: JobState) -> str:
    """Return the kind of photo to take now: of the next step, else of one begun; or ''.

    Nothing is recorded by it: a phone has that kind chosen beforehand, so it is what "Next" says.
    """
    following = state.next_step
    if state.closed:
        return ""
    if following and following.step.photo:
        return following.step.photo.kind
    return next(iter(_photos_left(state)), "")


def photo_view(photo: Photo) -> dict[str, str]:
    """Return a photo as a phone lists it, to be taken back there."""
    line = recent_line(photo.entry) or {}
    sha256 = next((m.sha256 for m in photo.entry.media if m.role == "photo"), "")
    said = f"{line.get('what', '')}, {line.get('note', '')}"
    return {"entry": photo.entry.id, "what": said, "at": photo.entry.at, "sha256": sha256}


def photos_also_wanted(state: JobState) -> list[str]:
    """Return the other kinds of photos that steps still want that were begun, the newest first."""
    now = photo_wanted(state)
    return [kind for kind in _photos_left(state) if kind != now]


def _photos_left(state: JobState) -> list[str]:
    begun = [
        s.step.photo.kind
        for s in state.steps
        if s.status is StepStatus.INCOMPLETE
        and s.step.photo
        and any(w.startswith("photo of") for w in s.missing)
    ]
    return [] if state.closed else list(dict.fromkeys(reversed(begun)))


def headed(kind: FindingKind, text: str) -> str:
    """Return a finding's words under its kind as a heading: 'Not sure: ...' only once."""
    words = text
    if words.lower().startswith(f"{kind}: "):
        words = words[len(f"{kind}: ") :]
    return capital(words)


def undone(state: JobState) -> dict[str, str]:
    """Return the findings that only say that a step of an open job is yet to be done: key, step."""
    if state.closed:
        return {}
    return {
        f.key: s.step.key
        for s in state.steps
        if s.status == "open"
        for f in state.findings
        if not f.resolved and f.key.startswith(f"missing:{s.step.key}:")
    }


def undone_line(state: JobState) -> str:
    """Return those steps in one line, or ''."""
    count = len(set(undone(state).values()))
    if not count:
        return ""
    return "1 step is not done yet." if count == 1 else f"{count} steps are not done yet."


def refused_line(count: int) -> str:
    """Return that photos were refused and still lie on a phone, in one line, or ''."""
    if not count:
        return ""
    if count == 1:
        return "1 photo was refused and is still on the phone: save or discard it there."
    return f"{count} photos were refused and are still on the phone: save or discard them there."


def not_closed(state: JobState) -> str:
    """Return why the desk could not close the job as finished, and the way on; '' where it did."""
    left = told(state.sheet, state.open_findings)
    if state.closed or not left:
        return ""
    more = f" And {len(left) - 1} more." if len(left) > 1 else ""
    way = "Have it done, or write the reason into the field above and close again."
    return f"Not closed. {foremost(left).text}{more} {way}"


def _joined(*parts: Any) -> str:
    return " ".join(str(p) for p in parts if p)


def _question(state: JobState, choice: Choice | None = None) -> dict[str, Any] | None:
    """Return the last question that a word answers, with the words that do.

    That a job is not complete is no such question: its findings are settled one by one. ``choice``
    is what was asked last of all, if it was which finding a reason is for.
    """
    if choice is not None:
        options = choices(state, choice)
        return {"question": WHICH, "options": options, "answers": ["first", "second", "negative"]}
    waiting = [q for q in state.questions if q.about != "close"]
    if not waiting:
        return None
    asked = waiting[-1]
    several = ["first", "second"] if len(asked.options) > 1 else ["affirm"]
    answers = ["disregard"] if asked.about == "note" else [*several, "negative"]
    return {"question": asked.question, "options": list(asked.options), "answers": answers}


def settle_view(
    state: JobState, reply: Reply, choice: Choice | None = None
) -> dict[str, Any] | None:
    """Return what the last answer named that may be confirmed, with the reasons to choose from.

    Nobody can let stand what they have not been told; questions are answered, not confirmed.
    """
    if state.closed or _question(state, choice):
        return None
    open_ones = reasoned(state.open_findings)
    keys = named_last(open_ones, reply.spoken)
    if not keys:
        return None
    about = [f.text for f in open_ones if f.key in keys]
    reasons = [capital(text) for _, text in REASONS.values()]
    return {"keys": list(keys), "about": " ".join(dict.fromkeys(about)), "reasons": reasons}


def voice_view(voice: Stock) -> dict[str, str]:
    """Return which clips a browser plays, or why it uses its own voice."""
    return {"version": voice.version, "why": voice.why}


def reply_view(reply: Reply, voice: Stock | None = None) -> dict[str, Any]:
    """Return an answer for a screen and for the read-back, with the clips that say it."""
    pieces = pieces_of(reply.spoken, (voice or stock()).names)
    return {
        "spoken": reply.spoken,
        "pieces": [piece.as_json() for piece in pieces],
        "shown": reply.shown,
        "tone": reply.tone,
        "source": reply.entries[0].source if reply.entries else "",
        "typed": reply.typed,
        "announced": any(e.source == "clock" for e in reply.entries),  # nobody asked: say it aloud
        "opening": any(e.kind == "job-opened" for e in reply.entries),  # said when the page opens
    }


def step_view(sheet: Sheet, state: StepState) -> dict[str, Any]:
    """Return a step with what is wanted and what was recorded with it."""
    step = state.step
    wants = []
    if step.torque:
        torque = step.torque
        wants.append(f"{torque.fastener} {amount(torque.value, torque.unit)} ± {torque.tolerance}")
    if step.window:
        start = step_named(sheet, step.window.since)
        name = step_name(start) if start else step.window.since
        wants.append(f"{window_shown(step.window)} after “{name}”")
    if step.reading and step.reading.name not in {value.name for value in state.values}:
        wants.append(step.reading.name)
    if step.pour:
        wants.append("how much came out" if step.pour.direction == "out" else "how much went in")
    if step.photo:
        wants.append(shown_missing(f"photo of the {step.photo.kind}"))
    return {
        "key": step.key,
        "title": step.title,
        "say": step.say[0],
        "status": str(state.status),
        "at": state.at,
        "wants": wants,
        "missing": [shown_missing(what) for what in state.missing],
        "values": [value_view(v) for v in state.values],
    }


def next_view(state: JobState, following: StepState) -> dict[str, Any]:
    """Return the next step as a screen shows it, with the cautions that belong to it."""
    view = step_view(state.sheet, following)
    return view | {"cautions": cautions_of(state.sheet, following.step)}


def value_view(value: Value) -> str:
    """Return a value with its verdict in words."""
    verdict = {True: ", in spec", False: ", out of spec", None: ""}[value.within]
    text = amount(value.value, value.unit) if value.upper is None else value_shown(value)
    return text + verdict


def clock_views(session: JobSession, state: JobState) -> list[dict[str, Any]]:
    """Return the running clocks: seconds since their start and their window's bounds."""
    now = session.clock.read()
    views = []
    for clock in state.clocks:
        if clock.stopped:
            continue
        reading = clock_reading(clock, now)
        views.append(
            {
                "name": clock.name,
                "seconds": str(round(reading.elapsed.seconds, 1)),
                "opens": str(clock.opens),
                "closes": None if clock.closes is None else str(clock.closes),
                "phase": str(reading.phase),
            }
        )
    return views


def recent_line(entry: Entry) -> dict[str, Any] | None:
    """Return an entry as a line of 'what happened', or None for what a screen needn't show."""
    body, line = entry.body, {"at": entry.at, "by": entry.by, "kind": entry.kind}
    if entry.kind == "heard":
        verdict = str(body.get("verdict", ""))
        said = f"“{body.get('text', '')}”" if verdict != "reject" else "talk, ignored"
        return line | {"what": said, "note": verdict}
    if entry.kind == "note":
        return line | {"what": f"Note: {body.get('text', '')}", "note": ""}
    if entry.kind == "photo":
        measured, kind = body.get("measurement") or {}, str(body.get("kind", ""))
        done = {"label": "read", "other": "kept"}.get(kind, "measured")
        usable = isinstance(measured, dict) and measured.get("usable")
        return line | {"what": f"Photo {kind}", "note": done if usable else "not usable"}
    return None


def help_view(session: JobSession) -> list[dict[str, Any]]:
    """Return what can be said, under its headings."""
    return [
        {"group": group, "phrases": [{"say": p.example, "does": p.does} for p in phrases]}
        for group, phrases in help_card(session.sheet).items()
    ]
