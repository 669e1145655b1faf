"""A bar code that was read stands in the report, whatever its signs."""

from __future__ import annotations

import html
import io
import re
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from joblog.job.session import JobSession
from joblog.record.store import open_store
from joblog.report.build import build_report
from joblog.report.html import render_html
from joblog.sheet.load import sheet_text


def label(text: str, kind: zxingcpp.BarcodeFormat) -> bytes:
    """Return a photo of a label with that bar code."""
    made = zxingcpp.create_barcode(text, kind)
    image = np.pad(np.array(made.to_image(scale=4)), 80, constant_values=255)
    out = io.BytesIO()
    Image.fromarray(image).convert("RGB").save(out, "JPEG", quality=95)
    return out.getvalue()


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("4006381333931", zxingcpp.BarcodeFormat.EAN13),
        ("00123", zxingcpp.BarcodeFormat.Code128),
        ("12.50", zxingcpp.BarcodeFormat.Code128),
        ("30e8", zxingcpp.BarcodeFormat.QRCode),
        ("P/N 12-34-A", zxingcpp.BarcodeFormat.Code128),
    ],
)
def test_the_code_stands_in_the_report_as_it_was_read(
    tmp_path: Path, text: str, kind: zxingcpp.BarcodeFormat
) -> None:
    with open_store(tmp_path) as store:
        unit = {"unit": {"type": "KT-6F"}}
        session = JobSession.start(store, sheet_text("transaxle-drain-fill"), unit)
        reply = session.photo(label(text, kind), "label")
        assert "its bar code is read" in reply.shown
        page = render_html(build_report(session.state, store.read_media))
    words = html.unescape(re.sub("<[^>]+>", " ", page))
    assert f" {text} " in " ".join(words.split())
    assert "taken for the record" not in words
