"""The advisor's words for the customer, and which finding or note they are about."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.job.guard_ended import ENDED
from joblog.job.guard_undone import UNDONE, ReplayUpTo
from joblog.job.history import History
from joblog.job.types import Finding, JobState
from joblog.record.entry import Entry

NOTE = "note:"  # begins the key of the advisor's words about a note; then the note's id


def note_key(note: Entry) -> str:
    """Return the key under which the advisor's words about ``note`` are kept."""
    return f"{NOTE}{note.id}"


def notes_told(state: JobState) -> list[str]:
    """Return what the advisor tells the customer of the technician's notes, in their order."""
    told = (state.explanation(note_key(note)).strip() for note in state.notes)
    return [text for text in told if text]


def notes_untold(state: JobState) -> list[Entry]:
    """Return the notes of which the customer is not told anything yet."""
    return [note for note in state.notes if not state.explanation(note_key(note)).strip()]


@dataclass(frozen=True)
class Withdrawn:
    """A note that was taken back after the customer was told of it in the words ``told``."""

    note: Entry
    back: Entry  # what took it back
    told: str


def notes_withdrawn(state: JobState) -> list[Withdrawn]:
    """Return the notes that were taken back after the customer was told of them, in their order."""
    backs = {e.supersedes: e for e in state.entries if e.kind == "disregarded"}
    told = {
        str(e.body.get("finding", "")): str(e.body.get("text", "")).strip()
        for e in state.entries
        if e.kind == "explained" and e.id not in backs
    }
    notes = [e for e in state.entries if e.kind == "note" and e.id in backs]
    found = [Withdrawn(note, backs[note.id], told.get(note_key(note), "")) for note in notes]
    return [one for one in found if one.told]


def explained_by(state: JobState, history: History, up_to: ReplayUpTo) -> dict[str, Entry]:
    """Return, by the key of each finding or note explained, the entry with the last words on it.

    A finding that is so no more has another key than before. What was said of it while it was so
    is still about it, unless it said something else then (of a sum that has grown since).
    """
    said: dict[str, list[Entry]] = {}
    for event in history.of("explained"):
        key = history.key_now(str(event.entry.body.get("finding", "")))
        said.setdefault(key, []).append(event.entry)
    place = {entry.id: index for index, entry in enumerate(state.entries)}
    found: dict[str, Entry] = {}
    for finding in state.findings:
        mine = said.get(finding.key, [])
        before = "" if mine else _key_before(finding)
        for entry in said.get(before, []):
            was = up_to(place[entry.id]).finding(before)
            if was and (was.entry, was.text) == (finding.entry, finding.text):
                mine = [entry]
        if mine:
            found[finding.key] = mine[-1]
    notes = [note_key(note) for note in state.notes]
    return found | {key: said[key][-1] for key in notes if key in said}


def _key_before(finding: Finding) -> str:
    """Return the key that a finding had while it was so; '' where it has that still."""
    return finding.key.split(":", 2)[-1] if finding.key.startswith((ENDED, UNDONE)) else ""


def words_between(state: JobState, key: str, words: str, seen: str | None) -> str:
    """Return whose words were kept since ``seen`` was read, in a sentence; '' where none were."""
    said, now = state.explained.get(key), state.explanation(key).strip()
    if seen is None or said is None or now in (seen.strip(), words):
        return ""
    return (
        f"{said.by or 'Somebody'} has kept other words meanwhile: “{now}” Yours are not kept yet; "
        "keep them once more to put them in place of these."
    )
