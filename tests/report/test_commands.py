"""``joblog report`` and ``joblog verify report.pdf`` from the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from joblog.cli import main
from joblog.record.media import exported_name


@pytest.fixture
def exported(full: Any, tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    (folder / "media").mkdir(parents=True)
    (folder / "record.jsonl").write_bytes(full.record())
    for entry in full.entries:
        for ref in entry.media:
            (folder / "media" / exported_name(ref)).write_bytes(full.blobs[ref.sha256])
    return folder


def test_a_report_is_written_and_verified(
    exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    options = ["--language", "es", "--units", "both", "--paper", "letter"]
    assert main(["report", str(exported), "--out", str(out), *options]) == 0
    assert (out / "report.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert main(["verify", str(out / "report.pdf")]) == 0
    assert "the same byte for byte" in capsys.readouterr().out


def test_a_changed_report_fails_to_verify(
    exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import pikepdf

    assert main(["report", str(exported), "--out", str(tmp_path)]) == 0
    pikepdf.open(tmp_path / "report.pdf").save(tmp_path / "again.pdf")
    assert main(["verify", str(tmp_path / "again.pdf")]) == 1
    assert "NOT byte for byte" in capsys.readouterr().out


def test_history_is_written_beside_the_report(exported: Path, tmp_path: Path) -> None:
    earlier = str(exported / "record.jsonl")
    command = ["report", str(exported), "--out", str(tmp_path), "--earlier", earlier, "--history"]
    assert main(command) == 0
    assert (tmp_path / "history.pdf").read_bytes().startswith(b"%PDF-1.7")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (["--language", "xx"], "no report in the language 'xx'"),
        (["--settings", "nowhere.toml"], "nowhere.toml can't be read"),
    ],
)
def test_bad_options_are_one_sentence(
    change: list[str], told: str, exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(exported), "--out", str(tmp_path), *change]) == 1
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert not (tmp_path / "report.pdf").exists()


def test_an_altered_record_gives_no_report(
    exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = exported / "record.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"value":"40"', b'"value":"41"'))
    assert main(["report", str(exported), "--out", str(tmp_path)]) == 1
    assert "NOT whole" in capsys.readouterr().err
    assert not (tmp_path / "report.pdf").exists()


def test_the_bench_runs_on_a_small_job(capsys: pytest.CaptureFixture[str]) -> None:
    command = ["bench", "report", "--entries", "6", "--photos", "1", "--runs", "1"]
    assert main([*command, "--browser", "/no/such/browser"]) == 0
    assert "first report" in capsys.readouterr().out
