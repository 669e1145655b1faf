"""``joblog report`` and ``joblog verify report.pdf`` from the command line."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from joblog.cli import main
from joblog.record import MediaRef
from joblog.record.media import exported_name


def export(script: Any, folder: Path) -> Path:
    (folder / "media").mkdir(parents=True)
    (folder / "record.jsonl").write_bytes(script.record())
    for entry in script.entries:
        for ref in entry.media:
            (folder / "media" / exported_name(ref)).write_bytes(script.blobs[ref.sha256])
    return folder


@pytest.fixture
def exported(full: Any, tmp_path: Path) -> Path:
    return export(full, tmp_path / "job")


def test_a_report_is_written_and_verified(
    exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    options = ["--language", "es", "--units", "both", "--paper", "letter"]
    assert main(["report", str(exported), "--out", str(out), *options]) == 0
    assert (out / "report.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert main(["verify", str(out / "report.pdf")]) == 0
    assert "the same byte for byte" in capsys.readouterr().out


def test_a_job_of_the_store_has_the_shop_s_own_settings(exported: Path, tmp_path: Path) -> None:
    """As on the desk; a record that came as a file has no shop beside it."""
    data = tmp_path / "data"
    assert main(["import", str(exported), "--data", str(data)]) == 0
    own = 'warranty = "Twelve months on parts."\nlanguage = "es"\nunits = "metric"\n'
    (data / "shop.toml").write_text(own + 'paper = "letter"\n', encoding="utf-8")
    for job, has in (("last", True), (str(exported), False)):
        out = tmp_path / str(has)
        assert main(["report", job, "--data", str(data), "--out", str(out)]) == 0
        page = (out / "report.html").read_text(encoding="utf-8")
        assert ("Twelve months on parts" in page) == ("N·m" in page) == has
        assert ('lang="es"' in page) == has
        assert main(["verify", str(out / "report.pdf")]) == 0


def test_a_changed_report_fails_to_verify(
    exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import pikepdf

    assert main(["report", str(exported), "--out", str(tmp_path)]) == 0
    pikepdf.open(tmp_path / "report.pdf").save(tmp_path / "again.pdf")
    assert main(["verify", str(tmp_path / "again.pdf")]) == 1
    assert "NOT byte for byte" in capsys.readouterr().out


def test_history_is_written_beside_the_report(
    new_script: Any, play: Any, exported: Path, tmp_path: Path
) -> None:
    before = play(new_script(number=50, start=new_script().start - timedelta(days=90)))
    earlier = str(export(before, tmp_path / "before"))
    command = ["report", str(exported), "--out", str(tmp_path), "--earlier", earlier, "--history"]
    assert main(command) == 0
    assert (tmp_path / "history.pdf").read_bytes().startswith(b"%PDF-1.7")


@pytest.mark.parametrize(
    ("days", "plate", "told"),
    [(90, "XX 1", "it is about another vehicle"), (-90, "HL16 KCR", "it was opened later")],
)
def test_no_earlier_service_is_refused_in_one_sentence(  # noqa: PLR0917 - all fixtures
    days: int,
    plate: str,
    told: str,
    new_script: Any,
    exported: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    other = new_script(number=51, start=new_script().start - timedelta(days=days))
    other.open(unit={"type": "KT-6F", "plate": plate})
    other.add("job-closed", {"how": "finished", "reason": ""})
    named = str(export(other, tmp_path / "other"))
    assert main(["report", str(exported), "--out", str(tmp_path), "--earlier", named]) == 1
    error = capsys.readouterr().err
    assert f"is no earlier service of this unit: {told}. Name a closed job" in error
    assert error.count("\n") == 1
    assert not (tmp_path / "report.pdf").exists()


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


@pytest.mark.parametrize("role", ["photo", "audio"])
def test_altered_media_give_no_report(
    role: str, new_script: Any, play: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = play(new_script(number=41))
    photo, other = (p.entry.media[0] for p in script.state().photos[:2])
    # what was heard is evidence as well, though no page shows it
    sound = MediaRef(sha256=sha256(b"fLaC").hexdigest(), mime="audio/flac", role="audio", name="")
    script.blobs[sound.sha256] = b"fLaC"
    script.add("heard", {"text": "", "verdict": "reject"}, media=(sound,))
    exported = export(script, tmp_path / "job")
    assert main(["report", str(exported), "--out", str(tmp_path / "before")]) == 0
    altered = exported / "media" / exported_name(photo if role == "photo" else sound)
    altered.write_bytes(script.blobs[other.sha256])  # a picture of something else
    capsys.readouterr()
    out = tmp_path / "out"
    for place in (exported, exported / "record.jsonl"):
        assert main(["report", str(place), "--out", str(out)]) == 1
        error = capsys.readouterr().err
        assert "The record is NOT whole: entry" in error
        assert "which was altered. No report was made" in error
        assert error.count("\n") == 1
    assert not out.exists()


def test_a_missing_photo_is_said_to_be_missing(exported: Path, tmp_path: Path) -> None:
    for photo in (exported / "media").iterdir():
        photo.unlink()
    assert main(["report", str(exported), "--out", str(tmp_path)]) == 0
    assert (tmp_path / "report.pdf").exists()


@pytest.mark.parametrize("what", ["row", "photo"])
def test_an_altered_store_gives_no_report(
    what: str, exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    assert main(["import", str(exported), "--data", str(data)]) == 0
    command = ["report", "last", "--data", str(data), "--out", str(tmp_path / "out")]
    assert main(command) == 0
    shutil.rmtree(tmp_path / "out")
    if what == "row":
        raw = sqlite3.connect(data / "joblog.db")
        raw.execute("DROP TRIGGER joblog_keep_entries_update")
        raw.execute(
            'UPDATE joblog_entries SET line = replace(line, \'"value":"40"\', ?)',
            ['"value":"44"'],
        )
        assert raw.total_changes
        raw.commit()
        raw.close()
    else:
        next(p for p in (data / "media").rglob("*") if p.is_file()).write_bytes(b"another")
    capsys.readouterr()
    assert main(command) == 1
    error = capsys.readouterr().err
    assert "NOT whole: entry" in error
    assert error.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_the_bench_runs_on_a_small_job(capsys: pytest.CaptureFixture[str]) -> None:
    command = ["bench", "report", "--entries", "6", "--photos", "1", "--runs", "1"]
    assert main([*command, "--browser", "/no/such/browser"]) == 0
    assert "first report" in capsys.readouterr().out
