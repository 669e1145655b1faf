"""Words said twice, too late, or about the last question: what was right stays right."""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.errors import InputError
from joblog.job.meaning import meaning_of
from joblog.job.session import JobSession
from joblog.job.typed import typed_words

IMAGES = Path(__file__).parents[2] / "sample_images"

TO_THE_FILL = (
    "vehicle checked", "standing level", "warm up done", "fluid temperature six four celsius",
    "dipstick as found", "wheels chocked", "on stands", "fill plug loose", "drain plug out",
    "draining done", "drained three point six quarts",
)  # fmt: skip


@pytest.fixture
def filling(bench):
    """A job about to be filled: 3.6 quarts came out, the photos are missing."""
    job = bench()
    job.say(*TO_THE_FILL, "plug as found", "plug cleaned", "drain plug in", "torque four one")
    return job


def poured(job) -> list[str]:
    values = [v for v in job.state.values if v.entry.kind == "quantity"]
    return [f"{v.value} {v.entry.body['direction']}" for v in values]


# after the end


@pytest.mark.parametrize(
    "line", ["disregard", "no leaks", "confirm because see note", "affirm", "negative", "note"]
)
def test_nothing_that_is_said_changes_a_closed_job(filling, line):
    filling.say("ten quarts in")  # leaves a question open
    filling.session.close("aborted", "the customer took the vehicle", by="Imani Okafor")
    before = filling.state
    reply = filling.say(line)
    assert (reply.tone, reply.spoken) == ("warn", "The job is closed.")
    assert filling.state.entries == before.entries


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("how much is in", "One quart in of three"), ("how long", "No clock is running."),
        ("say again", "Job stopped."), ("read back", "In, one quart."),
    ],
)  # fmt: skip
def test_a_closed_job_still_answers(filling, line, answer):
    filling.ok("one quart in")
    filling.session.close("aborted", "the customer took the vehicle", by="Imani Okafor")
    assert filling.say(line).spoken.startswith(answer)


def test_a_photo_that_comes_after_the_end_is_refused_in_words(filling):
    filling.session.close("aborted", "the customer took the vehicle", by="Imani Okafor")
    before = filling.state.entries
    with pytest.raises(InputError, match="is closed"):
        filling.session.photo(b"whatever", "plug")
    with pytest.raises(InputError, match="is closed"):
        filling.session.confirm("missing:filled:step", "too late")
    assert filling.state.entries == before


# a correction is about what joblog has just asked


def test_a_correction_while_a_new_amount_is_asked_about_leaves_the_one_before_alone(filling):
    filling.ok("one quart in")
    assert filling.say("ten quarts in").tone == "again"
    filling.ok("correction one quart in")
    assert poured(filling) == [
        "3.6 out", "1 in", "1 in",
    ]  # fmt: skip
    assert filling.state.question is None


def test_a_bare_correction_is_about_the_amount_just_asked_about(bench):
    job = bench()
    job.say(*TO_THE_FILL[:-1])
    assert job.say("drained thirty six quarts").tone == "again"
    job.ok("correction three point six quarts")
    assert poured(job) == ["3.6 out"]
    assert job.state.question is None
    assert job.say("affirm").spoken == "There was no question."


def test_a_bare_correction_in_another_dimension_is_not_about_the_question(filling):
    filling.ok("one quart in")
    assert filling.say("ten quarts in").tone == "again"
    filling.say("correction four two foot pounds")
    assert poured(filling) == ["3.6 out", "1 in"]
    assert filling.state.question is not None
    (torque,) = [v for v in filling.state.values if v.entry.kind == "torque"]
    assert torque.value == 42


def test_a_correction_of_a_correction_that_was_asked_about_still_replaces_the_first(filling):
    filling.ok("one quart in")
    assert filling.say("correction ten quarts in").tone == "again"
    filling.ok("correction two quarts in")
    assert poured(filling) == ["3.6 out", "2 in"]


# said once more


def test_a_step_said_again_while_it_holds_is_asked_about_and_keeps_its_time(filling):
    first = filling.state.step("raised").at
    filling.clock.advance(120)
    reply = filling.say("on stands")
    assert reply.tone == "again"
    assert reply.spoken == "Once more, on stands? Affirm or negative."
    assert "done already" in reply.shown
    assert filling.say("negative").tone == "again"
    assert filling.state.step("raised").at == first


def test_affirmed_it_is_recorded_again_and_the_first_time_stays_the_steps(filling):
    first = filling.state.step("raised").at
    filling.clock.advance(120)
    filling.say("on stands", "affirm")
    assert [m.step for m in filling.state.marks].count("raised") == 2
    assert filling.state.step("raised").at == first


