"""Readings that are a range: what may be one, what is recorded of it, and what is asked."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import pytest
from reader import listener

from joblog.audio.files import read_audio
from joblog.audio.types import Utterance
from joblog.job.figures import asks_for_number
from joblog.job.foils import TAG
from joblog.job.grammar import grammar_for_sheet
from joblog.job.guard_quantity import temperatures
from joblog.job.meaning import from_parse, meaning_of
from joblog.job.ranges import may_range
from joblog.job.replay import replay
from joblog.job.said_ranges import as_range, said_range
from joblog.sheet.load import library, load_sheet
from joblog.speech.engines import get_engine
from joblog.speech.numbers import spoken_forms
from joblog.web.view import value_view

SOUNDS = Path(__file__).parent / "ranges"
STEPS = """
[[tools]]
key = "wrench"
name = "Torque wrench"
lowest = { value = 10, unit = "lbf.ft" }
highest = { value = 100, unit = "lbf.ft" }

[[steps]]
key = "holds"
title = "Pressure test"
say = ["pressure holds"]
reading = { name = "test pressure", unit = "psi", low = 10, high = 16 }

[[steps]]
key = "waited"
title = "Built up"
say = ["built up"]
reading = { name = "build up time", unit = "min", low = 2, high = 4 }

[[steps]]
key = "gap"
title = "Gap measured"
say = ["gap measured"]
reading = { name = "plug gap", unit = "mm", low = 0.6, high = 0.8 }

