"""Who confirmed a finding is still told when it ends in another way later: by guard and report."""

from __future__ import annotations

import pytest
from small_sheets import fluid, reading, step, torque

from joblog.report.build import build_report

STEPS = (
    fluid("oil", "Oil", "3 L", tolerance="0.2 L")
    + step("out", "Drain", "oil drained", out="oil")
    + step(
        "nuts",
        "Nuts tight",
        "nuts tight",
        after=["out"],
        torque=torque("cover nut", "20 N.m", 2, count=3),
    )
    + step("fill", "Fill", "oil filled", into="oil", after=["out"])
    + step("run", "Run", "run and stopped", after=["fill"])
    + step(
        "level",
        "Read the level",
        "level read",
        after=["run"],
        window={"since": "run", "opens": 60, "closes": 600},
        reading=reading("oil level", "mm", low=10, high=20),
    )
)
BY = "confirmed by Imani Okafor: it was checked twice"
SURE = "confirm because checked twice"


@pytest.fixture
def job(bench):
    started = bench(steps=STEPS)
    started.ok("drained three liters")
    return started


def ends(job, rule: str) -> list[str]:
    return [f.resolved for f in job.state.findings if rule in f.key.split(":")]


def told(job, language: str = "en") -> list[str]:
    found = build_report(job.state, {}.__getitem__, language=language, units="metric").findings
    return [f"{f.text} {f.resolved}".replace("\xa0", " ") for f in found]


def test_confirmed_as_too_early_and_read_again_in_time(job):
    job.ok("three liters in", "oil filled", "run and stopped")
    job.say("oil level 15 mm", SURE)
    job.clock.advance(60)
    job.ok("oil level 15 mm")
    assert ends(job, "window") == [f"{BY}; read again inside the window"]
    assert told(job)[-1].endswith(f"{BY}; read again in time")
    assert "se comprobó dos veces; leído otra vez a tiempo" in told(job, "es")[-1]


def test_confirmed_as_missing_and_read_before_its_start_after_all_in_time(job):
    job.ok("three liters in", "oil filled")
    job.say("oil level 15 mm", "job complete")
    job.session.confirm("missing:level:step", "no time", "Ana")
    job.say("run and stopped")
    job.clock.advance(60)
    job.say("oil level 15 mm")
    assert ends(job, "window") == ["confirmed by Ana: no time; read again inside the window"]


def test_a_value_confirmed_and_then_corrected(job):
    job.say("cover nut one at 25 newton meters", SURE)
    job.ok("correction cover nut one at 20 newton meters")
    assert ends(job, "spec") == [f"{BY}; corrected"]
    assert told(job)[-1].endswith(f"{BY}; corrected")


def test_a_value_confirmed_and_then_tightened_again_is_short_in_its_row(job):
    job.say("cover nut one at 15 newton meters", SURE, "cover nut one at 20 newton meters")
    assert ends(job, "spec") == [f"{BY}; tightened again"]
    rows = build_report(job.state, {}.__getitem__).measured
    assert [r.verdict for r in rows if "nut" in r.what] == ["outside, tightened again", "inside"]
    front = build_report(job.state, {}.__getitem__).front
    assert not any("outside" in line.lower() for line in front.found)  # it was mended


def test_a_sum_confirmed_and_then_filled_up_is_told_as_it_was(job):
    job.say("two liters in", "oil filled", SURE)
    assert ends(job, "drained") == [BY]
    job.ok("one liter in")
    assert ends(job, "drained") == [f"{BY}; no longer so"]
    assert told(job)[-1] == f"Oil: 3 L came out and 2 L went in. {BY}; no longer so"
    spanish = told(job, "es")[-1]
    assert all(words in spanish.lower() for words in ("3 l", "2 l", "ya no es así"))
    front = build_report(job.state, {}.__getitem__).front
    assert not any("do not agree" in line for line in front.found)


def test_a_torque_confirmed_as_missing_and_then_reported(job):
    job.say("nuts tight", "three liters in", "oil filled", "job complete")
    job.session.confirm("missing:nuts:torque-1-2-3", "it was checked twice", "Imani Okafor")
    job.say("cover nut one at 20 newton meters")
    assert ends(job, "missing")[0] == BY  # two are missing still
    assert not any("done afterwards" in end for end in ends(job, "missing"))
    job.say("cover nut two at 20 newton meters", "cover nut three at 20 newton meters")
    assert f"{BY}; done afterwards" in ends(job, "missing")


