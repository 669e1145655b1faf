"""The PDF: PDF/A-3a and PDF/UA-1 as far as its structure shows, the same bytes each time."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from joblog.report.model import Report
from joblog.report.pdf import render_pdf

NAMES = ["full", "aborted", "empty", "hostile"]
A4, LETTER = (595.28, 841.89), (612.0, 792.0)  # points: ISO 216, ANSI/ASME Y14.1


@pytest.fixture(scope="module")
def pdfs(request: pytest.FixtureRequest, make: Callable[..., Report]) -> dict[str, bytes]:
    made = {}
    for name in NAMES:
        script = request.getfixturevalue(name)
        made[name] = render_pdf(make(script), script.record())
    return made


def opened(data: bytes) -> Any:
    return pikepdf.open(io.BytesIO(data))


@pytest.mark.parametrize("name", NAMES)
def test_catalogue_and_metadata_claim_a3a_and_ua1(name: str, pdfs: dict[str, bytes]) -> None:
    # ISO 19005-3:2012 6.6 and 6.7: identification, marking, structure; ISO 14289-1 5 and 7.1.
    pdf = opened(pdfs[name])
    with pdf.open_metadata() as meta:
        assert meta["pdfaid:part"] == "3"
        assert meta["pdfaid:conformance"] == "A"
        assert meta["pdfuaid:part"] == "1"
        assert meta["dc:title"]
    root = pdf.Root
    assert bool(root.MarkInfo.Marked)
    assert root.StructTreeRoot.K is not None
    assert str(root.Lang).startswith("en")
    assert bool(root.ViewerPreferences.DisplayDocTitle)
    assert root.OutputIntents[0].S == "/GTS_PDFA1"
    assert not pdf.is_encrypted


@pytest.mark.parametrize("name", NAMES)
def test_record_and_data_are_attached_with_their_relationship(
    name: str, pdfs: dict[str, bytes], request: pytest.FixtureRequest
) -> None:
    pdf = opened(pdfs[name])
    kinds = {str(f.UF): str(f.AFRelationship) for f in pdf.Root.AF}
    assert kinds == {"record.jsonl": "/Source", "report.json": "/Data"}
    assert pdf.attachments["record.jsonl"].get_file().read_bytes() == (
        request.getfixturevalue(name).record()
    )
    mime = {str(f.UF): str(f.EF.F.Subtype) for f in pdf.Root.AF}
    assert mime == {"record.jsonl": "/application/x-ndjson", "report.json": "/application/json"}


@pytest.mark.parametrize("name", NAMES)
def test_every_font_is_embedded_and_nothing_acts_or_points_outside(
    name: str, pdfs: dict[str, bytes]
) -> None:
    fonts, pdf = 0, opened(pdfs[name])
    for item in pdf.objects:
        if not isinstance(item, pikepdf.Dictionary | pikepdf.Stream):
            continue
        if item.get("/Type") == "/FontDescriptor":
            fonts += 1
            assert any(k in item for k in ("/FontFile", "/FontFile2", "/FontFile3"))
        assert item.get("/S") not in ("/JavaScript", "/Launch", "/URI", "/SubmitForm", "/GoToR")
        assert "/JS" not in item
        assert "/OpenAction" not in item
    assert fonts >= 2


@pytest.mark.parametrize("name", NAMES)
def test_tags_tell_headings_tables_lists_and_figures(name: str, pdfs: dict[str, bytes]) -> None:
    tags: list[tuple[str, bool]] = []

    def walk(node: Any) -> None:
        if isinstance(node, pikepdf.Array):
            for child in node:
                walk(child)
        elif isinstance(node, pikepdf.Dictionary):
            if "/S" in node:
                tags.append((str(node.S), bool(str(node.get("/Alt", "")))))
            if "/K" in node and node.get("/Type") != "/OBJR":
                walk(node.K)

    pdf = opened(pdfs[name])
    walk(pdf.Root.StructTreeRoot.K)
    names = [tag for tag, _ in tags]
    assert names.count("/H1") == 2
    assert "/H2" in names
    assert {"/Table", "/TH", "/TD"} <= set(names)
    assert "/L" in names
    assert all(alt for tag, alt in tags if tag == "/Figure")


# A compressed stream may end with a carriage return, which that checker takes for a part of the
# line end after it; the length in the file is right (ISO 32000-1, 7.3.8.1).
_AMBIGUOUS = {"PDFA3A-STREAM-LENGTH-001"}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("profile", ["3a", "ua1"])
def test_a_validator_of_its_own_finds_no_rule_broken(
    name: str, profile: str, pdfs: dict[str, bytes]
) -> None:
    page = pytest.importorskip("page", reason="the validator has no wheel for this system")
    report = page.validate_pdf_bytes(pdfs[name], profile=profile)
    assert report.rules.total > 100
    assert {f.rule_id for f in report.failures} <= _AMBIGUOUS


def test_pages_have_the_wanted_size(full: Any, make: Callable[..., Report]) -> None:
    for paper, size in (("a4", A4), ("letter", LETTER)):
        pdf = opened(render_pdf(make(full, paper=paper), full.record()))
        for page in pdf.pages:
            assert [float(x) for x in page.mediabox[2:]] == pytest.approx(size, abs=0.02)


def test_the_customers_page_is_one_page(
    full: Any, make: Callable[..., Report], pdfs: dict[str, bytes]
) -> None:
    from pypdf import PdfReader

    pages = PdfReader(io.BytesIO(pdfs["full"])).pages
    assert "What comes next" in pages[0].extract_text()
    assert "Advisor" in pages[0].extract_text()
    assert "The details" in pages[1].extract_text()


def test_hostile_text_is_set_as_text_and_names_are_there(pdfs: dict[str, bytes]) -> None:
    from pypdf import PdfReader

    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(pdfs["hostile"])).pages)
    flat = text.replace("\n", "").replace("\u200b", "").replace(" ", "")
    assert "<script>alert(1)</script>" in flat
    assert '#panic()#read("/etc/passwd")$x$' in flat
    assert "Łukasz" in flat
    assert "Имя" in flat
    assert "root:" not in text


def test_letters_that_no_font_has_are_said_to_be_missing(
    new_script: Any, make: Callable[..., Report]
) -> None:
    from pypdf import PdfReader

    s = new_script(number=33)
    s.open(customer={"name": "田中太郎"})
    pdf = render_pdf(make(s), s.record())
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages)
    assert "□□□□" in text
    assert "do not cover" in text


def test_the_same_record_gives_the_same_bytes(
    full: Any, make: Callable[..., Report], pdfs: dict[str, bytes]
) -> None:
    assert render_pdf(make(full), full.record()) == pdfs["full"]


_ELSEWHERE = """
import sys, pathlib, hashlib
from joblog.report.commands import load_job
from joblog.report.build import build_report
from joblog.report.pdf import render_pdf
state, record, media = load_job(sys.argv[1], None)
print(hashlib.sha256(render_pdf(build_report(state, media), record)).hexdigest())
"""


def test_another_process_folder_time_zone_and_hash_seed_give_the_same_bytes(
    full: Any, tmp_path: Any, pdfs: dict[str, bytes]
) -> None:
    import hashlib

    (tmp_path / "record.jsonl").write_bytes(full.record())
    media = tmp_path / "media"
    media.mkdir()
    for entry in full.entries:
        for ref in entry.media:
            from joblog.record.media import exported_name

            (media / exported_name(ref)).write_bytes(full.blobs[ref.sha256])
    env = os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LC_ALL": "C"}
    done = subprocess.run(
        [sys.executable, "-c", _ELSEWHERE, str(tmp_path)],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == hashlib.sha256(pdfs["full"]).hexdigest()


MANY = """
import sys
from dataclasses import replace
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from conftest import Script, photo_jpeg, play_full
from joblog.report.build import build_report
from joblog.report.pdf import render_pdf
script = play_full(Script())
report = build_report(script.state(), script.media)
def held():
    return int(Path("/proc/self/status").read_text().split("VmRSS:")[1].split()[0]) // 1024
for i in range(9):
    pictures = {key: photo_jpeg(i, (1600, 1200)) for key in report.images}
    render_pdf(replace(report, title=f"Report {i}", images=pictures))
    if i == 1:
        print(held())
print(held())
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells VmRSS")
def test_the_typesetter_keeps_nothing_of_reports_that_are_done() -> None:
    run = [sys.executable, "-c", MANY, str(Path(__file__).parent)]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    after_two, after_nine = map(int, done.stdout.split())
    assert after_nine - after_two < 20  # MB; of the last ten it would keep 140
