"""An answer or a reason is for what was said aloud last, and what is said aloud is heard whole."""

from __future__ import annotations

from dataclasses import replace

import pytest

from joblog.job.grammar import grammar_for_state
from joblog.job.plan_confirm import plan_choice

AHEAD = (  # the fill plug isn't loose yet
    "vehicle checked", "standing level", "warm up done", "fluid temperature six four celsius",
    "dipstick as found", "wheels chocked", "on stands", "drain plug out",
)  # fmt: skip


@pytest.fixture
def ahead(bench):
    job = bench()
    assert "fill plug loose must come first" in job.say(*AHEAD).spoken
    return job


def asked_of(job) -> list[str]:
    return [question.options[0] for question in job.state.waiting]


# questions


def test_an_answer_is_for_the_question_that_was_spoken_last(ahead):
    ahead.say("drained ninety quarts", "drain plug at four one zero")
    first, second = ahead.state.waiting
    # The older of the two is asked once more; from then on it is the one that is answered.
    ahead.session.store.append(
        ahead.session.job, "asked-again", {"question": first.entry.id}, source="voice",
        by="Imani Okafor", clock=ahead.clock,
    )  # fmt: skip
    ahead.say("negative")
    assert [q.entry.id for q in ahead.state.waiting] == [second.entry.id]


def test_what_is_missing_asks_one_question_last_and_negative_is_for_it(ahead):
    ahead.say("drained ninety quarts", by="Marek Dvorak")
    ahead.say("drain plug at four one zero", by="Imani Okafor")
    reply = ahead.say("what is missing", by="Marek Dvorak")
    assert reply.spoken.endswith("? Affirm or negative.")
    assert (reply.spoken.count("Affirm or negative."), reply.tone) == (1, "again")
    assert "four one zero foot-pounds?" in reply.spoken
    ahead.say("negative", by="Marek Dvorak")
    assert asked_of(ahead) == ["90 US qt"]


def test_negative_is_as_strict_as_affirm(ahead):
    ahead.say("drained ninety quarts")
    ahead.clock.advance(200)
    reply = ahead.say("negative")
    assert (reply.spoken, len(ahead.state.waiting)) == (
        "Out, nine zero quarts? Affirm or negative.", 1,
    )  # fmt: skip
    ahead.say("negative")
    assert ahead.state.waiting == ()


@pytest.mark.parametrize(
    ("lines", "spoken"),
    [
        (["drain plug out"], "Nothing noted."),  # once more: there is nothing to be said again
        (["drained ninety quarts"], "Nothing noted. Say again."),
        (["drain plug at four one zero"], "Nothing noted. Say again."),
    ],
)
def test_negative_says_what_became_of_it(ahead, lines, spoken):
    ahead.clock.advance(60)
    assert ahead.say(*lines).tone == "again"
    before = ahead.state.values
    reply = ahead.say("negative")
    assert (reply.spoken, reply.tone, ahead.state.values) == (spoken, "again", before)


# findings


def test_a_reason_confirms_what_was_named_aloud_and_says_what_that_was(ahead):
    ahead.say("plug cleaned")  # while its photo as found is missing
    assert len(ahead.state.open_findings) > 1
    reply = ahead.say("confirm because no tool")
    assert reply.spoken.startswith("Confirmed: Plug cleaned, but plug as found must come first.")
    assert "Not confirmed yet: Drain plug out, but fill plug loose must" in reply.spoken
    assert len([f for f in ahead.state.findings if f.resolved]) == 1


@pytest.mark.parametrize("between", ["a while", "a question", "another session"])
def test_a_reason_for_what_nobody_has_heard_lately_confirms_nothing(ahead, between):
    if between == "a while":
        ahead.clock.advance(200)
    elif between == "a question":
        ahead.say("drained ninety quarts")
    else:
        ahead.session = type(ahead.session).resume(
            ahead.session.store, ahead.session.job, clock=ahead.clock
        )
    reply = ahead.say("confirm because checked twice")
    assert reply.spoken == (
        "Drain plug out, but fill plug loose must come first. Say confirm because, and the reason."
    )
    assert (reply.tone, [f.resolved for f in ahead.state.findings if f.resolved]) == ("again", [])
    ahead.say("confirm because checked twice")  # now it was heard
    assert "order:drain-plug-out:fill-plug-loose" not in ahead.open_keys()


