"""A correction of what was just taken back or denied is told anew; nothing before it changes.

"Torque nine", "disregard", "correction torque eight": the eight stands for the nine that counts no
more. Corrected would else be the value before it, of another fastener perhaps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from joblog.job.meaning import Meaning
from joblog.job.types import JobState
from joblog.job.values import step_named
from joblog.record.entry import Entry
from joblog.sheet.model import Sheet

_VALUES = ("torque", "quantity", "reading")
_DENIED = ("negative", "disregarded")  # answers after which nothing asked about was recorded


def withdrawn_last(state: JobState) -> tuple[str, dict[str, Any]] | None:
    """Return kind and body of the value taken back or denied since any was told, None if none was.

    One that was itself a correction doesn't count: without it the value before it counts again.
    """
    last = max((v.entry.seq for v in state.values), default=-1)
    by_id = {entry.id: entry for entry in state.entries}
    for entry in reversed(state.entries):
        if entry.seq < last:
            return None
        found = next(_withdrawn(entry, by_id), None)
        if found is not None:
            return found
    return None


def _withdrawn(entry: Entry, by_id: dict[str, Entry]) -> Iterator[tuple[str, dict[str, Any]]]:
    about = by_id.get(str(entry.supersedes or entry.body.get("question", "")))
    if about is None:
        return
    if entry.kind == "disregarded" and about.kind in _VALUES and about.supersedes is None:
        yield about.kind, about.body
    repeated = "once more" in str(about.body.get("question", "")).lower()  # told twice: one counts
    if entry.kind == "answered" and entry.body.get("answer") in _DENIED and not repeated:
        for draft in about.body.get("drafts") or ():
            if draft["kind"] in _VALUES and draft.get("supersedes") is None:
                yield draft["kind"], draft["body"]


def told_anew(state: JobState, meaning: Meaning, kind: str) -> Meaning:
    """Return ``meaning`` as no correction where it is about the value just taken back.

    Without a name it is then of the same step and number, or the same fluid.
    """
    found = withdrawn_last(state) if meaning.correction else None
    if found is None or found[0] != kind or not _about(state.sheet, meaning.target, *found):
        return meaning
    anew, body = replace(meaning, correction=False), found[1]
    if meaning.target != "here":
        return anew
    if kind == "quantity":
        return replace(anew, target=str(body.get("fluid", "")))
    act = "torque-at" if kind == "torque" else meaning.act
    which = meaning.which or str(body.get("which", ""))
    return replace(anew, act=act, target=str(body.get("step", "")), which=which)


def _about(sheet: Sheet, target: str, kind: str, body: dict[str, Any]) -> bool:
    """Say whether the target of a correction is what the value was of; without a name it is."""
    if target in ("", "here"):
        return True
    if kind == "quantity":
        return bool(body.get("fluid") == target)
    named, was = step_named(sheet, target), step_named(sheet, body.get("step"))
    if named is None or was is None:
        return False
    if kind == "torque":
        return bool(named.torque and was.torque and named.torque.fastener == was.torque.fastener)
    return named == was or bool(
        named.reading and was.reading and named.reading.name == was.reading.name
    )
