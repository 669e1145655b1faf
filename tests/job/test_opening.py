"""Opening a job: the right sheet for the unit, kept whole in the record."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from joblog.errors import InputError, RecordError, SheetError
from joblog.job.guard_unit import unit_reasons
from joblog.job.session import JobSession
from joblog.job.types import FindingKind
from joblog.sheet.load import load_sheet, sheet_text

TRANSAXLE = "transaxle-drain-fill"
SHEET = Path(__file__).parent / "data" / f"{TRANSAXLE}.toml"


def test_a_unit_that_the_sheet_excludes_stops_the_job_and_names_the_right_sheet(bench, store):
    with pytest.raises(InputError, match=r"belt gearbox.*Use the sheet 'cvt-drain-fill'"):
        bench(TRANSAXLE, unit={"type": "KV-1"})
    assert store.jobs() == []  # nothing half-opened


def test_a_unit_that_is_not_named_stops_the_job(bench):
    with pytest.raises(InputError, match="is for KT-6F, not for ZX-9"):
        bench(TRANSAXLE, unit={"type": "ZX-9"})


def test_an_unknown_unit_is_asked_for(bench):
    with pytest.raises(InputError, match="say which unit it is"):
        bench(TRANSAXLE, unit={})


@pytest.mark.parametrize("written", ["KT-6F", "kt 6f", "KT6F"])
def test_units_are_recognised_as_people_write_them(written):
    assert unit_reasons(load_sheet(SHEET), {"type": written}) == []


def test_a_reason_opens_the_job_all_the_same_and_stays_in_the_record(bench):
    job = bench(TRANSAXLE, unit={"type": "ZX-9"}, override="same unit under another name")
    (finding,) = [f for f in job.state.findings if f.kind is FindingKind.WRONG_UNIT]
    assert finding.resolved == "confirmed by Imani Okafor: same unit under another name"


def test_vin_and_engine_are_judged_where_the_sheet_says_so():
    sheet = load_sheet(SHEET)
    applies = sheet.applies.model_copy(update={"engines": ("2.0 D",), "vin": "WKC"})
    sheet = sheet.model_copy(update={"applies": applies})
    unit = {"type": "KT-6F", "engine": "2.5 P", "vin": "WAA00000000000000"}
    assert [key for key, _ in unit_reasons(sheet, unit)] == ["engine", "vin"]
    unit = {"type": "KT-6F", "engine": "2.0 D", "vin": "wkc00000000000000"}
    assert unit_reasons(sheet, unit) == []


def test_a_job_keeps_the_revision_that_it_was_opened_with(bench, store):
    text = sheet_text(SHEET)
    job = bench(toml=text, unit={"type": "KT-6F"})
    # The shop edits the sheet on the disk; the job must not notice.
    resumed = JobSession.resume(store, job.session.job)
    assert resumed.sheet == job.session.sheet
    body = resumed.state.opened["sheet"]
    assert body["toml"] == text
    assert body["sha256"] == hashlib.sha256(text.encode()).hexdigest()


def test_a_sheet_edited_while_a_job_runs_counts_for_the_next_job_only(bench, store, tmp_path):
    """The old job goes on being judged by its own revision, also after a restart."""
    file = tmp_path / "shop.toml"
    file.write_text(sheet_text(SHEET), encoding="utf-8")
    old = bench(toml=sheet_text(file), unit={"type": "KT-6F"})
    revision = old.session.sheet.sheet.revision
    edited = sheet_text(file).replace(f'revision = "{revision}"', 'revision = "next"')
    changed = edited.replace('value = 41, unit = "lbf.ft"', 'value = 55, unit = "lbf.ft"')
    assert changed != edited != sheet_text(file)
    file.write_text(changed, encoding="utf-8")
    resumed = JobSession.resume(store, old.session.job, clock=old.clock)
    new = bench(toml=sheet_text(file), unit={"type": "KT-6F"})
    for session, within, of in ((resumed, True, revision), (new.session, False, "next")):
        session.type_in("drain plug in torqued to four one foot pounds")
        assert session.state.values[-1].within is within
        assert session.sheet.sheet.revision == of
        assert session.state.opened["sheet"]["revision"] == of


def test_a_job_without_a_sheet_can_t_be_resumed(store):
    with pytest.raises(RecordError, match="never opened with a sheet"):
        JobSession.resume(store, store.start_job())


def test_a_sheet_with_mistakes_opens_nothing(bench, store):
    with pytest.raises(SheetError):
        bench(toml="[sheet]\nkey = 'x'\n")
    assert store.jobs() == []


def test_confirm_and_explain_want_a_finding_and_a_reason(bench):
    job = bench()
    job.say("drain plug out")
    key = "order:drain-plug-out:fill-plug-loose"
    with pytest.raises(InputError, match="no finding 'nonsense'"):
        job.session.confirm("nonsense", "because")
    with pytest.raises(InputError, match="a reason"):
        job.session.confirm(key, "  ")
    job.session.explain(key, "No harm was done.", by="Priya Nair")
    job.session.explain(key, "No harm was done at all.", by="Priya Nair")
    assert job.state.explanation(key) == "No harm was done at all."
    job.session.confirm(key, "it was loose before", by="Imani Okafor")
    assert job.state.finding(key).resolved == "confirmed by Imani Okafor: it was loose before"


def test_closing_wants_a_known_way_and_a_reason_to_abort(bench):
    job = bench()
    with pytest.raises(InputError, match="'finished' or 'aborted'"):
        job.session.close("paused")
    with pytest.raises(InputError, match="give one"):
        job.session.close("aborted")
    job.session.close("aborted", "the bay is needed")
    assert job.state.closed == "aborted"
    assert not any(f.kind is FindingKind.MISSING for f in job.state.findings)


def test_closing_with_a_reason_confirms_what_is_open(bench):
    job = bench()
    reply = job.session.close("finished", "shown as a demonstration", by="Priya Nair")
    assert job.state.closed == "finished"
    assert job.state.open_findings == ()
    assert reply.spoken.endswith("Job complete.")


def test_a_signature_is_kept_as_a_picture(bench):
    job = bench()
    job.session.sign("Tomas Lindqvist", b"\x89PNG not looked at", by="desk")
    (entry,) = job.state.signatures
    assert entry.body == {"name": "Tomas Lindqvist"}
    assert entry.media[0].role == "signature"