[[steps]]
key = "tight"
title = "Bolt tight"
say = ["bolt tight"]
tools = ["wrench"]
torque = { fastener = "bolt", value = 41, tolerance = 3, unit = "lbf.ft" }
"""


@pytest.fixture
def job(bench):
    return bench(steps=STEPS)


def figures(job):
    """What the record holds of every value that counts."""
    bodies = [v.entry.body for v in job.state.values]
    return [(b.get("low"), b.get("high"), b.get("value"), b["unit"]) for b in bodies]


def words(text):
    return text.split()


def plain(values):
    return [(v.value, v.upper) for v in values[:1]]


def others(values):
    return {(v.value, v.upper) for v in values[1:]}


@pytest.mark.parametrize(
    ("said", "low", "high", "unit"),
    [
        ("test pressure twelve to fourteen p s i", "12", "14", "psi"),
        ("test pressure twelve to fourteen", "12", "14", "psi"),
        ("test pressure one two to one four psi", "12", "14", "psi"),
        ("test pressure twelve p s i to fourteen p s i", "12", "14", "psi"),
        ("test pressure twelve p s i to fourteen", "12", "14", "psi"),
        ("test pressure is between twelve and fourteen p s i", "12", "14", "psi"),
        ("test pressure twelve point five to fourteen", "12.5", "14", "psi"),
        ("pressure holds at twelve to fourteen p s i", "12", "14", "psi"),
        ("build up time two to three minutes", "2", "3", "min"),
        ("test pressure 12 to 14 psi", "12", "14", "psi"),
        ("test pressure 12-14 psi", "12", "14", "psi"),
        ("test pressure 12,5 – 14 psi", "12.5", "14", "psi"),
        ("test pressure 1 to 1.1 bar", "1", "1.1", "bar"),
        ("build up time 2-3 min", "2", "3", "min"),
    ],
)
def test_both_ends_are_recorded(job, said, low, high, unit):
    reply = job.say(said)
    assert figures(job) == [(low, high, None, unit)]
    assert "value" not in job.state.values[0].entry.body
    assert (reply.tone, "in spec" in reply.spoken) == ("ok", True)


@pytest.mark.parametrize(
    "said",
    ["two thirty", "two thirty minutes", "two to two thirty", "two minutes to two thirty"],
)
def test_minutes_that_may_have_seconds_are_asked_about(job, said):
    reply = job.say(f"build up time {said}")  # 2.3, or two minutes thirty
    assert figures(job) == []
    assert reply.spoken.startswith(("Build up time: first,", "Say the number again."))


def test_both_ends_are_read_back_with_their_unit(job):
    reply = job.say("test pressure twelve to fourteen")
    # 'One two to one four' would sound as 'one two two one four'.
    assert reply.spoken.startswith("Test pressure, one two p s i to one four p s i, in spec.")
    assert reply.shown.startswith("Test pressure 12 to 14 psi, in spec.")
    assert job.say("read back").shown == "Test pressure, 12 to 14 psi."
    assert value_view(job.state.values[0]) == "12 to 14 psi, in spec"
    assert job.say("disregard").shown == "Disregarded: test pressure, 12 to 14 psi."


@pytest.mark.parametrize(
    "said",
    [
        "torque bolt forty to forty two",
        "bolt torqued to 40-42 ft lb",
        "plug gap 0.6 to 0.8 mm",
        "plug gap zero point six to zero point eight",
        "test pressure twelve or fourteen",
        "test pressure one bar to fourteen p s i",
    ],
)
def test_what_is_one_value_is_no_range(job, said):
    assert job.say(said).tone != "ok"
    assert figures(job) == []


def test_a_range_in_two_units_is_told_as_one(job):
    assert "a range in two units" in job.say("test pressure one bar to fourteen p s i").shown


def test_no_torque_is_corrected_to_a_range(job):
    job.say("bolt torqued to 41", "correction forty to forty two")
    assert figures(job) == [(None, None, "41", "lbf.ft")]


@pytest.mark.parametrize(
    ("said", "text", "spoken"),
    [
        (
            "twelve to twenty",
            "Test pressure 12 to 20 psi is above the limit (10 to 16 psi).",
            "Test pressure, one two p s i to two zero p s i, is above the limit, one six p s i.",
        ),
        (
            "eight to twelve",
            "Test pressure 8 to 12 psi is below the limit (10 to 16 psi).",
            "Test pressure, eight p s i to one two p s i, is below the limit, one zero p s i.",
        ),
        (
            "eight to twenty",
            "Test pressure 8 to 20 psi is below and above the limit (10 to 16 psi).",
            "Test pressure, eight p s i to two zero p s i, is below the limit, one zero p s i, and "
            "above the limit, one six p s i.",
        ),
    ],
)
def test_one_end_outside_is_a_finding_that_names_both(job, said, text, spoken):
    reply = job.say(f"test pressure {said}")
    (found,) = [f for f in job.state.open_findings if f.key.startswith("spec:")]
    assert (found.text, found.spoken) == (text, spoken)
    assert found.customer.startswith("At “Pressure test” ")
    assert f"{text.split(' psi')[0].removeprefix('Test pressure ')} psi" in found.customer
    assert reply.tone == "warn"
    job.say("test pressure twelve to fourteen")
    assert job.state.finding(found.key).resolved == "read again"


def test_a_correction_takes_the_place_of_a_range_and_a_range_that_of_a_value(job):
    job.say("test pressure twelve", "correction twelve to fourteen p s i")
    assert figures(job) == [("12", "14", None, "psi")]
    job.say("correction eleven to thirteen")
    assert figures(job) == [("11", "13", None, "psi")]
    job.say("correction test pressure thirteen")
    assert figures(job) == [(None, None, "13", "psi")]
    old = [e.body.get("low") for e in job.state.values[0].corrected_from]
    assert old == [None, "12", "11"]


@pytest.mark.parametrize(
    ("said", "asked", "recorded"),
    [
        ("fourteen to twelve", "one two p s i to one four p s i", ("12", "14", None, "psi")),
        ("twelve to twelve", "one two p s i", (None, None, "12", "psi")),
    ],
)
def test_the_higher_end_first_is_asked_about(job, said, asked, recorded):
    reply = job.say(f"test pressure {said}")
    assert reply.spoken == f"Test pressure, {asked}? Affirm or negative."
    assert "which is no range" in reply.shown
    assert figures(job) == []
    assert asks_for_number(job.state, "Imani Okafor", job.clock.read())
    job.say("affirm")
    assert figures(job) == [recorded]


def test_a_range_beyond_reason_is_asked_about(job):
    job.say("test pressure forty to forty two")
    assert figures(job) == []
    job.say("test pressure forty to forty two")  # said again, it is meant
    assert figures(job) == [("40", "42", None, "psi")]


@pytest.mark.parametrize(
    ("heard", "named"),
    [
        ("build up time two two three", "2 to 3 min or 223 min"),  # 'two to three'
        ("test pressure twelve to fifty", "12 to 50 psi or 12 to 15 psi"),
        ("test pressure two to one", "2 to 1 psi was said"),
    ],
)
def test_what_sounds_like_what_the_sheet_wants_is_asked_about(job, heard, named):
    reply = job.say(heard)
    assert named in reply.shown
    assert figures(job) == []


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("seven fifty", "First, seven one five r p m, or second, seven five zero r p m?"),
        (
            "between seven fifty and eight hundred",
            "First, seven one five r p m to eight zero zero r p m, "
            "or second, seven five zero r p m to eight zero zero r p m?",
        ),
    ],
)
def test_of_several_readings_those_that_the_sheet_wants_are_offered(bench, said, asked):
    """Not 7.50, the lowest of them."""
    steps = STEPS.replace("build up time", "idle speed").replace(
        '"min", low = 2, high = 4', '"rpm"'
    )
    steps = steps.replace('unit = "rpm"', 'unit = "rpm", low = 650, high = 850')
    reply = bench(steps=steps).say(f"idle speed {said}")
    assert reply.spoken.lower() == f"idle speed: {asked}".lower()


def test_said_again_the_range_that_was_meant_is_recorded(job):
    job.say("test pressure twelve to fifty")
    job.say("test pressure twelve to fifteen")
    assert figures(job) == [("12", "15", None, "psi")]
    assert not job.state.waiting


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("sixty five seventy", "65 to 70 °C or 65.7 °C"),  # 'to' may go unheard
        ("seventeen to eighty", "17 to 80 °C or 70 to 80 °C"),
    ],
)
def test_of_what_it_sounds_like_that_is_offered_which_the_sheet_wants(bench, said, asked):
    job = bench()
    reply = job.say(f"fluid temperature {said}")
    assert asked in reply.shown
    assert (reply.tone, job.state.values) == ("again", ())


@pytest.mark.parametrize("said", ["one four", "fourteen", "twelve point two", "one two"])
def test_a_number_that_the_sheet_wants_is_that_number(job, said):
    job.ok(f"test pressure {said}")
    assert job.state.values[0].upper is None


@pytest.mark.parametrize(
    ("answer", "recorded"),
    [
        ("ten to twelve", ("10", "12", None, "psi")),  # it was heard as 'ten twelve': 10.12
        ("between ten and twelve", None),  # no answer: nothing is recorded of it
        ("10-12", ("10", "12", None, "psi")),
        ("twelve to fifty", None),  # asked about again
        ("fourteen to twelve", None),
    ],
)
def test_a_question_may_be_answered_with_a_range_alone(job, answer, recorded):
    job.say("test pressure twelve to fifty", answer)
    assert figures(job) == ([recorded] if recorded else [])


def test_a_number_alone_that_sounds_like_the_range_wanted_is_asked_about(job):
    job.say("test pressure twelve to fifty")
    assert "10 to 12 psi or 10.12 psi" in job.say("ten twelve").shown
    assert figures(job) == []
    job.say("first")
    assert figures(job) == [("10", "12", None, "psi")]


@pytest.mark.parametrize(
    ("first", "answer"), [("torque bolt fourteen", "forty to forty two"), ("plug gap 6", "7 to 8")]
)
def test_no_range_alone_answers_a_question_about_one_value(job, first, answer):
    job.say(first)
    assert "is one value" in job.say(answer).shown
    assert figures(job) == []
    assert len(job.state.waiting) == 1


COLD = """
[[steps]]
key = "cold"
title = "Cold measured"
say = ["cold measured"]
reading = { name = "air temperature", unit = "degC", low = -20, high = 20 }
"""


@pytest.mark.parametrize("said", ["minus five to ten", "between minus five and ten"])
def test_a_minus_said_once_may_stand_for_both_ends(bench, said):
    job = bench(steps=COLD)
    assert "-10 to -5 °C or -5 to 10 °C" in job.say(f"air temperature {said}").shown
    job.say("first")
    assert figures(job) == [("-10", "-5", None, "degC")]


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("niner thirty five", "-35 °C or 9.35 °C"),  # what 'minus thirty five' was heard as
        ("nine thirty five", "-35 °C or 9.35 °C"),
        ("nine five", "-5 °C or 95 °C"),
    ],
)
def test_minus_sounds_like_nine(bench, said, asked):
    job = bench(steps=COLD.replace("-20, high = 20", "-45, high = -30"))
    assert asked in job.say(f"air temperature {said} degrees").shown
    job.ok("air temperature minus thirty five")
    assert figures(job) == [(None, None, "-35", "degC")]


def test_nine_is_nine_where_the_sheet_wants_it(bench):
    job = bench(steps=COLD)
    job.ok("air temperature nine degrees")
    job.ok("correction niner point five")
    job.say("correction minus nine degrees")
    job.say("affirm")
    assert figures(job) == [(None, None, "-9", "degC")]


def test_below_zero_a_correction_that_is_near_is_near(bench):
    job = bench(steps=COLD)
    job.say("air temperature minus fifteen to minus twelve")
    job.ok("correction minus sixteen to minus thirteen")
    assert figures(job) == [("-16", "-13", None, "degC")]


def test_a_correction_far_from_the_value_is_asked_about_as_it_would_be_recorded(job):
    job.say("test pressure one point one bar")
    job.say("correction one twenty")  # 120 bar can't be meant: 1.20
    assert figures(job) == [(None, None, "1.2", "bar")]
    assert "Is test pressure 8 to 15 psi instead" in job.say("correction 8 to 15 psi").shown
    job.say("affirm")
    assert figures(job) == [("8", "15", None, "psi")]


def test_what_ranges_and_numbers_sound_like():
    assert others(said_range(words("four to six"))) == {(46, None), (426, None)}
    assert plain(as_range(words("forty six"))) == [(4, 6)]
    assert plain(as_range(words("two two three minutes"))) == [(2, 3)]
    assert as_range(words("forty two")) == ()  # 'four to two' is no range
    assert as_range(words("one two")) == ()
    assert plain(said_range(words("minus thirty to minus thirty five"))) == [(-35, -30)]
    assert (13, 45) in others(said_range(words("thirty to forty five")))
    assert (13, 14) in others(said_range(words("thirty to forty")))


READINGS = [
    (key, step.reading.name, step.reading.unit)
    for key in sorted(library())
    for step in load_sheet(library()[key]).steps
    if step.reading
]


@pytest.mark.parametrize(("key", "name", "unit"), READINGS)
def test_whatever_may_be_said_is_read_as_it_was_said(key, name, unit):
    """Every spoken form of two numbers is that range, and of one number no range."""
    assert may_range(unit)
    sheet, rng = load_sheet(library()[key]), random.Random(key + name)
    grammar, understood = grammar_for_sheet(sheet), 0
    for turn in range(60):
        tenths = 10 if turn % 2 else 1
        low = Fraction(rng.randint(1, 120 * tenths), tenths)
        high = low + Fraction(rng.randint(1, 90 * tenths), tenths)
        first, last = (rng.choice(spoken_forms(end)) for end in (low, high))
        for said in (f"{first} to {last}", f"between {first} and {last}"):
            parse = grammar.parse(f"{name} {said}")
            if parse is None:  # the grammar is narrower than what people say
                continue
            values = from_parse(parse).values
            understood += 1
            ways = {(low, high)} & {(v.value, v.upper) for v in values if v.doubt != "sound"}
            assert ways or values[0].reversed, said
            assert values[0].upper is not None, said
        one = grammar.parse(f"{name} {first}")
        values = from_parse(one).values if one else ()
        assert all(v.upper is None for v in values if v.doubt != "sound"), first
    assert understood > 60


@pytest.mark.parametrize("key", sorted(library()))
def test_only_readings_of_needles_and_clocks_may_be_ranges(key):
    sheet = load_sheet(library()[key])
    for step in sheet.steps:
        if step.torque is not None:
            said = f"torque {step.torque.fastener} forty to forty two".lower()
            meaning = meaning_of(said, sheet)
            assert meaning is None or meaning.act == TAG
        if step.pour is not None:
            for said in ("three to four liters in", "drained three to four liters"):
                meaning = meaning_of(said, sheet)
                assert meaning is None or meaning.act == TAG
    assert [may_range(u) for u in ("lbf.ft", "qt_us", "deg", "mm", "mi", "h", "")] == [False] * 7
    assert all(may_range(u) for u in ("psi", "degC", "s", "min", "rpm", "V", "A", "percent"))


@pytest.mark.parametrize(
    "body",
    [
        {"low": "14", "high": "12"},
        {"low": "12"},
        {"high": "12"},
        {"low": "twelve", "high": "14"},
        {"low": "1/0", "high": "14"},
    ],
)
def test_what_is_no_range_in_a_record_of_other_hands_is_no_value(job, body):
    job.say("test pressure twelve to fourteen")
    (entry,) = [v.entry for v in job.state.values]
    rest = {k: v for k, v in entry.body.items() if k not in ("low", "high")}
    odd = entry.model_copy(update={"body": {**rest, **body}})
    entries = [odd if e.id == entry.id else e for e in job.state.entries]
    assert replay(job.session.sheet, entries).values == ()


def test_a_torque_or_an_amount_with_two_ends_is_no_value(job):
    job.say("bolt torqued to 41")
    (entry,) = [v.entry for v in job.state.values]
    rest = {k: v for k, v in entry.body.items() if k != "value"}
    odd = entry.model_copy(update={"body": {**rest, "low": "40", "high": "42"}})
    entries = [odd if e.id == entry.id else e for e in job.state.entries]
    assert replay(job.session.sheet, entries).values == ()


def test_a_range_of_temperatures_corrects_no_amount(bench):
    job = bench()
    job.say("fluid temperature sixty five")
    assert temperatures(job.state) == (65, None)
    job.say("correction fluid temperature sixty to seventy celsius")
    assert job.state.values[0].within
    assert temperatures(job.state) == (None, None)


def test_an_unclear_range_is_asked_about_with_both_ends(job):
    listening = listener(job)
    reply = listening.hear("test pressure twelve to fourteen", "ask")
    assert reply.spoken.startswith("Test pressure, one two p s i to one four p s i?")
    listening.hear("test pressure twelve to fourteen", "ask")
    assert figures(job) == [("12", "14", None, "psi")]
    reply = listening.hear("test pressure four to six", "ask", "test pressure forty six")
    assert "four p s i to six p s i" in reply.spoken
    assert "second, test pressure forty six" in reply.spoken
    assert len(job.state.values) == 1


@pytest.mark.parametrize("path", sorted(SOUNDS.glob("*.flac")), ids=lambda path: path.stem)
def test_heard_in_noise_a_range_is_one_and_a_value_is_none(bench, path):
    key, said, low, high = path.stem.split("_")
    job = bench(toml=library()[key].read_text(encoding="utf-8"), override="a test")
    job.session.engine = get_engine()
    job.session.hear(Utterance(read_audio(path).samples), by="Imani Okafor")
    (value,) = job.state.values
    ends = (str(value.value), None if value.upper is None else str(value.upper))
    assert ends == (low, high or None), said
