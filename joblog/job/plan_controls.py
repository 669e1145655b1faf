"""Procedure words and questions: what they lead to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from joblog.job.answers import (
    answer_how_much,
    answer_missing,
    answer_next,
    answer_read_back,
    answer_time,
)
from joblog.job.clocks import elapsed
from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.foremost import HOW_ON, SAY_WHY, folded, how_on_shown
from joblog.job.from_sheet import answer_amount, answer_fluid, answer_torque
from joblog.job.grammar import ANSWER_SECONDS
from joblog.job.guard_wanted import CONFIRMED_BY, of_no_use_but_confirmed
from joblog.job.helping import answer_help
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.naming import entry_named
from joblog.job.plan_confirm import plan_choice, plan_confirm
from joblog.job.told import Told
from joblog.job.types import JobState, Question, StepState
from joblog.job.withdrawing import plan_disregard_note, plan_disregard_photo
from joblog.job.wording import capital, step_name
from joblog.record.clock import Moment
from joblog.record.entry import Entry

TAKEABLE = (
    "step-done",
    "torque",
    "quantity",
    "reading",
    "photo",
    "part",
    "clock",
    "note",
    "confirmed",
)
ANSWERS = frozenset({"affirm", "negative", "first", "second", "disregard"})
NOTHING_TOLD = Told()


def plan_control(
    state: JobState,
    meaning: Meaning,
    *,
    by: str = "",
    now: Moment | None = None,
    told: Told = NOTHING_TOLD,
) -> Plan:
    """Return what a procedure word leads to; ``told`` are the findings named last."""
    word, _, kind = meaning.target.partition(":")
    choice = told.of(by)
    if choice is not None and word in ANSWERS:
        return plan_choice(state, word, choice)
    if told.choice is not None and word in ("first", "second"):
        whose = told.choice.by or "somebody else"
        return refusal(
            SAY_WHY,
            f"The reason was given by {whose}, who can say it again, or you say your own: "
            "“confirm because” and the reason.",
        )
    simple: dict[str, Callable[[], Plan]] = {
        "affirm": lambda: plan_answer(state, word, by, now),
        "negative": lambda: plan_answer(state, word, by, now),
        "first": lambda: plan_answer(state, word, by, now),
        "second": lambda: plan_answer(state, word, by, now),
        "confirm": lambda: plan_confirm(state, meaning, told, by),
        "disregard": lambda: plan_disregard(state, by),
        "disregard-note": lambda: plan_disregard_note(state, by),
        "disregard-photo": lambda: plan_disregard_photo(state, kind, meaning.phase, by),
        "complete": lambda: plan_complete(state),
        "say-again": lambda: Plan(say_again=True),
        "time": lambda: answer_time(state, now),
        "read-back": lambda: answer_read_back(state),
        "next": lambda: answer_next(state),
        "torque": lambda: answer_torque(state),
        "amount": lambda: answer_amount(state),
        "fluid": lambda: answer_fluid(state),
        "how-much": lambda: answer_how_much(state),
        "missing": lambda: plan_missing(state),
        "help": lambda: answer_help(state),
        "stand-by": lambda: Plan(shown="Standing by.", tone="none"),
    }
    return simple[word]()


def question_for(state: JobState, by: str) -> Question | None:
    """Return the question that an answer by ``by`` is for: the one they heard last, else the last.

    One of a colleague's that ``by`` had asked once more is theirs to answer, too.
    """
    waiting = state.waiting
    mine = [q for q in waiting if by in (q.entry.by, q.asked.by)]
    found = mine or waiting
    return found[-1] if found else None


def plan_answer(state: JobState, word: str, by: str, now: Moment | None = None) -> Plan:
    """Return what affirm, negative, first or second leads to.

    An old question, or one after which ``by`` has gone on working, is asked again: nobody knows any
    more what the answer would be to.
    """
    question = question_for(state, by)
    if question is None:
        return refusal("There was no question.")
    if gone_by(state, question, by, now):
        return ask_again(question)
    if word == "negative":
        return _no(state, question)
    if word == "affirm" and len(question.options) > 1 and question.about == "value":
        return Plan(spoken="First, or second?", tone="again")
    index = 1 if word == "second" else 0
    if index >= len(question.options):
        return Plan(spoken="Affirm or negative?", tone="again")
    return settle(question, index)


def _no(state: JobState, question: Question) -> Plan:
    """Return what 'negative' leads to: nothing is recorded; a value that is wanted is said anew."""
    spoken, shown = "Nothing noted.", "Nothing was recorded of it."
    if _wants_value(state, question):
        spoken, shown = f"{spoken} Say again.", f"{shown} Say it again."
    return Plan((answered(question, "negative"),), spoken=spoken, shown=shown, tone="again")


def _wants_value(state: JobState, question: Question) -> bool:
    """Say whether a value was asked about, and not whether something was done once more."""
    if "once more" in f"{question.question} {' '.join(question.options)}".lower():
        return False
    meant = (meaning_of(option, state.sheet) for option in question.options)
    return question.about == "value" or any(m is not None and m.values for m in meant)


def gone_by(state: JobState, question: Question, by: str, now: Moment | None) -> bool:
    """Say whether ``by`` went on working since the question, or it is old: what would it answer?"""
    since = [e for e in state.entries if e.seq > question.asked.seq and e.kind in TAKEABLE]
    if any(e.by == by for e in since):
        return True
    return now is not None and elapsed(question.asked, now).seconds > ANSWER_SECONDS


def ask_again(question: Question, lead: str = "") -> Plan:
    """Return the plan that asks an open question once more, in full."""
    why = f"{lead}{capital(question.in_full)}"
    draft = Draft("asked-again", {"question": question.entry.id})
    return Plan((draft,), spoken=why, shown=why, tone="again")


def settle(question: Question, index: int, words: str = "") -> Plan:
    """Return the plan that takes option ``index`` of ``question`` as meant.

    ``words`` are those really spoken, where it was settled by saying the option again.
    """
    chosen = question.options[index]
    drafts = question.entry.body.get("drafts") or []
    if index < len(drafts):
        return Plan((answered(question, words or chosen), Draft.from_json(drafts[index])))
    return Plan((answered(question, words or chosen),), replan=chosen)


def answered(question: Question, text: str) -> Draft:
    """Return the entry that closes ``question``."""
    return Draft("answered", {"question": question.entry.id, "answer": text})


def plan_missing(state: JobState) -> Plan:
    """Name what is missing; of open questions one, which is thereby asked once more."""
    made = replace(answer_missing(state), lists=True)
    asked = [q for q in state.waiting if made.spoken.find(capital(q.in_full)) >= 0]
    if state.closed or not asked:
        return made
    drafts = tuple(Draft("asked-again", {"question": q.entry.id}) for q in asked[-1:])
    return replace(made, drafts=drafts, tone="again")


def plan_disregard(state: JobState, by: str) -> Plan:
    """Return what 'disregard' leads to: an open question is dropped, else the last entry undone."""
    question = question_for(state, by)
    notes = [q for q in state.questions if q.about == "note" and q.entry.by == by]
    wishes = [q for q in state.questions if q.about == "close"]
    asked = [*notes, *wishes, *([question] if question else [])]
    dropped = max(asked, key=lambda q: q.asked.seq, default=None)
    entry = last_takeable(state, by)
    if dropped is not None and (entry is None or dropped.asked.seq > entry.seq):
        return Plan((answered(dropped, "disregarded"),), spoken="Disregarded.")
    if entry is None:
        return refusal("Nothing to disregard.", _nothing_of_theirs(state, by))
    return Plan((Draft("disregarded", {}, supersedes=entry.id),))


def last_takeable(state: JobState, by: str) -> Entry | None:
    """Return the entry that 'disregard' takes back: the last one of ``by``, else of nobody named.

    A colleague's is theirs to take back: who says it may not know what it was.
    """
    left = _not_taken_back(state)
    mine = [e for e in left if e.by == by] or [e for e in left if not e.by]
    return mine[-1] if mine else None


def _not_taken_back(state: JobState) -> list[Entry]:
    gone = {e.supersedes for e in state.entries if e.kind == "disregarded"}
    left = [e for e in state.entries if e.kind in TAKEABLE and e.id not in gone]
    return [e for e in left if e.source != "clock"]


def _nothing_of_theirs(state: JobState, by: str) -> str:
    """Say that nothing of ``by`` is left to take back, and whose the last entry is."""
    left = _not_taken_back(state)
    if not left:
        return "Nothing to disregard: nothing is recorded yet."
    what, whose = entry_named(state, left[-1])[1], left[-1].by
    mine = f" of {by}'s" if by else ""
    return f"Nothing{mine} to disregard: “{what}” is {whose}'s, who can take it back."


def plan_complete(state: JobState) -> Plan:
    """Return what 'job complete' leads to on an open job: the end, or what stands in its way."""
    if not in_the_way(state):
        return Plan((Draft("job-closed", {"how": "finished", "reason": ""}),))
    wished = any(q.about == "close" for q in state.questions)
    body = {"question": "The job is not complete.", "options": [], "about": "close"}
    wish = () if wished else (Draft("asked", body),)
    if state.waiting:  # it can be answered, not confirmed
        made = ask_again(state.waiting[-1], "Not complete. ")
        return replace(made, drafts=(*wish, *made.drafts))
    return not_complete(state) if wished else Plan(wish)


def not_complete(state: JobState) -> Plan:
    """Return the answer that names what still stands in the way."""
    spoken, text = folded(state.sheet, state.open_findings)
    how = how_on_shown(state.open_findings)
    return refusal(f"Not complete. {spoken} {HOW_ON}", f"Not complete. {text} {how}")


def in_the_way(state: JobState) -> list[str]:
    """Return in words what must be done or confirmed before the job can be closed."""
    wanting = [
        step_name(s.step)
        for s in state.steps
        if not _settled(state, s.step.key)
        and (_lacks(state, s) if s.entry else not s.step.optional)
    ]
    others = [f.text for f in state.open_findings if not f.key.startswith("missing:")]
    return [*wanting, *others]


def _lacks(state: JobState, step: StepState) -> list[str]:
    """Return what a step still wants that nobody answered for."""
    stand = {f.key for f in state.findings if f.resolved.startswith(CONFIRMED_BY)}
    return [what for what in step.missing if not of_no_use_but_confirmed(state, step, what, stand)]


def _settled(state: JobState, step: str) -> bool:
    """All that was missing at the step has been confirmed with a reason."""
    missing = [f for f in state.findings if f.key.startswith(f"missing:{step}:")]
    return bool(missing) and all(f.resolved for f in missing)
