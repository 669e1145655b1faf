"""A photo of a label is evidence: its bar code stands in the record."""

import io
from datetime import UTC, datetime

import segno
from PIL import Image

from joblog.job.session import JobSession
from joblog.record.clock import ManualClock
from joblog.record.store import open_store
from joblog.sheet.load import sheet_text


def test_bar_code_of_a_label_is_recorded_and_a_blank_picture_is_not_usable(tmp_path):
    store = open_store(tmp_path, clock=ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC)))
    unit = {"unit": {"type": "KT-6F"}}
    session = JobSession.start(store, sheet_text("transaxle-drain-fill"), unit)
    label, blank = io.BytesIO(), io.BytesIO()
    segno.make("EX-18-AL").save(label, kind="png", scale=12, border=6)
    session.photo(label.getvalue(), "label")
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
