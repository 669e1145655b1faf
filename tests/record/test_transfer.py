"""Out of one store, into another, and the commands that do it."""

from __future__ import annotations

import io
import json
import sqlite3
import subprocess
import sys
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from joblog.cli import main
from joblog.errors import InputError, RecordError
from joblog.record import JOB_CLOSED, Imported, Store, export_job, import_job, open_store
from joblog.record.times import parse_time
from joblog.record.transfer import export_stream
from joblog.report.settings import shop_zone


@pytest.fixture
def job(store: Store) -> str:
    job = store.start_job()
    ref = store.put_media(b"before", "image/jpeg", "plug", "IMG_1.jpg")
    first = store.append(job, "photo-taken", {"of": "plug"}, source="photo", media=[ref])
    store.append(job, "note", {"text": "héard"}, source="voice", supersedes=first.id)
    other = store.put_media(b"after", "image/png", "plug", "IMG_2.png")
    store.append(job, "photo-taken", {"of": "plug"}, source="photo", media=[ref, other])
    store.append(job, JOB_CLOSED, {}, source="program")
    return job


def test_an_export_comes_back_as_it_was_and_only_once(
    store: Store, job: str, tmp_path: Path
) -> None:
    record = export_job(store, job, tmp_path / "out")
    assert {p.suffix for p in (tmp_path / "out" / "media").iterdir()} == {".jpg", ".png"}
    stream = io.BytesIO()
    assert export_stream(store, job, stream) == 4
    assert stream.getvalue() == record.read_bytes()
    with open_store(tmp_path / "second") as second:
        assert import_job(second, tmp_path / "out") == Imported(job, 4, 0)
        assert import_job(second, record) == Imported(job, 0, 4)
        assert second.entries(job) == store.entries(job)
        for entry in second.entries(job):
            for ref in entry.media:
                assert second.read_media(ref.sha256) == store.read_media(ref.sha256)
        again = export_job(second, job, tmp_path / "again")
        assert again.read_bytes() == record.read_bytes()


def test_a_longer_export_adds_what_is_new(store: Store, tmp_path: Path) -> None:
    job = store.start_job()
    store.append(job, "note", {"n": 0}, source="hand")
    export_job(store, job, tmp_path / "out")
    with open_store(tmp_path / "second") as second:
        import_job(second, tmp_path / "out")
        store.append(job, "note", {"n": 1}, source="hand")
        export_job(store, job, tmp_path / "out")
        assert import_job(second, tmp_path / "out") == Imported(job, 1, 1)


def test_two_histories_of_one_job_are_not_mixed(store: Store, tmp_path: Path) -> None:
    job = store.start_job()
    store.append(job, "note", {"n": 0}, source="hand")
    export_job(store, job, tmp_path / "out")
    with open_store(tmp_path / "second") as second:
        import_job(second, tmp_path / "out")
        mine = second.append(job, "note", {"where": "second"}, source="hand")
        for n in (1, 2):
            store.append(job, "note", {"n": n}, source="hand")
        export_job(store, job, tmp_path / "longer")
        with pytest.raises(RecordError, match=r"another history of job .* from entry 1 on"):
            import_job(second, tmp_path / "longer")
        assert second.entries(job)[1:] == [mine]


@pytest.mark.parametrize("what", ["record", "photo", "missing"])
def test_an_altered_export_is_refused_whole(
    store: Store, job: str, tmp_path: Path, what: str
) -> None:
    record = export_job(store, job, tmp_path / "out")
    photo = next((tmp_path / "out" / "media").glob("*.png"))
    if what == "record":
        record.write_bytes(record.read_bytes().replace("héard".encode(), b"heard"))
    elif what == "photo":
        photo.write_bytes(b"another")
    else:
        photo.unlink()
    with open_store(tmp_path / "second") as second:
        with pytest.raises(RecordError, match="othing was imported"):
            import_job(second, tmp_path / "out")
        assert second.jobs() == []
        assert not (tmp_path / "second" / "media").exists()
        if what == "missing":
            assert import_job(second, record, without_media=True) == Imported(job, 4, 0)


def test_an_export_does_not_overwrite_another_job(store: Store, job: str, tmp_path: Path) -> None:
    record = export_job(store, job, tmp_path / "out")
    before = record.read_bytes()
    other = store.start_job()
    store.append(other, "note", {}, source="hand")
    with pytest.raises(InputError, match="holds another record"):
        export_job(store, other, tmp_path / "out")
    assert record.read_bytes() == before
    export_job(store, other, tmp_path / "out", replace=True)
    assert record.read_bytes() != before


