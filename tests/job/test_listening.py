"""From hearings to entries. The recogniser here is a stand-in that reads its answers from a list:
hearings of every kind, in every mixture, which no recording gives on demand. What is under test
is what the job makes of a hearing. Real sound goes through the real recogniser in
test_hearing_for_real."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
from reader import listener

from joblog.audio.encode import flac_bytes
from joblog.audio.types import RATE, Utterance
from joblog.errors import ModelError, StoreError
from joblog.job.expected import expected_tags
from joblog.job.grammar import grammar_for_sheet, grammar_for_state
from joblog.job.phrases import phrases_of
from joblog.job.session import JobSession

PRESSURE = """
[sheet]
key = "compressor"
title = "Air compressor"
revision = "1"
summary = "The compressor is checked."

[[steps]]
key = "pressure"
title = "Tank pressure"
say = ["pressure read"]
reading = { name = "tank pressure", unit = "psi", low = 100, high = 130 }
"""


NUTS = PRESSURE.replace(
    'reading = { name = "tank pressure", unit = "psi", low = 100, high = 130 }',
    'torque = { fastener = "nut", value = 110, unit = "N.m", tolerance = 6, count = 5 }',
)


@pytest.fixture
def listening(bench):
    return listener(bench())


@pytest.fixture
def nuts(bench):
    return listener(bench(toml=NUTS))


def test_an_accepted_hearing_is_acted_upon_and_its_sound_kept(listening):
    reply = listening.hear("vehicle checked")
    assert reply.tone == "ok"
    heard, done = listening.state.entries[-2:]
    assert (heard.kind, done.kind) == ("heard", "step-done")
    assert done.body["heard"] == heard.id
    assert heard.body["confidence"] == "0.5000"
    (sound,) = heard.media
    assert sound.role == "audio"
    samples, rate = soundfile.read(
        io.BytesIO(listening.session.store.read_media(sound.sha256)), dtype="float32"
    )
    assert rate == RATE
    assert len(samples) == RATE


def test_a_rejected_hearing_is_kept_and_gets_no_answer(listening):
    reply = listening.hear("no leaks", "reject")
    assert reply.tone == "none"
    assert reply.spoken == ""
    assert listening.state.entries[-1].kind == "heard"
    assert listening.state.entries[-1].body["verdict"] == "reject"
    assert listening.status("leak-check") == "open"


def test_nothing_unsure_is_recorded_as_fact(listening):
    reply = listening.hear("torque four one foot pounds", "ask", "torque four nine foot pounds")
    assert reply.tone == "again"
    assert reply.spoken.startswith("First, torque four one foot pounds, or second,")
    assert listening.state.values == ()
    assert listening.state.question.options == (
        "torque four one foot pounds",
        "torque four nine foot pounds",
    )


@pytest.mark.parametrize(
    ("answer", "value"),
    [("first", 41), ("second", 40), ("affirm", 41), ("torque four zero foot pounds", 40),
     ("torque four two foot pounds", 42)],
)  # fmt: skip
def test_a_question_is_settled_by_its_answer_or_by_saying_it_again(listening, answer, value):
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask", "torque four zero foot pounds")
    listening.hear(answer)
    assert [v.value for v in listening.state.values] == [value]
    assert listening.state.question is None
    (unsure,) = [f for f in listening.state.findings if f.key.startswith("unsure:")]
    how = "replaced by" if value == 42 else "answered"
    assert unsure.resolved.startswith(f"{how}: torque four")
    assert not answer.startswith("torque") or unsure.resolved == f"{how}: {answer}"


def test_the_answer_is_quoted_as_it_was_spoken(listening):
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask")
    listening.hear("torque forty one foot pounds")
    (unsure,) = [f for f in listening.state.findings if f.key.startswith("unsure:")]
    assert unsure.resolved == "answered: torque forty one foot pounds"


def test_a_question_that_is_denied_is_taken_back(listening):
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask")
    listening.hear("negative")
    (unsure,) = [f for f in listening.state.findings if f.key.startswith("unsure:")]
    assert unsure.resolved == "taken back"
    assert unsure.customer.startswith("One spoken line was unclear")
    assert unsure.customer.endswith("Nothing was recorded of it.")


def test_negative_drops_the_question(listening):
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask")
    assert listening.hear("negative").tone == "again"
    assert listening.state.values == ()
    assert listening.state.question is None


def test_something_else_said_meanwhile_leaves_the_question_open(listening):
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask", "torque four zero foot pounds")
    listening.hear("fan cycle")
    assert listening.state.question is not None
    assert listening.state.fan_cycles == 1


def test_saying_an_unclear_thing_again_unclearly_settles_it_too(listening):
    """Twice the same sentence, each time unclear, is the answer to 'did you say that?'."""
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask", "torque four zero foot pounds")
    listening.hear("torque four one foot pounds", "ask", "torque four zero foot pounds")
    assert [v.value for v in listening.state.values] == [41]


def test_two_ways_to_say_the_same_thing_are_one_option(listening):
    listening.hear("fill plug loose", "ask", "fill plug loosened")
    assert listening.state.question.options == ("fill plug loose",)


def test_wordings_that_mean_the_same_are_believed_together(listening):
    listening.hear("fill plug loose", "ask", "fill plug loosened", share=0.48)
    assert listening.state.question is None
    assert listening.status("fill-plug-loose") == "done"


def test_an_open_question_stands_in_the_way_of_the_end(listening):
    listening.hear("torque four one foot pounds", "ask", "torque four zero foot pounds")
    listening.session.close("finished")
    assert listening.state.closed == ""
    assert any(f.key.startswith("unsure:") for f in listening.state.open_findings)


@pytest.mark.parametrize("words", ["one twenty foot pounds", "one twenty"])
def test_a_torque_with_two_meanings_is_always_asked(listening, words):
    """'one twenty' is 120 or 1.20 (reference table of spoken numbers); 41 wanted: still asked."""
    listening.say("drain plug in")
    reply = listening.hear(f"torque {words}")
    assert reply.tone == "again"
    assert listening.state.values == ()


@pytest.mark.parametrize(
    ("step", "heard", "others", "asked"),
    [
        ("", "no leaks done", (), "No leaks? Affirm or negative."),
        ("", "engine off is done", ("engine running okay",),
         "First, engine off, or second, engine running?"),
        ("drain plug in", "torque forty one", (), "Torque drain plug, four one foot-pounds?"),
        ("drain plug in", "drain plug in at forty one", ("torque forty", ),
         "Torque drain plug: first, four one foot-pounds, or second, four zero foot-pounds?"),
        ("draining done", "drained three point two quarts", ("how long",),
         "First, three point two quarts out, or second, how long?"),
        ("draining done", "correction three point two quarts", (), "Correction, three point two "),
        ("", "confirm because no tool", (), "Confirm because no tool? Affirm or negative."),
    ],
)  # fmt: skip
def test_a_question_is_asked_in_the_words_of_the_sheet(listening, step, heard, others, asked):
    if step:
        listening.say(step, "drained three quarts")
    reply = listening.hear(heard, "ask", *others)
    assert (reply.spoken[: len(asked)], reply.tone) == (asked, "again")
    listening.check_vocabulary(reply)


@pytest.mark.parametrize(
    ("heard", "others", "answer", "values"),
    [
        # unclear, and fifteen sounds like fifty: one question is about both
        ("nut four at one fifteen", (), "first", [115]),
        ("nut four at one fifteen", ("nut four at one fifty",), "the second one", [150]),
        # what was chosen out of two is chosen, though it sounds like a third
        ("nut four at one sixty one", ("nut four at one sixteen",), "second", [116]),
        ("nut four at one ten", ("nut four at one thirty",), "first", [110]),
        ("nut four at one ten", (), "second", [110]),  # 1.1 or 110
    ],
)
def test_an_unclear_value_is_asked_about_once(nuts, heard, others, answer, values):
    nuts.say("nut one is 110", "nut two is 110", "nut three is 110")
    reply = nuts.hear(heard, "ask", *others)
    assert reply.spoken.startswith("Torque nut number four: first, one ")
    nuts.hear(answer)
    assert [v.value for v in nuts.state.values][3:] == values
    assert nuts.state.question is None


def test_a_reading_with_one_sensible_meaning_is_taken(bench):
    """'one twenty' is 120 or 1.20; where 100 to 130 is wanted it is 120."""
    job = bench(toml=PRESSURE)
    assert job.ok("tank pressure one twenty p s i").spoken.startswith("Tank pressure, one two zero")
    assert [v.value for v in job.state.values] == [120]


def test_a_reading_whose_meanings_both_make_sense_is_asked(bench):
    job = bench(toml=PRESSURE.replace("low = 100, high = 130", "low = 1, high = 200"))
    assert job.say("tank pressure one twenty p s i").tone == "again"
    assert job.say("second").tone == "ok"
    assert [v.value for v in job.state.values] == [120]


def test_a_reading_that_sounds_like_a_better_one_is_asked(bench):
    """'thirteen' sounds like 'thirty': 13 doesn't fit 20 to 40, 30 does."""
    job = bench(toml=PRESSURE.replace("low = 100, high = 130", "low = 20, high = 40"))
    assert job.say("tank pressure thirteen p s i").tone == "again"
    assert job.state.values == ()
    assert job.say("tank pressure thirty p s i").tone == "ok"  # fits as it is
    assert [v.value for v in job.state.values] == [30]


