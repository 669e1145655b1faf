"""What becomes an entry: its place in the chain, its time, its row in the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Connection, insert

from joblog.errors import RecordError
from joblog.record import schema
from joblog.record.clock import Moment
from joblog.record.entry import GENESIS, Entry, MediaRef, Source, content_hash
from joblog.record.times import uuid7


@dataclass(frozen=True)
class New:
    """An entry that is still to be appended.

    ``kind`` is lower-case words with hyphens; ``body`` is JSON without floats (decimals as text);
    ``supersedes`` is the id of the earlier entry that this one corrects.
    """

    kind: str
    body: Mapping[str, Any]
    source: Source
    by: str = ""
    media: tuple[MediaRef, ...] = field(default=())
    supersedes: str | None = None


def continued(moment: Moment, last: Entry | None) -> Moment:
    """Return ``moment``, under a new epoch where its monotonic clock ran backwards.

    That happens when a virtual machine is set back to a snapshot: the boot id stays, the clock
    does not. Offsets across the break mean nothing, and a new epoch says so.
    """
    if last is None or last.boot != moment.boot or Decimal(moment.mono) >= Decimal(last.mono):
        return moment
    return Moment(moment.at, moment.mono, f"{moment.boot}+{uuid7(moment.at)}")


def chained(job: str, new: New, moment: Moment, last: Entry | None) -> Entry:
    """Return ``new`` as the entry behind ``last``; raises RecordError where it can be none."""
    try:
        draft = Entry(
            id=uuid7(moment.at),
            job=job,
            seq=0 if last is None else last.seq + 1,
            at=moment.at,
            mono=moment.mono,
            boot=moment.boot,
            source=new.source,
            by=new.by,
            kind=new.kind,
            body=dict(new.body),
            media=new.media,
            supersedes=new.supersedes,
            prev=GENESIS if last is None else last.hash,
            hash=GENESIS,
        )
    except ValueError as error:
        raise RecordError(f"this entry can't be recorded: {_first_reason(error)}") from error
    return draft.model_copy(update={"hash": content_hash(draft.model_dump(mode="json"))})


def _first_reason(error: ValueError) -> str:
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        return f"{'.'.join(str(part) for part in first['loc'])}: {first['msg']}"
    return str(error)


def insert_entry(connection: Connection, entry: Entry) -> None:
    """Write the row of ``entry``."""
    connection.execute(
        insert(schema.entries).values(
            job=entry.job,
            seq=entry.seq,
            id=entry.id,
            prev=entry.prev,
            hash=entry.hash,
            line=entry.line().decode(),
        )
    )
