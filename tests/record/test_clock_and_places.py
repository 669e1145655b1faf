"""The clocks of the record, and where it is kept."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from joblog.record import ManualClock, SystemClock, default_data_dir, open_store
from joblog.record.clock import Moment
from tests.record.conftest import note, run

START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def test_monotonic_time_survives_a_restart_of_the_program() -> None:
    code = "from joblog.record import SystemClock as C; m = C().read(); print(m.at, m.mono, m.boot)"
    before = SystemClock().read()
    between = Moment(*run(code).stdout.split())
    after = SystemClock().read()
    if not Path("/proc/sys/kernel/random/boot_id").exists():
        assert between.boot != before.boot  # unknown rather than wrong
        return
    assert before.boot == between.boot == after.boot
    assert float(before.mono) <= float(between.mono) <= float(after.mono)


def test_the_wall_clock_does_not_move_a_manual_wait(tmp_path: Path) -> None:
    clock = ManualClock(START)
    with open_store(tmp_path, clock=clock) as store:
        job = store.start_job()
        first = note(store, job)
        clock.set_wall(datetime(2026, 11, 25, 3, 0, tzinfo=UTC))
        clock.advance("75.250")
        second = note(store, job)
        assert (first.mono, second.mono, second.boot) == ("0.000", "75.250", first.boot)
        assert second.at == "2026-11-25T03:01:15.250Z"
        assert store.verify(job).remarks
        clock.restart("next boot")
        assert note(store, job).boot == "next boot"
        with pytest.raises(ValueError, match="backwards"):
            clock.advance(-1)


def test_the_data_folder_can_be_chosen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("JOBLOG_DATA", str(tmp_path / "chosen"))
    assert default_data_dir() == tmp_path / "chosen"
    with open_store() as store:
        store.start_job()
    assert (tmp_path / "chosen" / "joblog.db").is_file()
    monkeypatch.delenv("JOBLOG_DATA")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "xdg"))
    if sys.platform == "linux":
        assert default_data_dir() == tmp_path / "xdg" / "joblog"
