"""An odometer that shows less than before is remarked to the technician and stops nobody."""

from __future__ import annotations

import pytest

from joblog.errors import InputError
from joblog.job.meters import last_meter
from joblog.job.types import FindingKind
from joblog.report.build import build_report
from joblog.sheet.load import sheet_text

VIN = "1KC7F6AB6GH041620"  # invented; its check digit fits
AT = "2026-05-03T08:00:00.000Z"
STEPS = """
[[steps]]
key = "odometer"
title = "Read the odometer"
say = ["odometer noted"]
reading = { name = "odometer", unit = "mi" }
"""


def unit(value: str, of: str = "mi") -> dict[str, str]:
    return {"type": "KT-6F", "vin": VIN, "odometer": value, "odometer_unit": of}


def before(value: str, of: str = "mi") -> dict[str, str]:
    return {"job": "an-earlier-one", "at": AT, "value": value, "unit": of}


def remarks(job) -> list[str]:
    return [f.text for f in job.state.findings if f.key.startswith("meter:")]


def test_less_than_at_the_last_job_is_the_answer_to_the_opening(bench):
    job = bench(unit=unit("9124"), earlier_meter=before("91240"))
    (finding,) = job.state.findings
    assert finding.kind is FindingKind.OBSERVATION
    assert finding.text == (
        "The odometer shows 9124 mi, less than at an earlier job, 2026-05-03: 91240 mi."
    )
    reply = job.session.last_reply
    assert (reply.spoken, reply.tone) == ("Miles lower than before.", "warn")
    assert reply.shown.startswith(finding.text)
    assert "a note can say so" in reply.shown
    job.check_vocabulary(reply)
    assert job.say("say again").spoken == reply.spoken
    assert job.state.open_findings == ()  # nobody's mistake: it waits for no reason


@pytest.mark.parametrize(
    ("now", "then", "remarked"),
    [
        (unit("91240"), before("91240"), False),
        (unit("91239"), before("91240"), True),
        (unit("146836", "km"), before("91240"), False),  # 91240 mi are 146836.5 km
        (unit("146834", "km"), before("91240"), True),
        (unit("450.4", "h"), before("450.5", "h"), True),
        (unit("450.5", "h"), before("91240"), False),  # hours are no distance
        (unit("9,124"), before("91,240"), True),
        (unit("unknown"), before("91240"), False),
        (unit("9124"), before("unknown"), False),
        (unit("9124"), before("1e99999999"), False),
        (unit("9124"), before("91240") | {"at": "yesterday"}, False),
        (unit("9124"), "junk", False),
        ({}, before("91240"), False),
    ],
)
def test_only_what_is_surely_less_is_remarked(bench, now, then, remarked):
    job = bench(unit={"type": "KT-6F"} | now, earlier_meter=then)
    assert len(remarks(job)) == remarked
    assert bool(job.session.last_reply.spoken) == remarked


def test_less_than_earlier_in_the_same_job(bench):
    job = bench(steps=STEPS, unit=unit("91240"))
    reply = job.say("odometer 9124")
    assert reply.spoken.startswith("Odometer, nine one two four miles. Miles lower than before.")
    assert "less than earlier in this job: 91240 mi" in reply.shown
    job.say("odometer noted", "correction odometer 91241")
    (finding,) = [f for f in job.state.findings if f.key.startswith("meter:")]
    assert finding.resolved == "corrected"
    job.say("job complete")
    assert job.state.closed == "finished"


def test_what_is_remarked_never_keeps_a_job_open_and_is_for_the_pages_behind(bench):
    job = bench(
        steps=STEPS.replace('reading = { name = "odometer", unit = "mi" }', ""),
        unit=unit("9124"),
        earlier_meter=before("91240"),
    )
    job.say("odometer noted", "job complete")
    assert job.state.closed == "finished"
    for language, units, wanted in (
        ("en", "us", "Odometer: 9,124 mi, less than at an earlier job (91,240 mi, "),
        ("en", "metric", "Odometer: 14,684 km, less than at an earlier job (146,837 km, "),
        ("es", "metric", "Cuentakilómetros: 14.684 km, menos que en un trabajo anterior (146.837 "),
    ):
        report = build_report(job.state, {}.__getitem__, language=language, units=units)
        (found,) = report.findings
        assert found.text.replace("\xa0", " ").startswith(wanted)
        assert not found.open
        assert not found.original
        first_page = " ".join((report.front.verdict, *report.front.found, *report.front.means))
        assert "9,124" not in first_page
        assert "one thing" not in first_page  # it accuses nobody before the customer


