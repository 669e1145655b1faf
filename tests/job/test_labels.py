"""A photo of a label is evidence: its bar code stands in the record."""

import io
import json
from datetime import UTC, datetime

import numpy as np
import pytest
import segno
import zxingcpp
from PIL import Image

from joblog.cli import main
from joblog.job.label_codes import is_number
from joblog.job.session import JobSession
from joblog.job.vocabulary import closed_vocabulary, spoken_words
from joblog.record.clock import ManualClock
from joblog.record.store import open_store
from joblog.sheet.load import sheet_text


def test_bar_code_of_a_label_is_recorded_and_a_blank_picture_is_not_usable(tmp_path):
    store = open_store(tmp_path, clock=ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC)))
    unit = {"unit": {"type": "KT-6F"}}
    session = JobSession.start(store, sheet_text("transaxle-drain-fill"), unit)
    label, blank = io.BytesIO(), io.BytesIO()
    segno.make("EX-18-AL").save(label, kind="png", scale=12, border=6)
    reply = session.photo(label.getvalue(), "label")
    assert reply.shown.startswith("Photo label, good: its bar code is read. EX-18-AL: Sealing wash")
    measured = session.state.photos[-1].measurement
    assert measured["usable"]
    assert [code["text"] for code in measured["labels"]] == ["EX-18-AL"]
    Image.new("RGB", (600, 400), "white").save(blank, "PNG")
    session.photo(blank.getvalue(), "label")
    measured = session.state.photos[-1].measurement
    assert not measured["usable"]
    assert "no bar code" in measured["why"]
    assert store.verify(session.job).whole
    store.close()


OWN, OTHER = "1M8GDM9AXKP042788", "2MYT9D3T8FMM30WL2"  # published examples
FALSE = OTHER[:8] + "0" + OTHER[9:]  # its check digit would be 8


def label_of(text, code="Code39"):
    made = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, code))
    image = np.pad(np.array(made.to_image(scale=3)), 60, constant_values=255)
    out = io.BytesIO()
    Image.fromarray(image).convert("RGB").save(out, "JPEG", quality=95)
    return out.getvalue()


@pytest.fixture
def job(tmp_path):
    store = open_store(tmp_path, clock=ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC)))
    unit = {"unit": {"type": "KT-6F", "vin": OWN}}
    yield JobSession.start(store, sheet_text("transaxle-drain-fill"), unit)
    store.close()


def found(job):
    return [(f.kind.value, bool(f.resolved)) for f in job.state.findings if "abel" in f.spoken]


def test_label_of_another_vehicle_is_told_at_once_and_ends_with_the_right_one(job):
    reply = job.photo(label_of(OTHER), "label")
    assert reply.tone == "warn"
    assert "good" not in reply.spoken + reply.shown
    assert "The label's VIN ends in M30WL2, the job's in 042788." in reply.shown
    assert found(job) == [("label of another vehicle", False)]
    assert set(spoken_words(reply.spoken)) <= closed_vocabulary(job.sheet)
    job.photo(label_of("4006381333931", "EAN13"), "label")  # a bottle's says nothing of the VIN
    assert found(job) == [("label of another vehicle", False)]
    reply = job.photo(label_of(OWN), "label")
    assert found(job) == [("label of another vehicle", True)]
    assert "its VIN is the job's" in reply.shown


def test_false_check_digit_is_asked_to_be_taken_again(job):
    reply = job.photo(label_of(FALSE), "label")
    assert "Take it again." in reply.spoken
    assert "check digit" in reply.shown
    measured = job.state.photos[-1].entry.body["measurement"]
    assert not measured["usable"]
    assert "vin" not in measured
    (finding,) = job.state.open_findings
    job.photo(label_of("4006381333931", "EAN13"), "label")  # that's not the label taken again
    assert job.state.open_findings == (finding,)
    job.photo(label_of(OWN), "label")
    assert not job.state.open_findings


@pytest.mark.parametrize("code", ["Code39", "Code128", "DataMatrix"])
def test_leading_i_of_a_vin_is_taken_off(job, code):
    reply = job.photo(label_of(f"I{OWN}", code), "label")
    assert reply.tone == "ok"
    measured = job.state.photos[-1].entry.body["measurement"]
    assert [label["text"] for label in measured["labels"]] == [OWN]
    assert measured["vin"] == OWN


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("4006381333931", "EAN13"),
        ("P/N 12-34-A", "Code128"),
        ("I2345", "Code39"),
        ("12345678901234567", "Code128"),  # a part's number with as many figures as a VIN
        ("https://oil.example/A1B2C3D4E5F6G7H8J", "QRCode"),
    ],
)
def test_codes_that_are_no_vin_stay_as_they_are(job, text, code):
    reply = job.photo(label_of(text, code), "label")
    assert reply.tone == "ok"
    assert "its bar code is read." in reply.shown
    measured = job.state.photos[-1].entry.body["measurement"]
    assert [label["text"] for label in measured["labels"]] == [text]
    assert "vin" not in measured


def test_job_without_a_vin_takes_any_label(tmp_path):
    with open_store(tmp_path) as store:
        unit = {"unit": {"type": "KT-6F"}}
        job = JobSession.start(store, sheet_text("transaxle-drain-fill"), unit)
        assert job.photo(label_of(OTHER), "label").tone == "ok"
        assert job.state.photos[-1].entry.body["measurement"]["vin"] == OTHER


def test_job_that_keeps_the_end_of_the_vin_alone(tmp_path):
    with open_store(tmp_path) as store:
        unit = {"unit": {"type": "KT-6F", "vin": OWN[-6:].lower()}}
        job = JobSession.start(store, sheet_text("transaxle-drain-fill"), unit)
        assert job.photo(label_of(OWN), "label").tone == "ok"
        assert job.photo(label_of(OTHER), "label").tone == "warn"


def test_the_command_says_the_same(tmp_path, capsys):
    for name, text in (("other", f"I{OTHER}"), ("false", FALSE), ("bottle", "4006381333931")):
        code = "EAN13" if name == "bottle" else "Code39"
        (tmp_path / f"{name}.jpg").write_bytes(label_of(text, code))
    assert (
        main(["labels", *(str(tmp_path / f"{n}.jpg") for n in ("other", "false", "bottle"))]) == 0
    )
    other, false, bottle = capsys.readouterr().out.splitlines()
    assert other.endswith(f"{OTHER} (Code 39); VIN {OTHER}")
    assert "doesn't fit its check digit" in false
    assert bottle.endswith("4006381333931 (EAN-13)")
    assert main(["labels", "--jsonl", str(tmp_path / "false.jpg")]) == 0
    line = json.loads(capsys.readouterr().out)
    assert "vin" not in line
    assert "check digit" in line["vin_trouble"]


def test_a_code_that_no_part_has_is_said_to_be_none(job):
    reply = job.photo(label_of("EX-77"), "label", by="Imani Okafor")
    assert "EX-77: no part or fluid of this sheet has that number." in reply.shown


@pytest.mark.parametrize(
    ("code", "number", "same"),
    [
        ("ex-18-al", "EX-18-AL", True),
        ("4001 EX-18-AL 07", "EX-18-AL", True),
        ("18", "EX-18-AL", False),  # a scrap of it is no evidence
        ("EX-1", "EX-18-AL", False),
        ("ATF-6", "Example ATF-6 (example)", True),
        ("", "EX-18-AL", False),
        ("EX-18-AL", None, False),
    ],
)
def test_a_code_is_a_part_s_number_only_where_enough_of_it_is_the_same(code, number, same):
    assert is_number(code, number) is same
