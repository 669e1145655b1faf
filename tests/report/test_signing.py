"""A signature vouches for nothing recorded behind it, and what is not known is not hidden."""

import pytest

from joblog.job.replay import replay
from joblog.report.build import build_report
from joblog.report.html import render_html
from tests.report.conftest import Script


def report(script, language="en"):
    return build_report(replay(script.sheet, script.entries), script.blobs, language=language)


@pytest.mark.parametrize("typed", [True, False])
def test_what_came_after_the_signature_is_told_beside_it(typed):
    script = Script()
    script.open()
    how = {"how": "typed"} if typed else {}
    script.add("signature", {"name": "Tomas Lindqvist"} | how, source="hand")
    first = report(script).front
    assert first.typed == ("signed by typing the name" if typed else "")
    script.say(
        "drain plug 52", "torque", {"step": "drain-plug-in", "value": "52", "unit": "lbf.ft"}
    )
    script.add("explained", {"finding": "x", "text": "You agreed to a new case."}, source="hand")
    told = report(script)
    assert told.front.typed.endswith(
        "signed 2026-11-24 09:12:20, before the record's last 3 entries were made"
    )
    assert "last 3 entries were made" in render_html(told)
    assert "antes de hacerse las últimas 3 entradas" in report(script, "es").front.typed
    script.add("signature", {"name": "Tomas Lindqvist"} | how, source="hand")  # signed once more
    assert report(script).front.typed == first.typed


@pytest.mark.parametrize(("how", "told"), [("finished", ""), ("aborted", "last 2 entries")])
def test_a_job_that_is_finished_behind_its_signature_is_as_it_was_signed(how, told):
    script = Script()
    script.open()
    script.add("signature", {"name": "Tomas Lindqvist"}, source="hand")
    script.add("heard", {"text": "job complete", "verdict": "accept"}, source="voice")
    script.add("job-closed", {"how": how, "reason": "in this test"}, source="voice")
    assert told in report(script).front.typed
    assert bool(report(script).front.typed) is bool(told)


def test_entries_of_a_newer_joblog_are_not_left_out_in_silence():
    script = Script()
    script.open()
    script.say(
        "drain plug 41", "torque", {"step": "drain-plug-in", "value": "41", "unit": "lbf.ft"}
    )
    assert "does not know" not in " ".join(report(script).front.next)
    script.add("torque-withdrawn", {"why": "the wrench was found to be off"}, source="hand")
    assert report(script).front.next[-1] == (
        "1 entry of the record is of a kind that this version of joblog does not know. Ask for a "
        "report made by a newer one."
    )


def test_a_unit_of_a_newer_joblog_is_not_judged():
    script = Script()
    script.open()
    told = {"step": "drain-plug-in", "value": "39", "unit": "lbf-foot"}
    script.add("torque", told, source="hand")
    made = report(script)
    row = next(m for m in made.measured if m.what == "Torque, drain plug")
    assert (row.inside, row.gauge) == (None, "")
    assert "outside" not in row.verdict
    assert not any("Outside its limits" in line for line in made.front.found)
