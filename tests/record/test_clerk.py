"""What a clerk gets by e-mail, copies from paper and types wrongly: told as what it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.cli import main
from joblog.record import JOB_CLOSED, Store, export_job, verify_lines


@pytest.fixture
def record(store: Store, tmp_path: Path) -> Path:
    """Return the exported record of a closed job."""
    job = store.start_job()
    store.append(job, "note", {"text": "left boot weeps"}, source="hand")
    store.append(job, JOB_CLOSED, {"how": "finished"}, source="hand")
    return export_job(store, job, tmp_path / "mail")


def joblog(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    status = main([str(word) for word in arguments])
    out = capsys.readouterr()
    return status, out.out + out.err


@pytest.mark.parametrize("between", ["\n", " ", "\u200b\n", "\r\n  ", ""])
def test_the_final_hash_may_be_copied_from_its_two_lines_on_the_report(
    record: Path, capsys: pytest.CaptureFixture[str], between: str
) -> None:
    final = verify_lines(record.read_bytes())[0].final_hash
    typed = f" {final[:32].upper()}{between}{final[32:]} "
    status, told = joblog(capsys, "verify", record, "--expect", typed)
    assert (status, "(as expected)" in told) == (0, True)


@pytest.mark.parametrize("typed", ["", "fdd1127", "a" * 63, "g" * 64, "a" * 65])
def test_a_slip_in_the_hash_accuses_no_record(
    record: Path, capsys: pytest.CaptureFixture[str], typed: str
) -> None:
    status, told = joblog(capsys, "verify", record, "--expect", typed)
    assert (status, told.count("\n")) == (2, 1)
    assert "wants the whole final hash" in told
    assert "NOT" not in told


def test_another_hash_still_does_not_fit(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, told = joblog(capsys, "verify", record, "--expect", "a" * 64)
    assert (status, "NOT the expected one" in told) == (1, True)


@pytest.mark.parametrize("how", ["line ends of Windows", "byte order mark"])
def test_a_mail_program_that_saved_the_file_again_is_named(
    record: Path, capsys: pytest.CaptureFixture[str], how: str
) -> None:
    good = record.read_bytes()
    windows = good.replace(b"\n", b"\r\n")
    record.write_bytes(windows if "line" in how else b"\xef\xbb\xbf" + good)
    status, told = joblog(capsys, "verify", record)
    assert (status, "NOT whole" in told) == (1, True)
    assert how in told
    assert "ask for it once more, in a ZIP file" in told


def test_one_odd_line_end_is_told_at_its_own_entry(record: Path) -> None:
    verdict = verify_lines(record.read_bytes()[:-1] + b"\r\n")[0]
    assert (verdict.whole, verdict.first_bad) == (False, 1)


@pytest.mark.parametrize("changed", ["\ufeff", "\r"])
def test_marks_put_into_the_database_are_no_empty_job(
    store: Store, record: Path, changed: str
) -> None:
    import sqlite3

    raw = sqlite3.connect(store.folder / "joblog.db")
    raw.execute("DROP TRIGGER joblog_keep_entries_update")
    how = "? || line WHERE seq = 0" if changed == "\ufeff" else "line || ?"
    raw.execute(f"UPDATE joblog_entries SET line = {how}", [changed])
    raw.commit()
    raw.close()
    job = store.jobs()[0]
    assert store.verify(job).first_bad == 0


@pytest.mark.parametrize("command", ["jobs", "verify --job last", "export last out", "report last"])
def test_a_mistyped_folder_is_said_to_be_none_and_is_not_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    wrong = tmp_path / "recrods"
    status, told = joblog(capsys, *command.split(), "--data", wrong)
    assert (status, told.count("\n")) == (1, 1)
    assert f"there are no records in {wrong}: there is no such folder" in told
    assert not wrong.exists()


def test_an_import_may_make_its_folder(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, told = joblog(capsys, "import", record.parent, "--data", tmp_path / "new")
    assert (status, "2 entries brought in" in told) == (0, True)
