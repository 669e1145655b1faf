"""'Help': what can be said at this moment, two or three phrases, the likeliest first.

The whole card of phrases is long, and nobody with gloves on reads it; this is the short answer to
"what does it want from me now?". Everything said here is in the closed vocabulary of replies.
"""

from __future__ import annotations

from collections.abc import Iterator

from joblog.job.aloud import fastener_words, words_of
from joblog.job.drafts import CLOSED, Plan, answer
from joblog.job.types import JobState, StepState, StepStatus
from joblog.job.wording import capital, step_name
from joblog.sheet.model import Step

MOST = 3
NUMBER, REASON = "and the number", "and the reason"
Way = tuple[str, str]  # words to say, and what of one's own follows them ('' for nothing)


def answer_help(state: JobState) -> Plan:
    """Name what can be said now; spoken and shown are the same phrases."""
    if state.closed:
        return CLOSED
    ways = list(dict.fromkeys(ways_on(state)))[:MOST]
    asked = state.waiting
    about = f"{capital(asked[-1].question).removesuffix(' Affirm or negative.')} " if asked else ""
    spoken = ", or ".join(f"{words}, {tail}" if tail else words for words, tail in ways)
    shown = ", or ".join(f"“{words}” {tail}".strip() for words, tail in ways)
    return answer(f"{about}Say {spoken}.", f"{about}Say {shown}.")


def ways_on(state: JobState) -> Iterator[Way]:
    """Yield what can be said now: an answer, what is wanted, the next step, a question."""
    asked = state.waiting
    if asked:
        several = len(asked[-1].options) > 1
        yield from ((word, "") for word in (("first", "second") if several else ("affirm",)))
        yield "negative", ""
        return
    begun = [s for s in state.steps if s.status is StepStatus.INCOMPLETE]
    for step in begun[-1:]:
        yield from _wanted(step)
    if any(not f.key.startswith(("unsure:", "missing:")) for f in state.open_findings):
        yield "confirm because", REASON
    following = state.next_step
    if following is not None:
        yield step_name(following.step), ""
    elif not begun:
        yield "job complete", ""
    yield "what is next" if following is not None else "what is missing", ""
    yield "say again", ""


def _wanted(state: StepState) -> Iterator[Way]:
    """Yield what brings a step what it still wants."""
    for what in state.missing:
        way = _way(state.step, what)
        if way is not None:
            yield way


def _way(step: Step, what: str) -> Way | None:
    if what.startswith("torque"):
        return "torque", NUMBER
    if what.startswith("angle") and step.torque:
        return f"angle {fastener_words(step)}", NUMBER
    if what.startswith("photo") and step.photo:
        kind = "picture" if step.photo.kind == "other" else step.photo.kind
        return f"photo {kind}", ""
    if what.startswith("quantity") and step.pour:
        return "added" if step.pour.direction == "in" else "drained", NUMBER
    if step.reading and what == step.reading.name:
        return words_of(step.reading.name), NUMBER
    return None