def test_many_confirmed_at_once_are_not_told_one_by_one(ahead):
    ahead.session.close("finished", by="Imani Okafor")
    reply = ahead.session.close("finished", "the customer was in a hurry", by="Imani Okafor")
    assert reply.spoken == "Confirmed. Job complete."


@pytest.mark.parametrize(
    ("line", "first", "then"),
    [
        ("one quart in", "One quart in. ", "Filled, but drain plug in must come first."),
        ("drain plug at 41", "Torque drain plug, four one foot-pounds. ", "Drain plug in, but "),
        ("correction 60", "Torque drain plug, six zero foot-pounds, is above the limit", ""),
    ],
)
def test_the_value_is_heard_before_what_is_wrong_with_it(bench, line, first, then):
    job = bench()
    job.say("vehicle checked", "fill plug loose", "drain plug out")
    job.say(*["drain plug at 41"] * line.startswith("correction"))
    reply = job.say(line)
    assert reply.tone == "warn"
    assert reply.spoken.startswith(f"{first}{then}")
    assert reply.spoken.count(first.split(",")[0].rstrip(". ")) == 1


def test_a_sum_too_large_is_told_after_the_amount_that_made_it(bench):
    job = bench()
    job.say("vehicle checked", "fill plug loose", "drain plug out", "drain plug in", "torque 41")
    job.say("two quarts in")
    spoken = job.say("2.5 quarts in").spoken
    assert spoken.startswith("Two point five quarts in. Four point five quarts in is above ")


# one of several


@pytest.fixture
def two_open(ahead):
    """What is missing lists the plug out before its turn, and the plug cleaned unphotographed."""
    ahead.say("plug cleaned")
    reply = ahead.say("what is missing")
    assert all(f.text.rstrip(".") in reply.shown for f in ahead.state.open_findings)
    return ahead


@pytest.mark.parametrize(("answer", "kept"), [("first", 0), ("second", 1)])
def test_behind_a_list_it_is_asked_which_one_a_reason_is_for(two_open, answer, kept):
    listed = two_open.open_keys()
    reply = two_open.say("confirm because no tool")
    assert (reply.tone, two_open.open_keys()) == ("again", listed)
    assert reply.spoken.startswith("First, Drain plug out, but fill plug loose must come first, or")
    assert "Say “first” or “second”." in reply.shown
    reply = two_open.say(answer)
    assert reply.spoken.startswith("Confirmed: ")
    gone = set(listed) - set(two_open.open_keys())
    assert listed[kept] in gone
    assert listed[1 - kept] not in gone


@pytest.mark.parametrize(
    ("between", "said"),
    [
        (["negative"], "There was no question."),
        (["disregard"], "There was no question."),
        (["note", "the bay is cold"], "There was no question."),
    ],
)
def test_the_choice_ends_with_an_answer_and_when_joblog_speaks_of_something_else(
    two_open, between, said
):
    listed = two_open.open_keys()
    two_open.say("confirm because no tool", *between)
    assert two_open.say("second").spoken == said
    assert two_open.open_keys() == listed


def test_the_choice_is_for_who_gave_the_reason(two_open):
    two_open.say("confirm because no tool", by="Imani Okafor")
    reply = two_open.say("first", by="Marek Dvorak")
    assert reply.spoken == "Say confirm because, and the reason."
    assert reply.shown.startswith("The reason was given by Imani Okafor, who can say it again, or ")


def test_more_than_two_are_asked_about_in_pairs(two_open):
    two_open.say("drain plug at 60", "what is missing")
    assert len(two_open.open_keys()) > 2
    third = two_open.open_keys()[2]
    two_open.say("confirm because no tool")
    two_open.say("negative")
    two_open.say(*["first"] if len(two_open.open_keys()) > 3 else ["confirm because no tool"])
    assert third not in two_open.open_keys()