def test_a_job_with_a_damaged_photo_is_not_exported(store: Store, job: str, tmp_path: Path) -> None:
    ref = store.entries(job)[0].media[0]
    store.media_path(ref.sha256).write_bytes(b"damaged")
    with pytest.raises(RecordError, match="altered"):
        export_job(store, job, tmp_path / "out")
    assert not (tmp_path / "out" / "record.jsonl").exists()


# Commands


def joblog(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    status = main([str(argument) for argument in arguments])
    told = capsys.readouterr()
    return status, told.out + told.err


def test_the_commands_take_a_job_around(
    store: Store, job: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, out, second = tmp_path / "data", tmp_path / "out", tmp_path / "second"
    final = store.verify(job).final_hash
    status, told = joblog(capsys, "export", "last", out, "--data", data, "--originals")
    assert (status, final in told) == (0, True)
    status, told = joblog(capsys, "verify", out, "--expect", final)
    assert status == 0
    assert "whole and unaltered: 4 entries. The job is closed" in told
    assert "2 examined, unaltered" in told
    assert joblog(capsys, "import", out, "--data", second)[0] == 0
    status, told = joblog(capsys, "jobs", "--data", second)
    assert status == 0
    head, line = told.splitlines()
    assert head.split()[-1] == "job"
    assert line.split()[-2:] == ["closed", job]
    told = joblog(capsys, "jobs", "--jsonl", "--data", second)[1]
    assert json.loads(told)["job"] == job
    assert json.loads(told)["entries"] == 4


def test_jobs_are_listed_by_vehicle_customer_and_state(
    store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    assert joblog(capsys, "jobs", "--data", data) == (0, "There are no jobs here yet.\n")
    van = {"plate": "HL 4471", "year": 2016, "make": "Kestrel", "model": "Courier 2.0"}
    first = store.start_job()
    body = {"unit": van, "customer": {"name": "Bramble & Rye\x1b[2J Bakery " + "x" * 40}}
    store.append(first, "job-opened", body, source="hand")
    store.append(first, JOB_CLOSED, {"how": "aborted"}, source="hand")
    second = store.start_job()
    store.append(second, "job-opened", {"unit": {"type": "HP-3"}}, source="hand")
    head, newest, oldest = joblog(capsys, "jobs", "--data", data)[1].splitlines()
    assert newest.split()[-4:] == ["HP-3", "-", "open", second]
    assert "HL 4471, 2016 Kestrel Courier 2.0" in oldest
    assert oldest.split()[-2:] == ["stopped", first]
    assert "\x1b" not in oldest
    assert "x…" in oldest
    assert head.index("job") == newest.index(second) == oldest.index(first)
    opened = parse_time(store.entries(first)[0].at).astimezone()
    assert oldest.startswith(f"{opened:%Y-%m-%d %H:%M}  ")


def test_jobs_are_listed_in_the_shops_own_time_zone(
    store: Store, job: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (store.folder / "shop.toml").write_text('time_zone = "Pacific/Kiritimati"', encoding="utf-8")
    line = joblog(capsys, "jobs", "--data", store.folder)[1].splitlines()[1]
    opened = parse_time(store.entries(job)[0].at)
    there = opened.astimezone(timezone(timedelta(hours=14)))  # IANA tz database: +14 all year
    assert line.startswith(f"{there:%Y-%m-%d %H:%M}  ")
    recorded = joblog(capsys, "jobs", "--jsonl", "--data", store.folder)[1]
    assert json.loads(recorded)["opened"] == store.entries(job)[0].at
    for unknown in ("Mars/Base", "../../etc", ""):
        (store.folder / "shop.toml").write_text(f'time_zone = "{unknown}"', encoding="utf-8")
        with pytest.raises(InputError, match="unknown; write one such as 'Europe/London'"):
            shop_zone(store.folder)


def test_a_mistake_in_the_shops_settings_hides_no_job(
    store: Store, job: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (store.folder / "shop.toml").write_text('accent = "yellow"', encoding="utf-8")
    assert main(["jobs", "--data", str(store.folder)]) == 0
    told = capsys.readouterr()
    opened = parse_time(store.entries(job)[0].at).astimezone()
    assert told.out.splitlines()[1].startswith(f"{opened:%Y-%m-%d %H:%M}  ")
    assert told.out.rstrip().endswith(job)
    (sentence,) = told.err.splitlines()
    assert "shop.toml have a mistake in accent: write the colour as '#'" in sentence
    assert sentence.endswith("; until it is mended, times are in this PC's zone")
    assert main(["jobs", "--jsonl", "--data", str(store.folder)]) == 0
    assert capsys.readouterr().err == ""  # times in UTC want no zone


def test_verify_names_the_first_bad_entry(
    store: Store, job: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, job, tmp_path / "out")
    good = record.read_bytes()
    lines = good.splitlines(keepends=True)
    fields: dict[str, Any] = json.loads(lines[1])
    fields["body"]["text"] = "heard"
    rewritten = json.dumps(fields, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    for altered, sentence in (
        (lines[0] + rewritten.encode() + b"\n" + b"".join(lines[2:]), "entry 1 (note, "),
        (lines[0] + b"".join(lines[2:]), "entry 1 carries the number 2"),
        (lines[1] + lines[0] + b"".join(lines[2:]), "entry 0 carries the number 1"),
        (good[:-1], "entry 3 is cut off"),
        (good[:-30], "entry 3 is cut off"),
        (good.replace(b"\n", b"\r\n"), "entry 0 is not as it was written: the file has"),
        (b"", "no entry"),
    ):
        record.write_bytes(altered)
        status, told = joblog(capsys, "verify", record)
        assert status == 1
        assert "NOT whole" in told
        assert sentence in told


def test_verify_tells_a_cut_tail_by_the_expected_hash(
    store: Store, job: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, job, tmp_path / "out")
    record.write_bytes(b"".join(record.read_bytes().splitlines(keepends=True)[:-1]))
    status, told = joblog(capsys, "verify", record)
    assert (status, "The job is open" in told) == (0, True)
    status, told = joblog(capsys, "verify", record, "--expect", store.verify(job).final_hash)
    assert (status, "NOT the expected" in told) == (1, True)
    assert "whole and unaltered" not in told


def test_verify_examines_a_job_in_the_store(
    store: Store, job: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    status, told = joblog(capsys, "verify", "--job", "last", "--data", data)
    assert (status, "2 examined, unaltered" in told) == (0, True)
    raw = sqlite3.connect(data / "joblog.db")
    raw.execute("DROP TRIGGER joblog_keep_entries_update")
    raw.execute("UPDATE joblog_entries SET line = 'nonsense' WHERE seq = 2")
    raw.commit()
    raw.close()
    status, told = joblog(capsys, "verify", "--job", job, "--data", data)
    assert (status, "NOT whole: entry 2 " in told) == (1, True)
    with pytest.raises(RecordError, match="changed by hand"):
        store.entries(job)
    assert joblog(capsys, "verify")[0] == 2
    assert joblog(capsys, "verify", "x.jsonl", "--job", job)[0] == 2


def test_verify_sees_an_altered_photo_and_tolerates_an_absent_one(
    store: Store, job: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, job, tmp_path / "out")
    photo = next((tmp_path / "out" / "media").glob("*.png"))
    photo.write_bytes(b"another")
    status, told = joblog(capsys, "verify", record.parent)
    assert (status, "entry 2 rests on" in told) == (1, True)
    assert "whole and unaltered" not in told
    photo.unlink()
    status, told = joblog(capsys, "verify", record)
    assert (status, "1 not beside the record" in told) == (0, True)


@pytest.mark.parametrize(
    "arguments",
    [("verify", "absent.jsonl"), ("verify", "absent.pdf"), ("import", "absent"),
     ("export", "last", "out"), ("export", "0000", "out")],
)  # fmt: skip
def test_what_is_not_there_is_one_sentence(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("JOBLOG_DATA", str(tmp_path / "data"))
    status, told = joblog(capsys, *arguments)
    assert status == 1
    assert told.startswith("joblog: ")
    assert told.count("\n") == 1


def test_verify_runs_as_a_program(store: Store, job: str, tmp_path: Path) -> None:
    record = export_job(store, job, tmp_path / "out")
    command = [sys.executable, "-m", "joblog", "verify", str(record)]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    record.write_bytes(record.read_bytes() + b"{}\n")
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "entry 4 is not an entry" in done.stdout


def test_verify_says_of_another_file_that_it_is_no_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "README.md"
    other.write_text("# Something else\n", "utf-8")
    status, told = joblog(capsys, "verify", other)
    assert status != 0
    assert "README.md is no joblog record; give a record.jsonl" in told
    assert "0000" not in told