def line(job: str, **unit: str) -> dict[str, object]:
    return {"job": job, "opened_at": AT, "unit": unit}


def test_the_newest_job_of_the_vehicle_that_told_its_meter_counts():
    lines = [
        line("f", odometer="1", odometer_unit="mi", vin="another"),
        line("e", vin=VIN),
        line("d", vin=VIN, odometer="450.5", odometer_unit="h"),
        line("c", vin=VIN.lower(), odometer="5000", odometer_unit="mi"),
        line("b", vin=VIN, odometer="91240", odometer_unit="mi"),
        line("a", plate="EXA 416", odometer="7", odometer_unit="km"),
    ]
    assert last_meter(lines, unit("6000")) == {
        "job": "c", "at": AT, "value": "5000", "unit": "mi",
    }  # fmt: skip
    assert last_meter(lines, unit("6", "h"))["job"] == "d"
    assert last_meter(lines, {"plate": "exa 416"})["job"] == "a"
    assert last_meter(lines, {"odometer": "5"}) == {}  # nothing tells which vehicle it is


def test_the_shipped_sheets_open_with_it(bench):
    job = bench(toml=sheet_text("coolant"), unit=unit("1"), earlier_meter=before("2"))
    assert len(remarks(job)) == 1


def test_what_was_told_at_the_opening_is_corrected_and_both_stay_in_the_record(bench):
    job = bench(unit=unit("1319880"), earlier_meter=before("131000"))
    job.say("vehicle checked")
    reply = job.session.correct_meter("131988", "mi", by="Priya Nair")
    assert reply.shown == "Corrected: odometer 131988 mi, not 1319880 mi."
    job.check_vocabulary(reply)
    assert job.state.opened["unit"]["odometer"] == "131988"
    opened, corrected = (job.state.entries[k] for k in (0, -1))
    assert opened.body["unit"]["odometer"] == "1319880"
    assert (corrected.kind, corrected.supersedes, corrected.by) == (
        "meter",
        opened.id,
        "Priya Nair",
    )
    assert job.session.store.verify(job.session.job).whole
    job.session.correct_meter("212414", "km")  # and once more
    assert job.state.entries[-1].supersedes == corrected.id
    assert job.state.opened["unit"] == unit("212414", "km")
    assert remarks(job) == []


def test_a_figure_that_was_too_low_is_remarked_no_more_once_it_is_corrected(bench):
    job = bench(unit=unit("9124"), earlier_meter=before("91240"))
    job.session.correct_meter("91244", "mi")
    (finding,) = [f for f in job.state.findings if f.key.startswith("meter:")]
    assert finding.resolved == "corrected"
    reply = job.session.correct_meter("91230", "mi")
    assert reply.tone == "warn"
    assert reply.shown.startswith("Corrected: odometer 91230 mi, not 91244 mi. The odometer shows")
    assert "91230 mi, less than at an earlier job" in remarks(job)[-1]


def test_a_meter_that_nobody_told_at_the_opening_is_told_later(bench):
    job = bench()
    assert job.session.correct_meter("450.5", "h").shown == "Noted: hour meter 450.5 h."
    assert job.state.opened["unit"]["odometer_unit"] == "h"


@pytest.mark.parametrize(("value", "of"), [("", "mi"), ("many", "mi"), ("-4", "km"), ("4", "qt")])
def test_what_no_meter_shows_corrects_nothing(bench, value, of):
    job = bench(unit=unit("91240"))
    with pytest.raises(InputError, match="shows a number"):
        job.session.correct_meter(value, of)
    with pytest.raises(InputError, match="stands so already"):
        job.session.correct_meter("91,240", "mi")
    assert [e.kind for e in job.state.entries] == ["job-opened"]


def test_a_closed_job_keeps_its_meter(bench):
    job = bench(unit=unit("91240"))
    job.session.close("aborted", "the customer took the vehicle")
    with pytest.raises(InputError, match="is closed"):
        job.session.correct_meter("91241", "mi")