def test_a_note_in_two_breaths(listening):
    assert listening.hear("note").spoken == "Go ahead."
    listening.engine.dictation = "The left rear tyre is worn."
    sound = np.zeros(RATE, dtype=np.float32)
    reply = listening.session.hear(Utterance(sound), by="Imani Okafor")
    assert reply.spoken == "Noted."
    (note,) = listening.state.notes
    assert note.body == {"text": "The left rear tyre is worn.", "dictated": True}
    assert note.media[0].role == "audio"


def test_a_note_in_one_breath_is_heard_by_the_unrestricted_path(listening):
    listening.engine.dictation = "Note, the left rear tyre is worn."
    assert listening.hear("no leaks", "reject", seconds=2.5).spoken == "Noted."
    assert listening.state.notes[0].body["text"] == "the left rear tyre is worn"


def test_chatter_that_is_no_note_stays_ignored(listening):
    listening.engine.dictation = "Did anybody see my stool?"
    assert listening.hear("no leaks", "reject", seconds=2.5).tone == "none"
    assert listening.state.notes == ()


def test_without_a_recogniser_hearing_says_what_to_do(bench):
    job = bench()
    with pytest.raises(ModelError, match="type the phrase"):
        job.session.hear(Utterance(np.zeros(RATE, dtype=np.float32)))


