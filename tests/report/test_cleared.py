"""The report of an export that left its originals at home: it shows the copies as what they are."""

from __future__ import annotations

import hashlib
import io
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from joblog.cli import main
from joblog.job.session import JobSession
from joblog.record import open_store
from joblog.report.attached import data_from_pdf, verify_report_pdf
from joblog.sheet.load import library, sheet_text

IMAGES = Path(__file__).parents[2] / "sample_images"
WORDS = {
    "en": "A copy without the place it was taken; the record can't vouch for it.",
    "es": "Una copia sin el lugar donde se tomó; el registro no puede responder de ella.",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an export without originals: a plug that was measured, and one of the wrong kind."""
    data, out = tmp_path_factory.mktemp("data"), tmp_path_factory.mktemp("out")
    with open_store(data) as store:
        text = sheet_text(library()["transaxle-drain-fill"])
        session = JobSession.start(store, text, {"unit": {"type": "KT-6F"}, "technician": "Imani"})
        for name, kind in (("plug-before.jpg", "plug"), ("plug-after.jpg", "dipstick")):
            session.photo((IMAGES / name).read_bytes(), kind, by="Imani")
        session.close("aborted", "the customer took the vehicle")
    assert main(["export", "last", str(out), "--data", str(data)]) == 0
    return out


def reported(folder: Path, out: Path, *options: str) -> tuple[dict[str, Any], bytes]:
    """Return a report's data and its PDF."""
    assert main(["report", str(folder), "--out", str(out), *options]) == 0
    pdf = (out / "report.pdf").read_bytes()
    return data_from_pdf(pdf), pdf


@pytest.mark.parametrize("language", WORDS)
def test_a_copy_is_shown_in_the_photos_place_and_told(
    folder: Path, tmp_path: Path, language: str
) -> None:
    data, pdf = reported(folder, tmp_path, "--language", language)
    measured, other = data["pictures"]
    assert (bool(measured["image"]), measured["copied"]) == (True, False)  # the drawing is checked
    assert (bool(other["image"]), other["copied"]) == (True, True)
    assert WORDS[language] in other["details"]
    assert WORDS[language] not in measured["details"]
    assert WORDS[language] in unescape((tmp_path / "report.html").read_text("utf-8"))
    assert not [p for p in data["front"]["pictures"] if p["copied"]]
    found = verify_report_pdf(pdf)
    assert (found.agree, found.exact) == (True, True), found.sentence


def test_the_words_below_a_drawing_are_cut_off_by_the_copys_height(
    folder: Path, tmp_path: Path
) -> None:
    data, _ = reported(folder, tmp_path)
    with Image.open(IMAGES / "plug-before.jpg") as photo:
        long, short = photo.size  # it lies on its side
    shown = data["pictures"][0]
    assert shown["height"] / shown["width"] == pytest.approx(long / short, abs=0.01)


def test_whoever_puts_another_picture_there_makes_no_evidence(folder: Path, tmp_path: Path) -> None:
    after = hashlib.sha256((IMAGES / "plug-after.jpg").read_bytes()).hexdigest()
    (copy,) = (folder / "copies").glob(f"{after}.*")
    honest = copy.read_bytes()
    painted = io.BytesIO()
    Image.new("RGB", (400, 300), "red").save(painted, "JPEG")
    copy.write_bytes(painted.getvalue())
    try:
        data, _ = reported(folder, tmp_path)
    finally:
        copy.write_bytes(honest)
    other = data["pictures"][1]
    assert (other["copied"], WORDS["en"] in other["details"]) == (True, True)
    assert other["image"] not in [p["image"] for p in data["front"]["pictures"]]


def test_a_report_from_the_originals_says_nothing_of_copies(full: Any, make: Any) -> None:
    report = make(full)
    assert not any(picture.copied for picture in report.pictures)
    assert WORDS["en"] not in str(report.to_dict())
