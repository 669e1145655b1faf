"""Long times are told as a clock has them, and a job over night with both of its dates."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from joblog.job.wording import span_said, span_shown
from joblog.report.build import build_report

STEPS = """
[[steps]]
key = "run"
title = "Run the engine"
say = ["engine running"]

[[steps]]
key = "off"
title = "Engine off"
say = ["engine off"]
after = ["run"]

[[steps]]
key = "level"
title = "Read the level"
say = ["level read"]
after = ["off"]
window = { since = "off", opens = 45, closes = CLOSES }
reading = { name = "oil level", unit = "mm", low = 10, high = 20 }
"""


@pytest.mark.parametrize(
    ("seconds", "shown", "said"),
    [
        (120, "120 s", "one two zero seconds"),
        (121, "2 min 1 s", "two minutes one second"),
        (600, "10 min", "one zero minutes"),
        (3605, "1 h", "one hour"),
        (57613, "16 h", "one six hours"),
        (59400, "16 h 30 min", "one six hours three zero minutes"),
    ],
)
def test_above_two_minutes_times_are_minutes_and_hours(seconds, shown, said):
    assert (span_shown(seconds), span_said(seconds)) == (shown, said)


def overnight(bench, closes, seconds):
    job = bench(steps=STEPS.replace("CLOSES", closes))
    job.ok("engine running", "engine off")
    job.clock.advance(seconds - 3)
    return job, job.say("oil level 15 mm")


def test_a_reading_in_the_morning_is_late_by_hours_and_says_what_to_do(bench):
    job, reply = overnight(bench, "120", 57613)
    assert "16 h after off: too late; between 45 and 120 s." in reply.shown
    assert "Do “engine running” and “engine off” again, then “level read” in time." in reply.shown
    assert "one six hours, is too late" in reply.spoken
    job.say("engine running", "affirm", "engine off", "affirm")
    job.clock.advance(60)
    job.ok("oil level 15 mm")
    (late,) = [f for f in job.state.findings if f.key.startswith("window:")]
    assert late.resolved == "read again inside the window"


@pytest.mark.parametrize(
    ("language", "took", "dates"),
    [
        ("en", "16 h after", "November 25, 2026, 09:00 to November 26, 2026, 01:00"),
        ("es", "16 h después", "del 25 de noviembre de 2026, 09:00, al 26 de noviembre de 2026"),
    ],
)
def test_the_report_tells_hours_and_both_dates(bench, language, took, dates):
    job, _ = overnight(bench, "120", 57613)
    report = build_report(job.state, {}.__getitem__, language=language)
    assert any(took in line.replace("\xa0", " ") for line in report.front.found)
    assert dates in report.front.people[-1].text
    (row,) = [r for r in report.measured if r.value == "16 h"]
    assert row.specified.replace("\xa0", " ") == {"en": "45 to 120 s", "es": "45 a 120 s"}[language]


def test_a_long_window_is_told_in_minutes_and_no_time_is_rounded_onto_its_limit(bench):
    job, reply = overnight(bench, "3600", 3605)
    assert "3605 s after off: too late; between 45 s and 1 h" in reply.shown
    (row,) = [
        r for r in build_report(job.state, {}.__getitem__).measured if r.what.startswith("Time")
    ]
    assert (row.value.replace("\xa0", " "), row.specified) == ("3,605 s", "45 s to 1 h")


@pytest.mark.parametrize(("language", "told"), [("en", "set back by 1 h "), ("es", "1 h")])
def test_a_clock_set_back_by_an_hour_is_not_told_in_seconds(bench, language, told):
    job = bench(steps=STEPS.replace("CLOSES", "120"))
    job.ok("engine running")
    job.clock.set_wall(datetime(2026, 11, 25, 9, 0, 3, tzinfo=UTC) - timedelta(seconds=3605))
    job.say("engine off")
    (clock,) = [f for f in job.state.findings if f.key.startswith("clock:")]
    assert "set back by 1 h;" in clock.text
    report = build_report(job.state, {}.__getitem__, language=language)
    (found,) = [f for f in report.findings if told in f.text]
    assert "3605" not in found.text