def test_answers_are_listened_for_only_while_a_question_is_open(listening):
    now = listening.clock.read
    assert grammar_for_state(listening.state, now()).parse("affirm") is None
    listening.hear("torque four one foot pounds", "ask")
    assert grammar_for_state(listening.state, now()).parse("affirm") is not None
    listening.clock.advance(121)
    assert grammar_for_state(listening.state, now()).parse("affirm") is None
    assert listening.say("yes").tone == "again"  # typed late, the question is asked again first
    listening.say("yes")
    assert listening.state.question is None


def test_an_unclear_answer_is_no_answer(listening):
    listening.hear("torque four one foot pounds", "ask")
    assert listening.hear("affirm", "ask", "first").spoken == "Say again."
    assert len(listening.state.questions) == 1
    assert listening.state.values == ()


def test_disregard_takes_back_what_came_last_and_not_an_older_question(listening):
    listening.hear("fluid temperature six four celsius", "ask")
    listening.hear("drain plug out")
    listening.hear("disregard")
    assert listening.status("drain-plug-out") == "open"
    assert listening.state.question is not None
    listening.hear("disregard")
    assert listening.state.question is None


def test_what_is_expected_next_are_tags_of_the_grammar(listening):
    tags = {phrase.tag for phrase in phrases_of(listening.session.sheet)}
    seen = set()
    for line in ("vehicle checked", "warm up done", "drain plug in", "filling done"):
        listening.say(line)
        expected = expected_tags(listening.state)
        assert set(expected) <= tags
        assert all(0 < bonus < 1 for bonus in expected.values())
        seen |= set(expected)
    assert "torque:drain-plug-in" in seen


def test_the_grammar_of_a_resumed_job_is_that_of_its_own_sheet(listening):
    resumed = JobSession.resume(listening.session.store, listening.session.job)
    assert resumed.grammar.text == grammar_for_sheet(resumed.sheet, answering=False).text


def test_sound_is_kept_losslessly_at_sixteen_bits():
    rng = np.random.default_rng(7)
    samples = rng.uniform(-1, 1, 4000).astype(np.float32)
    back, _ = soundfile.read(io.BytesIO(flac_bytes(samples)), dtype="float32")
    assert np.max(np.abs(back - samples)) <= 1.0 / 32768


@pytest.mark.parametrize(
    ("other", "asked"),
    [
        ("torque four one foot pounds", "Torque drain plug, four one foot-pounds?"),
        ("drain plug out", "Drain plug out?"),
    ],
)
def test_a_likely_step_or_value_is_asked_about_though_help_is_likelier(listening, other, asked):
    listening.say("drain plug in")
    reply = listening.hear("help", "ask", other)
    assert (reply.spoken, reply.tone) == (f"{asked} Affirm or negative.", "again")
    assert listening.state.question.options == (other,)


@pytest.mark.parametrize("others", [(), ("how long",), ("torque four one foot pounds",)])
def test_unclear_help_is_answered_without_the_sound_of_recorded(listening, others):
    reply = listening.hear("help", "ask", *others, share=0.4 if others == ("how long",) else 0.01)
    assert reply.spoken == listening.session.type_in("help").spoken
    assert reply.tone == "again"
    assert listening.state.question is None


