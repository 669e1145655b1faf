"""Which entries count: corrections, and things taken back.

The record only grows. An entry stops counting where a ``disregarded`` entry takes it back, or a
later entry of the same kind supersedes it. Taking back a correction lets the corrected entry count
again, as if the correction had never been said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from joblog.record.entry import Entry

CORRECTABLE = frozenset({"torque", "quantity", "reading", "photo", "note", "step-done", "meter"})


@dataclass(frozen=True)
class Event:
    """One entry that counts, with ``root`` (the entry first recorded) and what it replaced."""

    entry: Entry
    root: Entry
    corrected_from: tuple[Entry, ...] = ()

    @property
    def ids(self) -> frozenset[str]:
        """The ids of the entry and of all that it replaced."""
        return frozenset(entry.id for entry in (self.entry, *self.corrected_from))


@dataclass(frozen=True)
class History:
    """The entries that count, in the order in which things happened."""

    events: tuple[Event, ...]
    taken_back: frozenset[str]
    superseded: frozenset[str]

    def of(self, *kinds: str) -> tuple[Event, ...]:
        """Return the events of these kinds."""
        return tuple(event for event in self.events if event.entry.kind in kinds)

    def key_now(self, key: str) -> str:
        """Return the key that the finding ``key`` has now: one of a time is named by the first.

        A correction changes no time. Older records name such a finding by the correction.
        """
        rule, _, entry = key.partition(":")
        event = next((e for e in self.events if rule == "window" and entry in e.ids), None)
        return f"window:{event.root.id}" if event else key


def confirmations(history: History) -> dict[str, Entry]:
    """Return, by the key of its finding, the last confirmation of each that counts."""
    told = ((str(e.entry.body.get("finding", "")), e.entry) for e in history.of("confirmed"))
    return {history.key_now(key): entry for key, entry in told}


def history_of(entries: Sequence[Entry]) -> History:
    """Return what counts among ``entries`` (oldest first)."""
    by_id = {entry.id: entry for entry in entries}
    taken_back = _taken_back(entries, by_id)
    replaces: dict[str, Entry] = {}  # id of the later entry -> the entry that it replaces
    latest: dict[str, Entry] = {}  # id of the first entry -> the entry that counts now
    root_of: dict[str, Entry] = {}
    for entry in entries:
        old = _replaced(entry, by_id)
        if entry.id in taken_back or entry.kind == "disregarded":
            continue
        root = root_of.get(old.id, old) if old else entry
        if old and root.id not in latest:
            old = None  # what it corrects was taken back: it stands on its own
            root = entry
        root_of[entry.id] = root
        if old:
            replaces[entry.id] = latest[root.id]
        latest[root.id] = entry
    events = [_event(by_id[root], entry, replaces) for root, entry in latest.items()]
    superseded = frozenset(old.id for old in replaces.values())
    events.sort(key=lambda event: event.root.seq)
    return History(tuple(events), frozenset(taken_back), superseded)


def _taken_back(entries: Sequence[Entry], by_id: dict[str, Entry]) -> set[str]:
    return {
        entry.supersedes
        for entry in entries
        if entry.kind == "disregarded"
        and entry.supersedes in by_id
        and by_id[entry.supersedes].seq < entry.seq
    }


def _replaced(entry: Entry, by_id: dict[str, Entry]) -> Entry | None:
    """Return the earlier entry that ``entry`` corrects, None where the reference makes no sense."""
    old = by_id.get(entry.supersedes or "")
    if old is None or entry.kind not in CORRECTABLE:
        return None
    return old if old.kind == entry.kind and old.seq < entry.seq else None


def _event(root: Entry, entry: Entry, replaces: dict[str, Entry]) -> Event:
    olds: list[Entry] = []
    at = entry
    while at.id in replaces:
        at = replaces[at.id]
        olds.append(at)
    return Event(entry, root, tuple(reversed(olds)))