def test_a_dropped_wish_to_close_ends_nothing(job):
    job.say("nuts tight", "job complete", SURE)
    before = ends(job, "missing")
    assert BY in before
    job.say("job complete", "disregard")
    assert not any("; " in end for end in ends(job, "missing"))


def test_what_a_colleague_confirmed_and_was_taken_back(bench):
    job = bench(steps=STEPS)
    job.say("oil filled")
    job.say(SURE, by="Ana")
    job.say("disregard")
    assert ends(job, "order") == [
        "confirmed by Ana: it was checked twice; taken back by Imani Okafor"
    ]
    assert told(job)[-1].endswith("checked twice; taken back by Imani Okafor")


def test_a_value_that_a_colleague_confirmed_and_was_taken_back(job):
    job.say("cover nut one at 25 newton meters")
    job.say(SURE, by="Ana")
    job.say("disregard")
    assert ends(job, "spec") == ["confirmed by Ana: it was checked twice; taken back"]
    assert "25 N·m (no. 1) was reported; specified is 18 to 22 N·m" in told(job)[-1]


def test_a_reason_that_ends_like_a_mending_mends_nothing(job):
    job.say("cover nut one at 15 newton meters")
    (finding,) = job.state.open_findings
    job.session.confirm(finding.key, "wrong nut; corrected", "Ana")
    report = build_report(job.state, {}.__getitem__, units="metric")
    assert [r.verdict for r in report.measured if "nut" in r.what] == ["outside"]
    assert any("15\xa0N·m" in line for line in report.front.found), report.front.found
    job.say("cover nut one at 20 newton meters")
    assert told(job)[-1].endswith("wrong nut; corrected.; tightened again")


def test_a_question_confirmed_and_then_dropped_is_told_alike_in_every_language(job):
    job.say("cover nut one at 90 newton meters")
    job.session.confirm(f"unsure:{job.state.waiting[-1].entry.id}", "no time", "Ana")
    job.say("negative")
    assert told(job, "es")[-1].startswith(
        "Una frase escrita no quedó clara; el programa preguntó. No se registró nada de ella."
    )


def explained(job, language: str = "en") -> list[str]:
    found = build_report(job.state, {}.__getitem__, language=language).findings
    return [f.explained.split(" (")[0] for f in found if f.explained]


def test_what_the_advisor_said_of_it_stays_with_it_when_it_ends(job):
    job.say("two liters in", "oil filled", SURE)
    (finding,) = [f for f in job.state.findings if f.key.startswith("drained:")]
    job.session.explain(finding.key, "One litre follows tomorrow.", "Priya")
    job.ok("one liter in")
    assert explained(job) == explained(job, "es") == ["One litre follows tomorrow."]
    first_page = build_report(job.state, {}.__getitem__).front.means
    assert not any("follows tomorrow" in line for line in first_page)  # it is so no more
    (ended,) = [f for f in job.state.findings if f.key.startswith("ended:")]
    job.session.explain(ended.key, "It was filled up the day after.", "Priya")
    assert explained(job) == ["It was filled up the day after."]
    first_page = build_report(job.state, {}.__getitem__).front.means
    assert "It was filled up the day after." in first_page


def test_what_was_said_of_another_sum_is_not_told_of_the_one_that_ended(job):
    job.say("one liter in", "oil filled")
    (finding,) = [f for f in job.state.findings if f.key.startswith("drained:")]
    job.session.explain(finding.key, "Two litres are missing.", "Priya")
    job.say("one liter in", SURE)
    job.ok("one liter in")
    assert any(f.key.startswith("ended:") for f in job.state.findings)
    assert explained(job) == []


def test_what_was_said_of_a_step_out_of_order_stays_when_it_is_taken_back(bench):
    job = bench(steps=STEPS)
    for words in ("He was a little quick.", ""):
        job.say("oil filled")
        (finding,) = [f for f in job.state.findings if f.key.startswith("order:")]
        if words:
            job.session.explain(finding.key, words, "Priya")
        job.session.type_in("disregard", "Imani Okafor")
    undone = [f for f in job.state.findings if f.key.startswith("undone:")]
    assert [job.state.explanation(f.key) for f in undone] == ["He was a little quick.", ""]
