"""How a record ends: closed and then signed, cut short, or no record at all.

What a hash chain can show and can't is stated in docs/record.md; the hash is SHA-256 (FIPS 180-4).
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from pathlib import Path

import pytest

from joblog.cli import main
from joblog.errors import InputError, RecordError
from joblog.job.replay import replay
from joblog.job.session import JobSession
from joblog.record import JOB_CLOSED, Store, export_job, import_job, open_store, verify
from joblog.record.chain import TAKEN_BACK
from joblog.record.entry import canonical
from joblog.sheet.load import load_sheet, sheet_text


@pytest.fixture
def signed(store: Store) -> str:
    """Return a job that was done, closed and then signed, as at the desk."""
    job = store.start_job()
    photo = store.put_media(b"plug", "image/jpeg", "photo", "IMG_1.jpg")
    store.append(job, "photo", {"kind": "plug"}, source="photo", media=[photo])
    store.append(job, JOB_CLOSED, {"how": "finished"}, source="hand")
    signature = store.put_media(b"signature", "image/png", "signature")
    store.append(job, "signature", {"name": "T. L."}, source="hand", media=[signature])
    return job


def joblog(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    status = main([str(argument) for argument in arguments])
    told = capsys.readouterr()
    return status, told.out + told.err


def longest_sentence(told: str) -> int:
    """Return how many words the longest sentence has."""
    return max(len(sentence.split()) for sentence in re.split(r"[.:]\s", told))


def cut(record: Path, entries: int) -> None:
    lines = record.read_bytes().splitlines(keepends=True)
    record.write_bytes(b"".join(lines[: len(lines) - entries]))


# Closed, then signed


def test_a_job_closed_and_then_signed_is_closed(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = store.folder
    verdict = store.verify(signed)
    assert (verdict.closed, verdict.after_closing) == (True, 1)
    told = joblog(capsys, "verify", "--job", signed, "--data", data)[1]
    assert "3 entries. The job is closed, and 1 entry follows its closing." in told
    assert joblog(capsys, "jobs", "--data", data)[1].splitlines()[1].split()[-2:] == [
        "finished", signed,
    ]  # fmt: skip
    assert json.loads(joblog(capsys, "jobs", "--jsonl", "--data", data)[1])["state"] == "finished"


@pytest.mark.parametrize("how", ["finished", "aborted"])
def test_list_verdict_and_replay_agree_on_what_is_closed(store: Store, how: str) -> None:
    from joblog.record.listing import job_line

    sheet = load_sheet("transaxle-drain-fill")
    job = store.start_job()
    words = {"finished": "finished", "aborted": "stopped"}

    def agreed() -> tuple[bool, str]:
        entries = store.entries(job)
        closed = verify(entries).closed
        assert closed == bool(replay(sheet, entries).closed)
        return closed, job_line(job, entries).state

    store.append(job, "job-opened", {}, source="hand")
    assert agreed() == (False, "open")
    closing = store.append(job, JOB_CLOSED, {"how": how}, source="hand")
    assert agreed() == (True, words[how])
    store.append(job, "signature", {"name": "T. L."}, source="hand")
    store.append(job, "explained", {"finding": "x", "text": "y"}, source="hand")
    assert agreed() == (True, words[how])
    store.append(job, TAKEN_BACK, {}, source="hand", supersedes=closing.id)
    assert agreed() == (False, "open")
    store.append(job, JOB_CLOSED, {"how": "finished"}, source="hand")
    assert agreed() == (True, "finished")


# Cut short


@pytest.mark.parametrize("entries", [1, 2])
def test_an_export_cut_short_of_its_signature_is_not_called_whole(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], entries: int
) -> None:
    record = export_job(store, signed, tmp_path / "out")
    assert joblog(capsys, "verify", record)[0] == 0
    cut(record, entries)
    for place in (record, record.parent):
        status, told = joblog(capsys, "verify", place)
        assert status == 1
        assert "whole and unaltered" not in told
        assert "its entries don't name a file in" in told
        assert "entries were cut off its end" in told
    status, told = joblog(capsys, "report", record.parent, "--out", tmp_path / "report")
    assert (status, "No report was made" in told) == (1, True)
    with (
        open_store(tmp_path / "second") as second,
        pytest.raises(RecordError, match=r"cut off its end.*nothing was imported"),
    ):
        import_job(second, record)


def test_what_is_cut_off_without_a_trace_is_said_to_be_out_of_sight(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, signed, tmp_path / "out")
    final = store.verify(signed).final_hash
    told = joblog(capsys, "verify", record)[1]
    assert "What was cut off after that can't be seen here." in told
    assert longest_sentence(told) <= 15
    told = joblog(capsys, "verify", record, "--expect", final)[1]
    assert "can't be seen" not in told  # the end is proven
    assert "1 entry follows its closing." in told
    shutil.rmtree(record.parent / "media")
    for entries, said in ((1, "such as a signature, can't be seen"), (1, "job is open")):
        cut(record, entries)
        status, told = joblog(capsys, "verify", record)
        assert (status, said in told) == (0, True)
        assert "A final hash kept elsewhere shows both, such as the printed report's." in told
        assert longest_sentence(told) <= 15
        assert joblog(capsys, "verify", record, "--expect", final)[0] == 1


def test_a_record_written_anew_is_whole_and_said_to_be_out_of_sight(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, signed, tmp_path / "out")
    final, last = store.verify(signed).final_hash, "0" * 64
    lines = []
    for line in record.read_text(encoding="utf-8").splitlines():
        entry = json.loads(line.replace('"plug"', '"fluid"', 1)) | {"prev": last}
        entry.pop("hash")
        last = hashlib.sha256(canonical(entry)).hexdigest()
        lines.append(canonical(entry | {"hash": last}) + b"\n")
    record.write_bytes(b"".join(lines))
    status, told = joblog(capsys, "verify", record)
    assert (status, "Nor can it be seen if somebody wrote all of it anew." in told) == (0, True)
    assert joblog(capsys, "verify", record, "--expect", final)[0] == 1


def test_an_empty_line_is_called_one_and_no_hash_stands_for_nothing(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, signed, tmp_path / "out")
    record.write_bytes(b"\n" + record.read_bytes())
    status, told = joblog(capsys, "verify", record)
    assert status == 1
    assert "entry 0 is an empty line, which joblog never writes: the file was changed." in told
    assert "Final hash" not in told


def test_other_files_beside_a_record_are_no_sign_of_a_cut(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, signed, tmp_path / "out")
    media = record.parent / "media"
    (media / "notes.txt").write_text("mine", "utf-8")
    (media / ("ab" * 32 + ".jpg")).write_bytes(b"not what its name says")
    (media / "folder").mkdir()
    assert joblog(capsys, "verify", record)[0] == 0
    record.rename(record.with_name("first.jsonl"))
    other = store.start_job()
    photo = store.put_media(b"another plug", "image/jpeg", "photo")
    store.append(other, "photo", {"kind": "plug"}, source="photo", media=[photo])
    export_job(store, other, record.parent)  # two jobs kept in one folder
    for name in ("first.jsonl", "record.jsonl"):
        assert joblog(capsys, "verify", record.with_name(name))[0] == 0
    record.with_name("first.jsonl").unlink()
    assert joblog(capsys, "verify", record)[0] == 1


# No record at all


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("report.html", b'<!doctype html><p class="hash" data-x="seq">3f2a</p>"hash" "prev" "seq"'),
        ("report.json", b'{"final_hash":"%b","history":[{"hash":"%b"}]}' % (b"a" * 64, b"b" * 64)),
        ("photo.jpg", bytes(range(256)) * 8),
        ("orders.csv", b"order,plate\n2047,HL 4471\n"),
    ],
)  # fmt: skip
def test_a_file_of_another_kind_is_not_called_altered(
    name: str, content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_bytes(content)
    data = ("--data", tmp_path / "data")
    for command in (("verify",), ("import", *data), ("report", "--out", tmp_path / "out")):
        status, told = joblog(capsys, command[0], tmp_path / name, *command[1:])
        assert status == 1
        assert f"{name} is no joblog record; give a record.jsonl" in told
        assert "NOT whole" not in told
        assert told.count("\n") == 1


def test_a_damaged_record_is_still_called_a_record(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = export_job(store, signed, tmp_path / "out")
    good = record.read_bytes()
    for damaged in (
        b"x" + good[1:],
        good[:-1],
        b"{" + good,
        good.splitlines()[0].replace(b":", b" :"),
        b"",
    ):
        record.write_bytes(damaged)
        status, told = joblog(capsys, "verify", record)
        assert (status, "NOT whole" in told) == (1, True)


def test_a_pdf_is_known_by_its_first_bytes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "download"
    file.write_bytes(b"%PDF-1.7\nnothing more")
    status, told = joblog(capsys, "verify", file)
    assert (status, "can't be read as a PDF report" in told) == (1, True)


@pytest.mark.parametrize("command", ["report", "import", "verify"])
def test_a_report_or_a_shops_folder_given_for_a_record_says_how_it_is_checked(
    store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    job = JobSession.start(store, sheet_text("coolant"), {}).job
    record, made = export_job(store, job, tmp_path / "out"), tmp_path / "made"
    assert joblog(capsys, "report", record, "--out", made)[0] == 0
    pdf, shop, database = made / "report.pdf", store.folder, store.folder / "joblog.db"
    given = [
        (made, f"{made / 'record.jsonl'} isn't there; ", f"`joblog verify {pdf}`"),
        (shop, "record.jsonl isn't there; ", f"`joblog verify --all --data {shop}`"),
        (database, "is a database", f"`joblog verify --all --data {shop}` checks the jobs in it"),
    ]
    if command != "verify":
        given.append((pdf, f"{pdf} is a PDF: `joblog verify {pdf}` checks a report's", "here give"))
    for place, what, advice in given:
        status, told = joblog(capsys, command, place, "--data", tmp_path / "other")
        assert status == 1
        assert what in told, told
        assert advice in told, told
        assert told.count("\n") == 1
        assert "NOT whole" not in told  # nobody altered anything


# Altered in the store


def test_an_altered_job_gives_no_words_and_hides_no_other(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import sqlite3

    first = store.start_job()
    store.append(first, "job-opened", {"unit": {"plate": "HL 4471"}}, source="hand")
    broken = store.start_job()
    store.append(broken, "job-opened", {"unit": {"plate": "HL 5582"}}, source="hand")
    raw = sqlite3.connect(store.folder / "joblog.db")
    raw.execute("DROP TRIGGER joblog_keep_entries_update")
    raw.execute(
        "UPDATE joblog_entries SET line = replace(line, '4471', '9999') WHERE job = ?", [first]
    )
    raw.execute("UPDATE joblog_entries SET line = 'nonsense' WHERE job = ?", [broken])
    raw.commit()
    raw.close()
    status, told = joblog(capsys, "jobs", "--data", store.folder)
    assert status == 0
    states = {line.split()[-1]: line.split()[-2] for line in told.splitlines()[1:]}
    assert states == {signed: "finished", first: "altered", broken: "altered"}
    assert "9999" not in told
    for job in (first, broken):
        with pytest.raises(RecordError, match=r"NOT whole: entry 0 .*Nothing of this job is shown"):
            store.whole(job)
    assert store.whole(signed) == store.entries(signed)
    assert store.whole(store.start_job()) == []
    with pytest.raises(InputError):
        store.whole("nobody")


def test_what_follows_a_record_that_is_not_whole_has_no_final_hash(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An entry put behind the end leaves the hash before it, which is the one in the report."""
    record = export_job(store, signed, tmp_path / "out")
    final = store.entries(signed)[-1].hash
    record.write_bytes(record.read_bytes() + b'{"kind":"note"}\n')
    status, told = joblog(capsys, "verify", record)
    assert status == 1
    assert "entry 3 is not an entry of a record: id is missing." in told
    assert f"Hash of the last good entry: {final}" in told
    assert "Final hash" not in told


def test_a_report_beside_the_record_is_said_not_to_be_examined_with_it(
    store: Store, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    export_job(store, signed, tmp_path / "out")
    assert "Not examined" not in joblog(capsys, "verify", tmp_path / "out")[1]
    pdf = tmp_path / "out" / "report.pdf"
    pdf.write_bytes(b"%PDF-1.7 altered")
    status, told = joblog(capsys, "verify", tmp_path / "out")
    assert (status, f"report.pdf beside it; `joblog verify {pdf}` does that." in told) == (0, True)


@pytest.mark.parametrize("first", [b"PK\x03\x04", b"\x1f\x8b"])
def test_a_packed_record_is_to_be_unpacked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], first: bytes
) -> None:
    packed = tmp_path / "export.zip"
    packed.write_bytes(first + b"rest")
    status, told = joblog(capsys, "verify", packed)
    assert status == 1
    assert told == f"joblog: {packed} is packed: unpack it, then give what was in it\n"