def test_an_unclear_question_to_joblog_leaves_no_question_open(listening):
    reply = listening.hear("how long", "ask", "what is next")
    assert (reply.spoken, reply.tone) == ("Say again.", "again")
    assert listening.state.question is None
    assert listening.hear("how long", "ask", "drain plug in", share=0.4).tone == "again"
    assert listening.state.question is not None  # a step may be meant: that is asked about


def test_unclear_help_leaves_a_question_standing_and_names_its_answers(listening):
    listening.say("drain plug in")
    listening.hear("torque four one foot pounds", "ask", "torque four zero foot pounds")
    waiting = listening.state.question
    for _ in range(2):
        assert listening.hear("help", "ask").spoken == (
            "Torque drain plug: first, four one foot-pounds, or second, four zero foot-pounds? "
            "Say first, or second, or negative."
        )
        assert listening.state.question == waiting
    listening.hear("first")
    assert [v.value for v in listening.state.values] == [41]


@pytest.mark.parametrize("verdict", ["accept", "ask", "reject"])
def test_what_is_heard_after_the_end_adds_nothing_to_the_record(listening, verdict):
    """Its last hash stands on the printed report: talk in the shop must not make that untrue."""
    listening.session.close("aborted", "the customer took the vehicle", by="Imani Okafor")
    before = listening.state.entries
    sounds = set(listening.session.store.folder.rglob("*"))
    spoken = listening.hear("no leaks", verdict, "vehicle checked").spoken
    assert spoken == ("The job is closed." if verdict == "accept" else "")
    assert listening.hear("how long", "accept").spoken not in ("", "The job is closed.")
    listening.engine.dictation = "note the radio was on"
    listening.hear("", "reject", seconds=3.0)
    assert listening.state.entries == before
    assert set(listening.session.store.folder.rglob("*")) == sounds


@pytest.mark.parametrize("line", ["correction two quarts", "correction two quarts in"])
def test_a_correction_after_an_unclear_hearing_is_about_that(listening, line):
    listening.hear("one quart in")
    listening.hear("three quarts in", "ask", "one point three quarts in")
    assert listening.state.question is not None
    listening.hear(line)
    poured = [str(v.value) for v in listening.state.values]
    assert poured == ["1", "2"]
    assert listening.state.question is None


def test_a_correction_in_another_dimension_is_not_about_an_unclear_hearing(listening):
    listening.hear("drain plug torqued to four one foot pounds")
    listening.hear("three quarts in", "ask", "one point three quarts in")
    listening.hear("correction four two foot pounds")
    assert [str(v.value) for v in listening.state.values] == ["42"]
    assert listening.state.question is not None


def test_an_unclear_correction_corrected_is_still_a_correction(listening):
    listening.hear("one quart in")
    listening.hear("correction three quarts in", "ask", "correction one point three quarts in")
    listening.hear("correction two quarts")
    assert [str(v.value) for v in listening.state.values] == ["2"]


@pytest.mark.parametrize(
    ("line", "which", "open_"), [("nut two", "2", True), ("nut one", "1", False)]
)
def test_an_unclear_hearing_of_one_nut_is_not_settled_by_another(nuts, line, which, open_):
    nuts.hear("nut one torqued to one one zero", "ask", "nut one torqued to one one two")
    nuts.hear(f"{line} torqued to one one one")
    assert [v.entry.body["which"] for v in nuts.state.values] == [which]
    assert (nuts.state.question is not None) is open_


def test_an_unclear_number_is_settled_by_the_number_said_again(nuts):
    nuts.hear("nut one torqued to one one zero", "ask", "nut four torqued to one one zero")
    nuts.hear("nut four torqued to one one zero")
    assert [v.entry.body["which"] for v in nuts.state.values] == ["4"]
    assert nuts.state.question is None


def test_an_answer_is_kept_with_what_it_chose_or_not_at_all(bench, monkeypatch):
    job = listener(bench())
    job.hear("three quarts out", "ask", sure=0.6)
    append, room = job.session.store.append_all, [1]  # entries that the disk still takes

    def refused(name, news, **more):
        if len(news) > room[0]:
            raise StoreError("the disk is full; nothing was written")
        room[0] -= len(news)
        return append(name, news, **more)

    monkeypatch.setattr(job.session.store, "append_all", refused)
    with pytest.raises(StoreError):
        job.say("affirm")
    assert len(job.state.waiting) == 1
    room[0] = 2
    job.say("affirm")
    assert [str(value.value) for value in job.state.values] == ["3"]
