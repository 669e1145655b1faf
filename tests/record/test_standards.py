"""Times, identifiers, canonical JSON and digests against their standards; sources in the data."""

from __future__ import annotations

import hashlib
import json
import struct
import uuid
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joblog.errors import RecordError
from joblog.record.entry import canonical
from joblog.record.times import (
    is_utc_text,
    is_uuid7,
    milliseconds_since_epoch,
    parse_time,
    utc_text,
    uuid7,
    uuid7_milliseconds,
)

EPOCH, FAR = datetime(1970, 1, 1), datetime(9998, 1, 1)  # noqa: DTZ001, hypothesis adds the zone

DATA = json.loads((Path(__file__).parent / "data" / "record.json").read_text("utf-8"))["cases"]


def cases(*starts: str) -> list[Any]:
    return [pytest.param(c, id=c["case"]) for c in DATA if c["case"].startswith(starts)]


def test_no_case_is_forgotten() -> None:
    starts = ("valid", "invalid", "same instant", "UUIDv7", "JCS", "SHA-256")
    assert len(cases(*starts)) == len(DATA) == 29


@pytest.mark.parametrize("case", cases("valid", "invalid"))
def test_rfc3339_form(case: Any) -> None:
    text = case["input"]["text"]
    if case["expected"]:
        assert parse_time(text).tzinfo is not None
    else:
        with pytest.raises(RecordError, match="RFC 3339"):
            parse_time(text)


@pytest.mark.parametrize("case", cases("same instant"))
def test_rfc3339_instant(case: Any) -> None:
    found = parse_time(case["input"]["text"])
    assert found == parse_time(case["expected"])
    assert utc_text(found) == case["expected"].replace("Z", ".000Z")


def test_a_leap_second_is_the_next_second() -> None:
    # [standard: RFC 3339 5.8] the example's instant; POSIX time has no name of its own for it
    assert parse_time("1990-12-31T23:59:60Z") == datetime(1991, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    ["2026-01-31T09:05:00.000Z\n", "2026-01-31T24:00:00Z", "2026-01-31T09:05:61Z", "", "٢٠٢٦-01-31",
     "2026-01-31T09:05:00+24:00", "2026-01-31T09:05:00,5Z"],
)  # fmt: skip
def test_other_forms_are_refused(text: str) -> None:
    with pytest.raises(RecordError):
        parse_time(text)
    assert not is_utc_text(text)


@given(st.datetimes(timezones=st.sampled_from([UTC, timezone(timedelta(hours=-8))])))
def test_utc_text_is_the_same_instant_cut_to_milliseconds(moment: datetime) -> None:
    if not 1 < moment.year < 9999:
        return
    text = utc_text(moment)
    assert is_utc_text(text)
    assert timedelta() <= moment - parse_time(text) < timedelta(milliseconds=1)


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(RecordError, match="without zone"):
        utc_text(datetime(2026, 1, 1))  # noqa: DTZ001


@pytest.mark.parametrize("case", cases("UUIDv7"))
def test_uuid7_example(case: Any) -> None:
    text, wanted = case["input"]["uuid"], case["expected"]
    assert is_uuid7(text)
    assert uuid7_milliseconds(text) == wanted["unix_ts_ms"]
    assert milliseconds_since_epoch(wanted["utc"]) == wanted["unix_ts_ms"]


@given(st.datetimes(EPOCH, FAR, timezones=st.just(UTC)))
def test_new_uuid7_has_version_variant_and_time(moment: datetime) -> None:
    at = utc_text(moment)
    text = uuid7(at)
    parsed = uuid.UUID(text)
    assert is_uuid7(text)
    assert (parsed.version, parsed.variant, str(parsed)) == (7, uuid.RFC_4122, text)
    assert uuid7_milliseconds(text) == milliseconds_since_epoch(at)


def test_uuid7_text_order_is_time_order() -> None:
    stamps = [f"2026-11-25T09:00:{s:02d}.{ms:03d}Z" for s in range(60) for ms in (0, 1, 999)]
    made = [uuid7(at) for at in stamps]
    assert made == sorted(made)
    assert len(set(made)) == len(made)


@pytest.mark.parametrize("case", cases("JCS number"))
def test_canonical_numbers(case: Any) -> None:
    assert canonical(case["input"]["number"]).decode() == case["expected"]


APPENDIX_B = {
    "0000000000000000": "0", "8000000000000000": "0", "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324", "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308", "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992", "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22", "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23", "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000", "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7", "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332", "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333", "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343", "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}  # fmt: skip


@pytest.mark.parametrize("bits", APPENDIX_B)
def test_canonical_numbers_of_the_rfc(bits: str) -> None:
    # [standard: RFC 8785, Appendix B, from memory]
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number).decode() == APPENDIX_B[bits]


@pytest.mark.parametrize("case", cases("JCS vector", "JCS of", "JCS key"))
def test_canonical_documents(case: Any) -> None:
    given_, wanted = case["input"], case["expected"]
    value = json.loads(given_["json"]) if "json" in given_ else given_["object"]
    found = canonical(value)
    if isinstance(wanted, list):
        assert list(json.loads(found).values()) == wanted
        return
    assert found.decode() == wanted["canonical"]
    assert hashlib.sha256(found).hexdigest() == wanted["sha256"]


@pytest.mark.parametrize("case", cases("SHA-256"))
def test_digests(case: Any) -> None:
    text = case["input"]["ascii"]
    message = b"a" * 1_000_000 if text.startswith("a x") else text.encode()
    assert hashlib.sha256(message).hexdigest() == case["expected"]


@pytest.mark.parametrize("value", [2**53, float("nan"), float("inf"), "\ud800", {1: 2}, b"x"])
def test_what_has_no_canonical_form_is_refused(value: Any) -> None:
    with pytest.raises(RecordError):
        canonical(value)