def test_a_choice_of_which_the_rest_was_settled_meanwhile_confirms_nothing(two_open):
    two_open.say("drain plug at 60", "what is missing", "confirm because no tool")
    choice = two_open.session.choice
    two_open.session.store.append(  # another program does
        two_open.session.job, "confirmed",
        {"finding": choice.among[2][0], "reason": "no tool"}, source="hand", by="Ana",
        clock=two_open.clock,
    )  # fmt: skip
    rest = replace(choice, among=choice.among[:3])
    made = plan_choice(two_open.state, "negative", rest)
    assert (made.drafts, made.spoken) == ((), "Nothing to confirm.")


def test_a_reason_may_be_meant_for_what_a_list_says_is_wanted_yet(ahead):
    """One finding is open, and a photo is wanted: no reason stands with the finding unasked."""
    assert "Photo of the dipstick" in ahead.say("what is missing").shown
    (open_one,) = ahead.open_keys()
    reply = ahead.say("confirm because no tool")
    assert (reply.tone, ahead.open_keys()) == ("again", [open_one])
    assert reply.spoken.startswith("Drain plug out, but fill plug loose must come first. Say conf")
    ahead.say("confirm because no tool")
    assert ahead.open_keys() == []


def test_a_reason_that_is_in_a_note_wants_one(ahead):
    reply = ahead.say("confirm because see note")
    assert "There is no note yet: say “note” and the reason." in reply.shown
    assert "Say note, and the reason." in reply.spoken
    ahead.say("disregard", "note", "the fill plug was seized", "drain plug out", "affirm")
    ahead.say("what is missing", "confirm because see note")
    assert "no note yet" not in ahead.say("confirm because see note").shown


def test_first_and_second_are_listened_for_while_it_is_asked_which(two_open):
    def heard(session):
        choosing = session.choice is not None
        grammar = grammar_for_state(session.state, two_open.clock.read(), choosing=choosing)
        return grammar.parse("second") is not None

    assert not heard(two_open.session)
    two_open.say("confirm because no tool")
    assert heard(two_open.session)
    two_open.clock.advance(130)
    assert not heard(two_open.session)


def test_a_reason_that_one_finding_alone_asks_for_is_for_that_one(two_open):
    two_open.say("drain plug in", "drain plug at 60", "what is missing")
    reply = two_open.say("confirm because loosened and checked")
    assert reply.shown.startswith("Confirmed (it was loosened and checked): Torque drain plug 60")


def test_loosened_and_checked_lets_nothing_else_stand(bench):
    job = bench()
    warned = job.say("drain plug at 60")
    assert "draining done must come first. And two more." in warned.spoken
    reply = job.say("confirm because loosened and checked")
    assert reply.spoken.startswith("Torque drain plug, six zero foot-pounds, is above the limit")
    assert not [e for e in job.state.entries if e.kind == "confirmed"]
    again = job.say("confirm because loosened and checked")
    assert again.shown.startswith("Confirmed (it was loosened and checked): Torque drain plug 60")


@pytest.mark.parametrize(
    "line", ["not the first one", "no the second one", "neither", "one second", "wait a second"]
)
def test_what_denies_or_puts_off_an_answer_is_none(two_open, line):
    two_open.say("confirm because no tool")
    state, clock = two_open.state, two_open.clock.read()
    grammar = grammar_for_state(state, clock, choosing=True)
    parse = grammar.parse(line)
    assert parse is not None
    assert parse.tags == ("foil:answer",)
    two_open.say(line)
    assert not [e for e in two_open.state.entries if e.kind == "confirmed"]
    two_open.say("second")  # it is still asked
    assert [e for e in two_open.state.entries if e.kind == "confirmed"]
    idle = grammar_for_state(state, clock).parse(line)
    assert idle is None or "answer" not in idle.tags[0]


@pytest.mark.parametrize(
    "line", ["that is not correct", "no that is not right", "that isn't right"]
)
def test_a_denied_yes_is_a_no(bench, line):
    job = bench()
    job.say("drained 33 quarts")
    assert job.state.waiting
    parse = grammar_for_state(job.state, job.clock.read()).parse(line)
    assert parse is not None
    assert parse.tags == ("control:negative",)
    job.say(line)
    assert (job.state.values, list(job.state.waiting)) == ((), [])