def test_a_step_said_twice_in_one_breath_is_no_question(filling):
    reply = filling.say("vehicle down", "vehicle down")
    assert reply.tone == "ok"
    assert [m.step for m in filling.state.marks].count("lowered") == 1


def test_what_was_undone_meanwhile_is_done_again_without_a_question(filling):
    filling.say("vehicle down")
    filling.clock.advance(60)
    again = filling.say("on stands")
    assert again.tone != "again"
    assert filling.state.step("raised").at == filling.state.entries[-1].at


def test_filling_done_again_after_topping_up_is_no_question(filling):
    filling.ok("three point five quarts in", "filling done")
    filling.clock.advance(300)
    filling.ok("zero point one quarts in", "filling done")
    filling.clock.advance(60)
    assert filling.say("filling done").tone == "again"  # nothing went in since


def test_a_look_repeated_is_no_question(filling):
    filling.say("no leaks")
    filling.clock.advance(60)
    assert filling.say("no leaks").tone != "again"


def test_the_reading_window_is_not_started_anew_by_a_word_said_again(filling):
    filling.say("vehicle down", "engine running", "engine off")
    (clock,) = [c for c in filling.state.clocks if c.step == "level-read"]
    filling.clock.advance(20)
    assert filling.say("engine off").tone == "again"
    (after,) = [c for c in filling.state.clocks if c.step == "level-read"]
    assert after.started_mono == clock.started_mono
    filling.say("negative", "engine running")
    assert filling.say("engine off").tone == "ok"  # it ran again meanwhile
    (anew,) = [c for c in filling.state.clocks if c.step == "level-read"]
    assert anew.started_mono > clock.started_mono


# more and more


def test_each_further_overfill_is_told_again(filling):
    filling.ok("two quarts in")
    first = filling.say("two quarts in")
    assert (first.tone, "4 US qt in is above 3.7 US qt" in first.shown) == ("warn", True)
    more = filling.say("one quart in")
    assert (more.tone, "5 US qt in is above 3.7 US qt" in more.shown) == ("warn", True)
    done = filling.say("filling done")
    assert (done.tone, "5 US qt in is above" in done.shown) == ("warn", True)


def test_an_overfill_that_was_confirmed_is_open_again_when_more_goes_in(filling):
    filling.say("two quarts in", "two quarts in")
    filling.ok("confirm because see note")
    assert "quantity:gear-fluid:above" not in filling.open_keys()
    assert filling.say("one quart in").tone == "warn"
    assert "quantity:gear-fluid:above" in filling.open_keys()
    filling.ok("confirm because see note")
    resumed = JobSession.resume(filling.session.store, filling.session.job)
    assert resumed.state.findings == filling.state.findings
    filling.ok("filling done")


# typed figures


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1/2 quart in", "1/2"), ("½ quart in", "1/2"), ("3 1/2 quarts in", "7/2"),
        ("3-1/2 quarts in", "7/2"), ("1½ quarts in", "3/2"), ("1/3 quart in", "1/3"),
        ("3 2/3 quarts in", "11/3"), ("1,5 quarts in", "3/2"), (".5 quarts in", "1/2"),
        ("drained 3,6qt", "18/5"), ("drain plug torqued to 4,1 foot pounds", "41/10"),
        ("fluid temperature -5 C", "-5"), ("fluid temperature \u22125 °C", "-5"),
        ("fluid temperature: 64 c", "64"), ("fluid temperature 147 f.", "147"),
        ("drain plug torqued to forty-one foot pounds", "41"),
        ("drain plug torqued to 4 1 foot pounds", "41"), ("drained three point six quarts", "18/5"),
    ],
)  # fmt: skip
def test_fractions_and_decimal_commas_keep_their_value(bench, typed, value):
    meaning = meaning_of(typed_words(typed), bench().session.sheet)
    assert str(meaning.value) == value


@pytest.mark.parametrize(
    "typed",
    [
        "drain plug torqued to 41/4 foot pounds", "drained 1/0 quarts", "1 / 2 quarts in",
        "drain plug torqued to 41-44 foot pounds", "drain plug torqued to 41+2 foot pounds",
        "drain plug torqued to ~41 foot pounds", "drained 1.5.2 quarts", "4² quarts in",
        "drain plug torqued to 41x2 foot pounds", "1/7 quart in",
        "5/8 quart in", "drained 3,6,1 quarts",
        "drain plug torqued to 4, 1 foot pounds", "drain plug torqued to 4. 1 foot pounds",
        "drain plug torqued to 4 ,1 foot pounds", "drain plug torqued to 4 - 1 foot pounds",
        "fluid temperature - 5 celsius", "fluid temperature \u2013 5 celsius",
        "drained 3 .6 quarts", "drained three. six quarts",
        "drained three-six quarts", "drained three,six quarts",
        "three 1/2 quarts in", "drained 1 2 1/2 quarts", "drained \uff13 quarts",
        "drained \u0663 quarts", "\u0661/\u0662 quart in",
    ],
)  # fmt: skip
def test_a_figure_that_is_not_understood_is_never_taken_for_another(bench, typed):
    job = bench()
    before = job.state.entries
    reply = job.session.type_in(typed)
    assert reply.tone == "again"
    assert job.state.entries == before


