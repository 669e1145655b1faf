"""RFC 3339 times and RFC 9562 identifiers (UUID version 7).

Python's ``datetime.fromisoformat`` accepts ISO 8601 forms that RFC 3339 does not, and refuses the
leap second that RFC 3339 allows, so the form is checked here by the RFC's own grammar (5.6).
"""

from __future__ import annotations

import re
import secrets
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache

from joblog.errors import RecordError

_RFC3339 = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2}):(\d{2})(\.\d+)?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)
_UTC_MS = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z", re.ASCII)
_UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _offset(text: str) -> timezone:
    if text in "Zz":
        return UTC
    hours, minutes = int(text[1:3]), int(text[4:6])
    if hours > 23 or minutes > 59:
        raise ValueError("offset out of range")
    delta = timedelta(hours=hours, minutes=minutes)
    return timezone(-delta if text[0] == "-" else delta)


def parse_time(text: str) -> datetime:
    """Return the aware datetime that an RFC 3339 ``text`` means.

    A leap second (``:60``) is read as the instant one second after ``:59``, as POSIX time does.
    Digits beyond microseconds are dropped.

    Raises RecordError where the text is not an RFC 3339 date-time.
    """
    match = _RFC3339.fullmatch(text)
    try:
        if match is None:
            raise ValueError("wrong form")
        year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
        if second > 60:
            raise ValueError("second out of range")
        micro = int((match[7] or ".0")[1:7].ljust(6, "0"))
        zone = _offset(match[8])
        moment = datetime(year, month, day, hour, minute, min(second, 59), micro, zone)
        return moment + timedelta(seconds=1) if second == 60 else moment
    except (ValueError, OverflowError) as error:
        raise RecordError(
            f"{text!r} is not a time by RFC 3339 (such as 2026-01-31T09:05:00.000Z): {error}"
        ) from error


def utc_text(moment: datetime) -> str:
    """Return ``moment`` as RFC 3339 in UTC with milliseconds, cut and not rounded.

    Raises RecordError for a datetime without zone: nobody knows which instant it means.
    """
    if moment.tzinfo is None:
        raise RecordError("a time without zone can't be recorded; give its offset from UTC")
    utc = moment.astimezone(UTC)
    return f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03d}Z".rjust(24, "0")


def is_utc_text(text: str) -> bool:
    """Say whether ``text`` has exactly the form that entries use."""
    if not _UTC_MS.fullmatch(text):
        return False
    try:
        parse_time(text)
    except RecordError:
        return False
    return ":60." not in text


@lru_cache(maxsize=16_384)  # a replay asks for the time of every entry, again at each phrase
def milliseconds_since_epoch(text: str) -> int:
    """Return POSIX time in milliseconds of an RFC 3339 ``text``."""
    return (parse_time(text) - _EPOCH) // timedelta(milliseconds=1)


def uuid7(at: str) -> str:
    """Return a new UUIDv7 for the RFC 3339 time ``at``: 48-bit ms, then 74 random bits.

    Source: RFC 9562, 5.7.
    """
    milliseconds = milliseconds_since_epoch(at)
    if not 0 <= milliseconds < 1 << 48:
        raise RecordError(f"the clock says {at}, which no identifier can carry; set the clock")
    value = milliseconds << 80 | 7 << 76 | secrets.randbits(12) << 64
    value |= 0b10 << 62 | secrets.randbits(62)
    digits = f"{value:032x}"
    return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))


def is_uuid7(text: str) -> bool:
    """Say whether ``text`` is a UUIDv7 in the RFC's lower-case form."""
    return _UUID7.fullmatch(text) is not None


def uuid7_milliseconds(text: str) -> int:
    """Return the POSIX time in milliseconds that a UUIDv7 carries (RFC 9562, 5.7)."""
    return int(text.replace("-", "")[:12], 16)
