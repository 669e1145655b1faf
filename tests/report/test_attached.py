"""Does a report say what its record says?"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from joblog.errors import InputError, RecordError
from joblog.report.attached import record_from_pdf, verify_pdf, verify_report_pdf
from joblog.report.model import Report
from joblog.report.pdf import render_pdf
from joblog.report.settings import ShopSettings


@pytest.fixture(scope="module")
def pdf(full: Any, make: Callable[..., Report]) -> bytes:
    return render_pdf(make(full), full.record())


def with_attached(pdf: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return the PDF with one attached file changed."""
    opened = pikepdf.open(io.BytesIO(pdf))
    for spec in opened.Root.AF:
        if str(spec.UF) == name:
            stream = spec.EF.F
            stream.write(change(stream.read_bytes()))
    out = io.BytesIO()
    opened.save(out)
    return out.getvalue()


def test_the_record_comes_out_as_it_went_in(full: Any, pdf: bytes) -> None:
    assert record_from_pdf(pdf) == full.record()


@pytest.mark.parametrize("name", ["full", "aborted", "empty", "hostile"])
def test_a_report_agrees_with_its_record_byte_for_byte(
    name: str, request: pytest.FixtureRequest, make: Callable[..., Report], earlier: list[Any]
) -> None:
    script = request.getfixturevalue(name)
    settings = ShopSettings(name="Harrow Lane", time_zone="Europe/London", accent="#7a2a1e")
    report = make(script, language="es", units="both", settings=settings, history=earlier)
    found = verify_report_pdf(render_pdf(report, script.record()))
    assert found.agree, found.sentence
    assert found.exact
    shows = any(picture.image for picture in report.pictures)
    assert ("photos are small copies" in found.sentence) == shows == (name in ("full", "hostile"))


def test_an_altered_record_is_named(pdf: bytes) -> None:
    altered = with_attached(
        pdf, "record.jsonl", lambda b: b.replace(b'"value":"40"', b'"value":"41"')
    )
    found = verify_report_pdf(altered)
    assert not found.agree
    assert "NOT whole: entry" in found.sentence


def test_a_report_whose_record_was_taken_out_is_no_service_history(pdf: bytes) -> None:
    opened = pikepdf.open(io.BytesIO(pdf))
    del opened.attachments["record.jsonl"]
    out = io.BytesIO()
    opened.save(out)
    with pytest.raises(RecordError, match=r"somebody took record\.jsonl out"):
        verify_report_pdf(out.getvalue())


def test_altered_data_is_named(pdf: bytes) -> None:
    altered = with_attached(
        pdf, "report.json", lambda b: b.replace(b"The job is done", b"All is good")
    )
    found = verify_report_pdf(altered)
    assert not found.agree
    assert "front.verdict" in found.sentence


def test_pages_that_were_changed_are_noticed(pdf: bytes) -> None:
    opened = pikepdf.open(io.BytesIO(pdf))
    content = opened.pages[0].Contents
    content.write(content.read_bytes() + b"\n0 0 0 rg 100 100 50 50 re f\n")
    out = io.BytesIO()
    opened.save(out)
    found = verify_report_pdf(out.getvalue())
    assert not found.agree
    assert "pages are NOT byte for byte" in found.sentence


def test_a_swapped_record_is_noticed(pdf: bytes, aborted: Any) -> None:
    found = verify_report_pdf(with_attached(pdf, "record.jsonl", lambda _: aborted.record()))
    assert not found.agree
    assert "another record" in found.sentence


def test_other_versions_compare_what_was_recorded_and_say_so(pdf: bytes) -> None:
    def older(data: bytes) -> bytes:
        report = json.loads(data)
        report["made_with"]["versions"]["typst"] = "0.0.1"
        return json.dumps(report).encode()

    found = verify_report_pdf(with_attached(pdf, "report.json", older))
    assert found.agree
    assert not found.exact
    assert "other versions" in found.sentence

    def lying(data: bytes) -> bytes:
        report = json.loads(older(data))
        report["core"]["values"][0][1] = "99"
        return json.dumps(report).encode()

    found = verify_report_pdf(with_attached(pdf, "report.json", lying))
    assert not found.agree
    assert "core" not in found.sentence
    assert "values[0][1]" in found.sentence