# questions that nobody answered


def test_disregard_after_not_complete_drops_the_wish_and_no_work(filling):
    filling.say("job complete")
    before = filling.state
    assert filling.say("disregard").spoken == "Disregarded."
    assert filling.state.values == before.values
    assert filling.state.marks == before.marks
    assert not filling.state.questions
    filling.say(
        "job complete", "confirm because see note"
    )  # what was confirmed is taken back first
    assert filling.say("disregard").spoken.startswith("Disregarded")
    assert filling.state.marks == before.marks


def test_an_old_question_is_asked_again_before_it_is_answered(filling):
    filling.say("ten quarts in")
    filling.clock.advance(600)
    reply = filling.say("affirm")
    assert (reply.tone, "one zero quarts" in reply.spoken) == ("again", True)
    assert poured(filling) == ["3.6 out"]
    filling.say("affirm")
    assert poured(filling) == ["3.6 out", "10 in"]


def test_who_went_on_working_is_asked_again_and_so_is_somebody_else(filling):
    filling.say("ten quarts in", "no leaks")
    assert filling.say("affirm").tone == "again"
    filling.say("no leaks", by="Sam Ortiz")
    assert filling.say("affirm", by="Sam Ortiz").tone == "again"
    assert poured(filling) == ["3.6 out"]
    assert filling.say("negative").tone == "again"
    resumed = JobSession.resume(filling.session.store, filling.session.job)
    assert resumed.state.questions == filling.state.questions == ()


def test_help_names_the_question(filling):
    filling.say("ten quarts in")
    assert filling.say("help").spoken == "In, one zero quarts? Say affirm, or negative."


def test_job_complete_asks_what_is_open_and_offers_words_that_work(filling):
    filling.say("ten quarts in")
    filling.clock.advance(600)
    reply = filling.say("job complete")
    assert reply.spoken == "Not complete. In, one zero quarts? Affirm or negative."
    filling.say("negative")
    assert [q.about for q in filling.state.questions] == ["close"]  # the wish, no question
    assert filling.say("job complete").spoken.startswith("Not complete. ")
    filling.say("ten quarts in")
    reply = filling.session.close("finished", "the customer had to leave", by="Imani Okafor")
    assert filling.state.closed == "finished", reply


# answers that can be understood


def test_nothing_is_missing_yet_says_what_is_still_to_come(bench):
    job = bench()
    reply = job.say("vehicle checked", "what is missing")
    assert reply.spoken == "Nothing is missing yet. Next: vehicle level. And more."
    assert "17 more steps after it" in reply.shown


def test_sums_of_mixed_units_can_be_said(filling):
    filling.say("two liters in")
    reply = filling.say("one quart in")
    # 2 L = 2.1133764 US qt (1 US qt = 0.946352946 L, NIST SP 811, B.8)
    assert "three point one one quarts in all" in reply.spoken.lower()
    assert "3.11 US qt in all" in reply.shown


def test_another_is_asked_about_where_the_last_was_no_full_container(filling):
    filling.ok("one quart in", "another")
    assert poured(filling)[1:] == ["1 in", "1 in"]
    filling.ok("half a quart in")
    reply = filling.say("another")
    assert (reply.tone, "In: first, " in reply.spoken) == ("again", True)
    filling.say("first")
    assert poured(filling)[-1] in {"0.5 in", "1/2 in"}


def test_a_reading_too_early_does_not_stop_its_clock(filling):
    filling.say("vehicle down", "engine running", "engine off")
    filling.clock.advance(10)
    photo = (IMAGES / "dipstick-after.jpg").read_bytes()
    reply = filling.session.photo(photo, "dipstick", "level-read")
    assert any(f.key.startswith("window:") for f in reply.findings)
    assert "opens in" in filling.say("how long").spoken
    filling.clock.advance(60)
    filling.session.photo(photo, "dipstick", "level-read")
    assert filling.say("how long").spoken == "No clock is running."
