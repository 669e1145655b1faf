"""One entry of the record, its canonical bytes and its hash."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal

import rfc8785
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from joblog.errors import RecordError
from joblog.record.times import is_utc_text, is_uuid7

GENESIS = "0" * 64  # what the first entry of a job carries as the hash of the entry before

Source = Literal["voice", "photo", "hand", "clock", "import", "program"]

_MONO = re.compile(r"(0|[1-9][0-9]*)\.[0-9]{3}")
_MAX_INTEGER = 2**53 - 1  # RFC 8785 numbers are IEEE 754 doubles; beyond this they'd change
_MAX_DEPTH = 32


def _must(check: Any, what: str) -> AfterValidator:
    def validate(text: str) -> str:
        if not check(text):
            raise ValueError(f"must be {what}")
        return text

    return AfterValidator(validate)


Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Identifier = Annotated[str, _must(is_uuid7, "a UUID version 7 in lower case")]
UtcTime = Annotated[str, _must(is_utc_text, "RFC 3339 in UTC with milliseconds")]
Seconds = Annotated[str, _must(_MONO.fullmatch, "decimal seconds with three decimals")]
Kind = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{0,63}$")]


class MediaRef(BaseModel):
    """A photo, sound or other file that an entry rests on, named by its content.

    ``sha256`` is lower-case hex; ``role`` says what it is for ('overlay', 'utterance'); ``name`` is
    the file name it came with, for people only.
    """

    model_config = ConfigDict(frozen=True, extra="allow", strict=True)

    sha256: Digest
    mime: str
    role: str
    name: str


class Entry(BaseModel):
    """One thing that happened. Fields this version doesn't know are kept and hashed.

    ``seq`` counts from 0 within the job; ``at`` is wall time; ``mono`` is seconds within the epoch
    ``boot``; ``by`` is the person or bay; ``body`` is JSON without floats; ``supersedes`` is the id
    of an earlier entry that this one corrects; ``prev`` and ``hash`` make the chain.
    """

    model_config = ConfigDict(frozen=True, extra="allow", strict=True)

    id: Identifier
    job: Identifier
    seq: Annotated[int, Field(ge=0, le=_MAX_INTEGER)]
    at: UtcTime
    mono: Seconds
    boot: Annotated[str, Field(min_length=1, max_length=200)]
    source: Source
    by: str
    kind: Kind
    body: dict[str, Any]
    media: tuple[MediaRef, ...]
    supersedes: Identifier | None
    prev: Digest
    hash: Digest

    def computed_hash(self) -> str:
        """Return the hash that the content has, whatever the field says."""
        return content_hash(self.model_dump(mode="json"))

    def line(self) -> bytes:
        """Return the entry as one line of ``record.jsonl``, without the line end."""
        return canonical(self.model_dump(mode="json"))


def check_json(value: Any, where: str = "body", depth: int = 0) -> Any:
    """Return ``value`` as plain JSON (tuples become lists).

    Raises RecordError for floats, integers beyond 2**53 - 1, keys that aren't text, text that isn't
    Unicode, nesting deeper than 32, and anything that is not JSON.
    """
    if depth > _MAX_DEPTH:
        raise RecordError(f"{where} is nested deeper than {_MAX_DEPTH}; it can't be recorded")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _check_text(value, where)
    if isinstance(value, int):
        if abs(value) > _MAX_INTEGER:
            raise RecordError(f"{where} is beyond 2^53; record it as text, such as {str(value)!r}")
        return int(value)
    if isinstance(value, Mapping):
        return {
            _check_key(key, where): check_json(item, f"{where}.{key}", depth + 1)
            for key, item in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [check_json(item, f"{where}[{i}]", depth + 1) for i, item in enumerate(value)]
    raise RecordError(
        f"{where} is a {type(value).__name__}, which a record can't hold exactly; "
        f"record it as text, such as {str(value)!r}"
    )


def _check_text(text: str, where: str) -> str:
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise RecordError(f"{where} holds text that isn't Unicode; it can't be recorded") from error
    return str(text)


def _check_key(key: Any, where: str) -> str:
    if not isinstance(key, str):
        raise RecordError(f"{where} has the key {key!r}; a record's keys are text")
    return _check_text(key, where)


def canonical(value: Any) -> bytes:
    """Return the canonical JSON of ``value`` in UTF-8 (RFC 8785).

    Raises RecordError where it has none (not JSON, not Unicode, a number that a double can't hold).
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError) as error:
        raise RecordError(f"this can't be written as canonical JSON: {error}") from error


def content_hash(fields: Mapping[str, Any]) -> str:
    """Return SHA-256, lower-case hex, over canonical JSON of ``fields`` without ``hash``."""
    return hashlib.sha256(canonical({k: v for k, v in fields.items() if k != "hash"})).hexdigest()


def _no_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) != len(pairs):
        raise ValueError("a key appears twice")
    return fields


def _no_float(text: str) -> Any:
    raise ValueError(f"the number {text} is not whole; decimals are kept as text")


def parse_line(line: bytes) -> Entry:
    """Return the entry that one line of ``record.jsonl`` holds (line end removed).

    The bytes must be exactly the canonical ones, so that no change of the file goes unseen.
    Raises RecordError, whose text completes the sentence 'entry 3 ...'.
    """
    if not line.strip():
        raise RecordError("is an empty line, which joblog never writes: the file was changed")
    try:
        text = line.decode()
        fields = json.loads(
            text,
            parse_float=_no_float,
            parse_constant=_no_float,
            object_pairs_hook=_no_duplicates,
        )
        entry = Entry.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the line"
        what = "is missing" if first["type"] == "missing" else "is not as joblog writes it"
        raise RecordError(f"is not an entry of a record: {place} {what}") from error
    except (ValueError, RecursionError) as error:
        raise RecordError(f"can't be read as JSON: {error}") from error
    check_json(fields, "the entry")
    if line != canonical(fields):
        raise RecordError("is not in the canonical form (RFC 8785) that it was written in")
    return entry