@pytest.mark.parametrize("rules", ["of another version", None])
def test_other_rules_that_judge_otherwise_are_no_sign_of_tampering(
    pdf: bytes, rules: str | None
) -> None:
    def judged_otherwise(data: bytes) -> bytes:
        report = json.loads(data)
        report["made_with"]["versions"]["rules"] = rules
        report["core"]["findings"].pop(0)
        report["core"]["steps"][0][2] = "2026-11-25T09:00:00.000Z"
        report["core"]["values"][0][3] = "outside"
        return json.dumps(report).encode()

    found = verify_report_pdf(with_attached(pdf, "report.json", judged_otherwise))
    assert (found.agree, found.exact) == (True, False)
    assert "findings" in found.sentence
    assert "were not compared" in found.sentence

    def lying(data: bytes) -> bytes:
        report = json.loads(judged_otherwise(data))
        report["core"]["values"][0][1] = "99"
        report["core"]["values"][1] = "no list"
        return json.dumps(report).encode()

    found = verify_report_pdf(with_attached(pdf, "report.json", lying))
    assert not found.agree
    assert "values[0][1]" in found.sentence


def test_the_same_rules_judge_the_same(pdf: bytes) -> None:
    def judged_otherwise(data: bytes) -> bytes:
        report = json.loads(data)
        report["made_with"]["versions"]["typst"] = "0.0.1"
        report["core"]["findings"].pop(0)
        return json.dumps(report).encode()

    found = verify_report_pdf(with_attached(pdf, "report.json", judged_otherwise))
    assert not found.agree
    assert "findings" in found.sentence


def test_what_is_no_report_is_told_in_one_sentence(tmp_path: Path, pdf: bytes) -> None:
    with pytest.raises(InputError, match="can't be read as a PDF report"):
        record_from_pdf(b"hello")
    with pytest.raises(InputError, match="can't be read as a PDF report"):
        record_from_pdf(pdf[: len(pdf) // 2])
    blank = pikepdf.new()
    blank.add_blank_page()
    blank.save(tmp_path / "blank.pdf")
    with pytest.raises(RecordError, match=r"carries no record.jsonl"):
        record_from_pdf(tmp_path / "blank.pdf")
    with pytest.raises(InputError, match="can't be read"):
        verify_pdf(tmp_path / "missing.pdf")


def test_what_is_wrong_with_a_report_is_told_first(
    tmp_path: Path, pdf: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    from joblog.cli import main

    file = tmp_path / "report.pdf"
    file.write_bytes(pdf + b"\n% saved again")
    assert main(["verify", str(file)]) == 1
    assert "the pages are NOT byte for byte" in capsys.readouterr().out.splitlines()[0]
    file.write_bytes(pdf[: len(pdf) // 2])
    assert main(["verify", str(file)]) == 1
    assert "ask for it to be sent once more" in capsys.readouterr().err


@pytest.mark.parametrize("part", ["typst", "rules"])
def test_pages_that_were_not_compared_are_not_to_be_relied_on(pdf: bytes, part: str) -> None:
    """Who names another version in the data may alter the pages: nothing here would show it."""

    def pretended(data: bytes) -> bytes:
        report = json.loads(data)
        report["made_with"]["versions"][part] = "9.9"
        if part == "rules":
            report["core"]["findings"].pop(0)
        return json.dumps(report).encode()

    found = verify_report_pdf(with_attached(pdf, "report.json", pretended))
    assert (found.agree, found.exact) == (True, False)
    assert "don't rely on this copy's pages" in found.sentence
