"""The whole line, for real: sound and photos in, an honest record, a report out."""

import json
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from joblog.cli import main
from joblog.demo.script import load_script
from joblog.job.session import JobSession
from joblog.record.chain import verify_lines
from joblog.record.store import open_store
from joblog.sheet.load import sheet_text


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Where the shop keeps its own records."""
    return tmp_path_factory.mktemp("shop")


@pytest.fixture(scope="module")
def played(tmp_path_factory, shop):
    """Play the demo once; the tests below look at what it left."""
    out = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("JOBLOG_DATA", str(shop))
        assert main(["demo", "--plain", "--out", str(out)]) == 0
    return out


@pytest.fixture(scope="module")
def entries(played: Path):
    return [json.loads(line) for line in (played / "record.jsonl").read_text().splitlines()]


def of_kind(entries, kind):
    superseded = {e["supersedes"] for e in entries if e.get("supersedes")}
    return [e for e in entries if e["kind"] == kind and e["id"] not in superseded]


def test_scenario_is_as_rich_as_a_real_job():
    lines = load_script()
    assert len(lines) >= 25
    assert len({line.who for line in lines}) >= 3
    assert len({line.shot.path.name for line in lines if line.shot}) >= 6
    meant = {line.mean for line in lines}
    assert {"chatter", "out of order", "correction", "question", "note"} <= meant


def test_demo_leaves_report_and_record(played):
    assert (played / "report.pdf").read_bytes().startswith(b"%PDF-")
    page = (played / "report.html").read_text(encoding="utf-8")
    assert "Bramble" in page
    assert "<script" not in page


def test_the_technician_s_note_is_told_on_page_1(played):
    page = (played / "report.html").read_text(encoding="utf-8")
    front, _, behind = page.partition("Order of work</h2>")
    assert "The left rear tire is worn on its inner edge." in front
    assert "Told to the customer: The left rear tire" in behind


def test_the_demo_stays_apart_from_the_shops_own_records(played, shop, capsys):
    capsys.readouterr()
    assert main(["jobs", "--data", str(shop)]) == 0
    assert capsys.readouterr().out == "There are no jobs here yet.\n"


def test_a_folder_with_another_job_is_refused_and_left_as_it_is(tmp_path, capsys):
    data, out = tmp_path / "shop", tmp_path / "out"
    store = open_store(data)
    job = JobSession.start(
        store, sheet_text("transaxle-drain-fill"), {"unit": {"type": "KT-6F"}}
    ).job
    store.close()
    assert main(["export", job, str(out), "--data", str(data)]) == 0
    before = (out / "record.jsonl").read_bytes()
    assert main(["demo", "--plain", "--out", str(out)]) == 1
    assert "holds another job (record.jsonl); name another --out." in capsys.readouterr().err
    assert (out / "record.jsonl").read_bytes() == before
    assert main(["demo", "--plain", "--out", str(data)]) == 1
    assert "holds a shop's records (joblog.db)" in capsys.readouterr().err
    (out / "record.jsonl").rename(out / "another.jsonl")
    assert main(["demo", "--plain", "--out", str(out)]) == 1
    report = tmp_path / "report"
    report.mkdir()
    (report / "report.pdf").write_bytes(b"%PDF-")
    assert main(["demo", "--plain", "--out", str(report)]) == 1
    assert "a report.pdf that is not a demo's" in capsys.readouterr().err


def test_an_earlier_demo_may_be_replaced(played):
    from joblog.demo.commands import _refuse_other_records

    _refuse_other_records(played)


def test_a_demo_stopped_by_the_keyboard_does_not_say_that_anything_is_kept(tmp_path):
    out = tmp_path / "out"
    # a test run in the background ignores the keyboard, and what it starts does, too
    listens = "signal.signal(signal.SIGINT, signal.default_int_handler)"
    run = (
        f"import signal, sys; {listens}; from joblog.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-u", "-c", run, "demo", "--plain", "--out", str(out)]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as demo:
        assert demo.stdout is not None
        while "Imani" not in demo.stdout.readline():
            assert demo.poll() is None
        demo.send_signal(signal.SIGINT)
        _, told = demo.communicate(timeout=60)
    assert (demo.returncode, told) == (
        130,
        "joblog: the demo was stopped; nothing of it is kept.\n",
    )
    assert list(out.iterdir()) == []


def test_the_job_is_not_older_than_its_sheet(entries):
    opened = next(e for e in entries if e["kind"] == "job-opened")
    revision = re.search(r'^revision = "(.*)"', opened["body"]["sheet"]["toml"], re.MULTILINE)
    assert revision is not None
    assert opened["at"][:10] >= revision[1]


def test_record_is_whole_and_the_job_is_closed(entries, played):
    verdict, _ = verify_lines((played / "record.jsonl").read_bytes())
    assert verdict.whole
    assert verdict.closed
    assert of_kind(entries, "job-closed")[0]["body"]["how"] == "finished"


def test_values_in_the_record_are_those_that_were_spoken(entries):
    torques = {e["body"]["step"]: e["body"]["value"] for e in of_kind(entries, "torque")}
    assert torques == {"drain-plug-in": "41", "fill-plug-in": "27"}
    poured = of_kind(entries, "quantity")
    assert [e["body"]["value"] for e in poured if e["body"]["direction"] == "out"] == ["3.6"]
    filled = sorted(e["body"]["value"] for e in poured if e["body"]["direction"] == "in")
    assert filled == ["0.6", "1", "1", "1"]  # the half quart was corrected


def test_nothing_that_was_not_said_is_marked_done(entries):
    done = {e["body"]["step"] for e in of_kind(entries, "step-done")}
    assert len(done) == len(of_kind(entries, "step-done"))
    assert "drain-plug-out" in done


def test_drowned_number_was_asked_about_not_written_down(entries):
    asked = [e for e in entries if e["kind"] == "asked"]
    heard = {e["id"]: e["body"] for e in entries if e["kind"] == "heard"}
    assert asked
    for entry in of_kind(entries, "torque"):
        said = entry["body"].get("heard")
        assert said is None or heard[said]["verdict"] == "accept"


def test_chatter_is_kept_as_ignored_and_led_to_nothing(entries):
    ignored = [e for e in entries if e["kind"] == "heard" and e["body"]["verdict"] == "reject"]
    assert any(e["by"] == "Ewan Reid" for e in ignored)
    assert not [e for e in entries if e["by"] == "Ewan Reid" and e["kind"] != "heard"]


def test_blurred_photo_is_refused_and_its_retake_measured(entries):
    sticks = [e["body"]["measurement"] for e in entries if e["kind"] == "photo"]
    sticks = [m for m in sticks if m.get("kind") == "dipstick"]
    assert [m["usable"] for m in sticks] == [True, False, True]


def test_verify_names_the_first_altered_entry(played, tmp_path, capsys):
    lines = (played / "record.jsonl").read_text(encoding="utf-8").splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if '"value":"41"' in line)
    lines[at] = lines[at].replace('"value":"41"', '"value":"44"')
    altered = tmp_path / "record.jsonl"
    altered.write_text("".join(lines), encoding="utf-8")
    assert main(["verify", str(altered)]) == 1
    assert f"entry {at} " in capsys.readouterr().out


def test_report_and_record_agree(played, capsys):
    assert main(["verify", str(played / "report.pdf")]) == 0
    assert "in this export only as copies without their place" in capsys.readouterr().out


def test_no_picture_of_the_demo_tells_where_it_was_taken(played):
    def tells(path: Path) -> bool:
        with Image.open(path) as picture:
            return bool(picture.getexif().get_ifd(0x8825))  # EXIF's pointer to the place

    samples = Path(__file__).parents[2] / "sample_images"
    assert tells(samples / "plug-before.jpg")
    pictures = list(played.rglob("*.jpg"))
    assert len(pictures) >= 12
    assert not any(tells(path) for path in pictures)
