"""What was done before a plug came out once more: its torque and filling count no longer.

That a plug which comes out must be tightened again is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.job.session import JobSession
from joblog.job.types import StepStatus
from joblog.report.build import build_report
from joblog.sheet.load import sheet_text

IMAGES = Path(__file__).parents[2] / "sample_images"
TO_THE_DRAIN = (
    "gearbox checked", "warm up done", "fluid temperature 45 celsius", "wheels chocked",
    "on stands", "level plug out",
)  # fmt: skip


@pytest.fixture
def cvt(bench):
    job = bench(toml=sheet_text("cvt-drain-fill"), unit={"type": "KV-1"})
    job.say(*TO_THE_DRAIN)
    return job


def test_a_torque_told_before_the_plug_came_out_is_wanted_again(cvt):
    assert cvt.say("drain plug torqued to 44 newton meters").tone == "warn"
    cvt.say("drain plug out", "draining done", "drained 3 liters")
    assert cvt.status("drain-plug-in") == "open"
    reply = cvt.say("drain plug in")
    assert "Wanted: torque" in reply.spoken
    assert cvt.say("torque 44").tone == "ok"
    assert cvt.status("drain-plug-in") == "done"


def test_an_amount_told_too_early_still_holds(cvt):
    cvt.say("drained 3 liters", "drain plug out", "draining done")
    assert cvt.state.step("drained").missing == ("photo of the plug",)
    assert cvt.state.fluids[0].poured_out == 3


def filled_up(job) -> None:
    job.say("drain plug out", "draining done", "drained 3 liters", "drain plug in", "torque 44")
    job.say("3 liters in", "filling done")
    assert job.status("filled") == "done"


def test_the_plug_out_once_more_opens_what_stood_on_it(cvt):
    filled_up(cvt)
    first = cvt.state.fluids[0]
    reply = cvt.say("drain plug out")
    assert "Next: " in reply.spoken
    open_ones = {s.step.key for s in cvt.state.steps if s.status is StepStatus.OPEN}
    assert {"drained", "drain-plug-in", "filled"} <= open_ones
    assert (cvt.state.fluids[0].poured_in, cvt.state.fluids[0].poured_out) == (0, 0)
    assert "Nothing is missing" not in cvt.say("job complete").spoken
    assert cvt.state.closed == ""
    cvt.say("disregard", "disregard")  # the wish to close, then the plug: nobody took it out
    assert cvt.status("drain-plug-in") == "done"
    assert cvt.state.fluids[0] == first


def test_done_again_the_second_filling_is_what_counts(cvt):
    filled_up(cvt)
    cvt.say("drain plug out", "draining done", "drained 2.9 liters", "drain plug in")
    assert cvt.status("drain-plug-in") == "incomplete"
    cvt.say("torque 44", "2.9 liters in", "filling done")
    assert cvt.status("filled") == "done"
    assert str(float(cvt.state.fluids[0].poured_in)) == "2.9"
    assert not [key for key in cvt.open_keys() if key.startswith(("quantity:", "drained:"))]
    resumed = JobSession.resume(cvt.session.store, cvt.session.job)
    assert resumed.state.steps == cvt.state.steps
    assert resumed.state.findings == cvt.state.findings


def test_the_report_counts_only_what_was_done_last(cvt):
    filled_up(cvt)
    cvt.say("drain plug out", "draining done", "drained 2.9 liters", "drain plug in")
    cvt.say("torque 45", "2.9 liters in", "filling done")
    report = build_report(cvt.state, cvt.session.store.read_media, units="metric")
    torques = [m for m in report.measured if m.what == "Torque, drain plug"]
    assert [(m.verdict, m.mended) for m in torques] == [
        ("inside, undone later", True), ("inside", False),
    ]  # fmt: skip
    (into,) = [m for m in report.measured if m.what.endswith("fluid, in")]
    assert into.value.replace("\xa0", " ") == "2.9 L"
    assert [part.endswith("undone later") for part in into.parts] == [True, False]
