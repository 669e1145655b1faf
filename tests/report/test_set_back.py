"""A wall clock that was set back during a job: its times give no order, the record does."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from joblog.job.session import JobSession
from joblog.record import ManualClock, open_store
from joblog.report.build import build_report
from joblog.sheet.load import sheet_text

UNIT = {"unit": {"type": "KT-6F"}, "technician": "Dunya Whitlock"}
SAID = ("vehicle checked", "standing level", "wheels chocked", "on stands")


def test_order_of_work_and_findings_are_those_of_the_record(tmp_path: Path) -> None:
    clock = ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC))
    with open_store(tmp_path, clock=clock) as store:
        job = JobSession.start(store, sheet_text("transaxle-drain-fill"), UNIT, clock=clock)
        titles = {step.say[0]: step.title for step in job.sheet.steps}
        titles |= {word: step.title for step in job.sheet.steps for word in step.say}
        job.type_in("drain plug out")  # out of order
        job.type_in("confirm because the plug was loose")
        for days_back, said in enumerate(SAID):
            clock.set_wall(datetime(2026, 11, 23 - days_back, 9, tzinfo=UTC))
            clock.advance(30)
            job.type_in(said)
        job.type_in("engine off")  # out of order as well, on the earliest date
        report = build_report(job.state, lambda _: b"")
    done = [step.title for step in report.steps if step.done]
    assert done == [titles[said] for said in ("drain plug out", *SAID, "engine off")]
    told = [found.text for found in report.findings if "was reported before" in found.text]
    assert titles["drain plug out"] in told[0]
    assert titles["engine off"] in told[-1]
    when = next(fact.text for fact in report.front.people if fact.label == "When")
    assert when == "November 24, 2026; the computer's clock was set back during the job"
