"""Any change of any entry is seen, by content and by byte."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joblog.errors import RecordError
from joblog.record import (
    JOB_CLOSED,
    Entry,
    ManualClock,
    MediaRef,
    Moment,
    Verdict,
    canonical,
    open_store,
    verify,
    verify_lines,
)
from joblog.record.entry import GENESIS, check_json, content_hash, parse_line
from joblog.record.times import uuid7
from joblog.record.transfer import record_bytes

START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
JOB = uuid7("2026-11-25T09:00:00.000Z")
OTHER_JOB = uuid7("2026-11-25T10:00:00.000Z")


def sealed(fields: dict[str, Any]) -> Entry:
    return Entry.model_validate({**fields, "hash": content_hash(fields)})


def build(bodies: list[dict[str, Any]], *, job: str = JOB, closed: bool = True) -> list[Entry]:
    """Return a chain made field by field, as the documentation says and not by the store."""
    clock, entries, prev = ManualClock(START), list[Entry](), GENESIS
    kinds = ["step-done"] * len(bodies) + ([JOB_CLOSED] if closed else [])
    for seq, (kind, body) in enumerate(zip(kinds, [*bodies, {}], strict=False)):
        clock.advance("1.5")
        now = clock.read()
        entry = sealed(
            {
                "id": uuid7(now.at), "job": job, "seq": seq, "at": now.at, "mono": now.mono,
                "boot": now.boot, "source": "voice", "by": "technician", "kind": kind,
                "body": body, "media": (MediaRef(sha256="ab" * 32, mime="image/jpeg", role="photo",
                name="plug.jpg").model_dump(),) if seq == 1 else (),
                "supersedes": entries[0].id if seq == 2 else None, "prev": prev,
            }
        )  # fmt: skip
        prev = entry.hash
        entries.append(entry)
    return entries


CHAIN = build([{"step": "drain", "value": "3.3", "note": f"héard {n}"} for n in range(6)])
LINES = record_bytes(CHAIN)


def found(verdict: Verdict) -> tuple[bool, int | None]:
    return verdict.whole, verdict.first_bad


def test_a_good_record_is_whole_and_closed() -> None:
    verdict = verify(CHAIN)
    assert found(verdict) == (True, None)
    assert (verdict.closed, verdict.count, verdict.job) == (True, 7, JOB)
    assert verdict.final_hash == CHAIN[-1].hash
    assert verify_lines(LINES) == (verdict, CHAIN)


def test_the_hash_is_of_the_canonical_json_without_the_hash() -> None:
    fields = json.loads(CHAIN[2].line())
    claimed = fields.pop("hash")
    assert canonical({**fields, "hash": claimed}) == CHAIN[2].line()
    assert content_hash(fields) == claimed == content_hash({**fields, "hash": "anything"})


@settings(max_examples=400)
@given(st.integers(0, len(LINES) * 8 - 1))
def test_any_flipped_bit_of_the_file_is_seen(bit: int) -> None:
    data = bytearray(LINES)
    data[bit // 8] ^= 1 << bit % 8
    verdict, good = verify_lines(bytes(data))
    assert not verdict.whole
    # the first bad entry is the one that the bit lies in, or where its line end was, the same
    assert verdict.first_bad == LINES[: bit // 8].count(b"\n")
    assert good == CHAIN[: verdict.first_bad]


@given(st.integers(0, len(LINES) - 1), st.binary(min_size=1, max_size=3))
def test_any_inserted_bytes_are_seen(place: int, more: bytes) -> None:
    assert not verify_lines(LINES[:place] + more + LINES[place:])[0].whole


@given(st.integers(0, len(LINES) - 1), st.integers(1, 200))
def test_any_removed_bytes_but_whole_entries_of_the_tail_are_seen(place: int, count: int) -> None:
    left = LINES[:place] + LINES[place + count :]
    verdict, _ = verify_lines(left)
    whole_prefix = left.endswith(b"\n") and LINES.startswith(left)
    assert verdict.whole == whole_prefix
    assert not (verdict.whole and verdict.closed)


CHANGES: dict[str, Any] = {
    "id": uuid7("2026-11-25T09:00:00.000Z"), "job": OTHER_JOB, "seq": 99,
    "at": "2026-11-25T09:00:00.001Z", "mono": "99.000", "boot": "other", "source": "hand",
    "by": "somebody", "kind": "step-undone", "body": {"step": "drain", "value": "3.4"},
    "media": (), "supersedes": CHAIN[1].id, "prev": "0" * 63 + "1", "hash": "0" * 63 + "1",
    "newer-field": "added",
}  # fmt: skip


@pytest.mark.parametrize("field", CHANGES)
@pytest.mark.parametrize("place", range(len(CHAIN)))
def test_every_changed_field_of_every_entry_is_seen(place: int, field: str) -> None:
    changed = CHAIN[place].model_copy(update={field: CHANGES[field]})
    if changed == CHAIN[place]:
        changed = changed.model_copy(update={"media": (MediaRef(**{**REF, "name": "other"}),)})
    verdict = verify([*CHAIN[:place], changed, *CHAIN[place + 1 :]])
    assert not verdict.whole
    # a changed job of the first entry shows there too, since its hash no longer fits
    assert verdict.first_bad == place
    assert verdict.final_hash == (CHAIN[place - 1].hash if place else GENESIS)


REF = {"sha256": "cd" * 32, "mime": "image/jpeg", "role": "photo", "name": ""}


@given(st.data())
def test_removed_moved_doubled_or_foreign_entries_are_seen(data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(CHAIN) - 2))
    other = data.draw(st.integers(0, len(CHAIN) - 1).filter(lambda n: n != place))
    removed = CHAIN[:place] + CHAIN[place + 1 :]
    assert found(verify(removed)) == (False, place)
    swapped = list(CHAIN)
    swapped[place], swapped[other] = swapped[other], swapped[place]
    assert found(verify(swapped)) == (False, min(place, other))
    doubled = [*CHAIN[: place + 1], CHAIN[place], *CHAIN[place + 1 :]]
    assert found(verify(doubled)) == (False, place + 1)
    foreign = build([{}] * 6, job=OTHER_JOB)[place]
    inserted = [*CHAIN[:place], foreign, *CHAIN[place:]]
    assert not verify(inserted).whole


def test_an_entry_hashed_anew_is_seen_at_the_next_one() -> None:
    fields = CHAIN[3].model_dump(exclude={"hash"})
    forged = sealed({**fields, "body": {"step": "drain", "value": "9.9"}})
    assert verify([forged]).first_bad == 0
    verdict = verify([*CHAIN[:3], forged, *CHAIN[4:]])
    assert found(verdict) == (False, 4)
    assert "hash of the entry before" in verdict.sentence


def test_a_cut_tail_shows_as_an_open_job_and_another_final_hash() -> None:
    verdict = verify(CHAIN[:-1])
    assert verdict.whole
    assert not verdict.closed
    assert "open" in verdict.sentence
    assert verdict.final_hash != CHAIN[-1].hash


def resealed(entry: Entry, last: Entry, **changes: Any) -> Entry:
    fields = {**entry.model_dump(exclude={"hash"}), "prev": last.hash, "seq": last.seq + 1}
    return sealed({**fields, **changes})


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"at": "2026-11-25T09:00:09.000Z"}, "id made at another time"),
        ({"mono": "0.001"}, "monotonic time"),
        ({"supersedes": uuid7("2026-11-25T09:00:00.000Z")}, "no earlier entry"),
        ({"id": CHAIN[2].id, "at": CHAIN[2].at}, "of an earlier entry"),
        ({"job": OTHER_JOB}, "belongs to job"),
    ],
)
def test_a_well_hashed_entry_that_cannot_be_is_seen(changes: dict[str, Any], why: str) -> None:
    forged = resealed(CHAIN[3], CHAIN[2], **changes)
    verdict = verify([*CHAIN[:3], forged])
    assert found(verdict) == (False, 3)
    assert why in verdict.sentence
    assert verify([*CHAIN[:3], resealed(CHAIN[3], CHAIN[2])]).whole


def test_a_wall_clock_set_back_is_remarked_and_not_refused() -> None:
    at = "2026-11-25T08:00:00.000Z"
    late = resealed(CHAIN[3], CHAIN[2], at=at, id=uuid7(at))
    verdict = verify([*CHAIN[:3], late])
    assert verdict.whole
    assert len(verdict.remarks) == 1
    assert "went back" in verdict.remarks[0]


def test_fields_of_a_newer_version_are_kept_and_hashed() -> None:
    newer = resealed(CHAIN[3], CHAIN[2], weather={"sky": "clear"})
    line = newer.line()
    assert b'"weather":{"sky":"clear"}' in line
    assert parse_line(line) == newer
    assert parse_line(line).line() == line
    assert verify([*CHAIN[:3], newer]).whole


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"", "empty line"),
        (b"[]", "not an entry"),
        (b"{}", "not an entry"),
        (b'{"a":1,"a":2}', "twice"),
        (b'{"a":1.5}', "not whole"),
        (b'{"a":NaN}', "not whole"),
        (b"\xff\xfe", "JSON"),
        (b"[" * 100_000, "JSON"),
        (CHAIN[0].line().replace(b",", b", ", 1), "canonical"),
        (CHAIN[0].line().replace("é".encode(), b"\\u00e9"), "canonical"),
        (CHAIN[0].line() + b"\r", "canonical"),
        (CHAIN[0].line().replace(b'"seq":0', b'"seq":"0"'), "seq"),
        (CHAIN[0].line().replace(b'"voice"', b'"dream"'), "source"),
    ],
)
def test_lines_that_are_no_entries_are_told_so(line: bytes, why: str) -> None:
    with pytest.raises(RecordError, match=why):
        parse_line(line)
    verdict, _ = verify_lines(line + b"\n" + LINES)
    assert found(verdict) == (False, 0)
    assert verdict.sentence.startswith("The record is NOT whole: entry 0 ")


def test_an_empty_file_is_not_whole() -> None:
    assert found(verify_lines(b"")[0]) == (False, None)
    assert found(verify([])) == (False, None)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=10,
)


@given(st.dictionaries(st.text(), JSON, max_size=4))
def test_any_json_body_survives_the_line(body: dict[str, Any]) -> None:
    entry = build([body], closed=False)[0]
    assert parse_line(entry.line()) == entry
    assert parse_line(entry.line()).body == body


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ({"value": 3.3}, r"body\.value is a float.*'3\.3'"),
        ({"list": [1, {"deep": 0.5}]}, r"body\.list\[1\]\.deep is a float"),
        ({"value": Decimal("3.3")}, "as text, such as '3.3'"),
        ({"value": 2**53}, "beyond"),
        ({"text": "\ud800"}, "Unicode"),
        ({1: "key"}, "keys are text"),
        ({"bytes": b"x"}, "bytes"),
    ],
)
def test_bodies_that_cannot_be_kept_exactly_are_refused(body: Any, why: str) -> None:
    with pytest.raises(RecordError, match=why):
        check_json(body)


def test_bodies_without_end_are_refused() -> None:
    body: dict[str, Any] = {}
    body["self"] = body
    with pytest.raises(RecordError, match="deeper"):
        check_json(body)


class _Backwards:
    """The clocks of a machine that was set back to a snapshot: same boot, earlier offset."""

    def __init__(self) -> None:
        self.mono = iter(["50.000", "60.000", "10.000", "20.000"])

    def read(self) -> Moment:
        return Moment("2026-11-25T09:00:00.000Z", next(self.mono, "99.000"), "same")


def test_a_machine_set_back_begins_a_new_epoch_and_the_record_stays_whole(tmp_path: Path) -> None:
    with open_store(tmp_path, clock=ManualClock(START)) as store:
        job, clock = store.start_job(), _Backwards()
        made = [store.append(job, "note", {}, source="hand", clock=clock) for _ in range(4)]
        assert store.verify(job).whole
        assert made[0].boot == made[1].boot == made[3].boot == "same"
        assert made[2].boot not in {"same", ""}
