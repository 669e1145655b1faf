"""A photo or a note taken back by its name or at a touch, though other entries came after it."""

from __future__ import annotations

from joblog.errors import InputError
from joblog.job.controls import ANY
from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.naming import entry_named
from joblog.job.types import JobState, Photo
from joblog.record.entry import Entry


def plan_disregard_photo(state: JobState, kind: str, phase: str, by: str) -> Plan:
    """Return what 'disregard the plug photo' leads to: the last such photo of ``by`` is taken back.

    As with 'disregard', a colleague's is theirs to take back by word: who says it may not have seen
    which photo is the last.
    """
    named = [p for p in state.photos if kind in (ANY, p.kind) and phase in ("", p.phase)]
    named.sort(key=lambda photo: photo.entry.seq)
    mine = [p for p in named if p.entry.by == by] or [p for p in named if not p.entry.by]
    if mine:
        return withdrawal(state, mine[-1].entry)
    if not named:
        what = "photo" if kind == ANY else f"{'' if kind == 'other' else f'{kind} '}photo"
        return refusal("Nothing to disregard.", f"Nothing to disregard: there is no such {what}.")
    what, whose = entry_named(state, named[-1].entry)[1], named[-1].entry.by
    return refusal(
        "Nothing to disregard.",
        f"Nothing to disregard: “{what}” is {whose}'s, who can take it back; so can whoever "
        "touches it on the phone's page.",
    )


def photo_to_withdraw(state: JobState, entry: str) -> Photo:
    """Return the photo of that entry (its id); InputError where none counts."""
    found = next((p for p in state.photos if p.entry.id == entry), None)
    if found is None:
        raise InputError("There is no such photo on this job, or it was taken back already.")
    return found


def plan_disregard_note(state: JobState, by: str) -> Plan:
    """Return what 'disregard the note' leads to: the last note of ``by`` is taken back."""
    mine = [n for n in state.notes if n.by == by] or [n for n in state.notes if not n.by]
    if mine:
        return withdrawal(state, mine[-1])
    if not state.notes:
        return refusal("Nothing to disregard.", "Nothing to disregard: there is no note.")
    what, whose = entry_named(state, state.notes[-1])[1], state.notes[-1].by
    return refusal(
        "Nothing to disregard.",
        f"Nothing to disregard: “{what}” is {whose}'s, who can take it back; so can whoever "
        "touches it in the list of notes.",
    )


def note_to_withdraw(state: JobState, entry: str) -> Entry:
    """Return the note of that entry (its id); InputError where none counts."""
    found = next((note for note in state.notes if note.id == entry), None)
    if found is None:
        raise InputError("There is no such note on this job, or it was taken back already.")
    return found


def withdrawal(state: JobState, last: Entry) -> Plan:
    """Take a photo or note back, and what it was recorded as before: that is it no more.

    The record keeps all of them.
    """
    by_id = {entry.id: entry for entry in state.entries}
    gone = {entry.supersedes for entry in state.entries if entry.kind == "disregarded"}
    drafts, entry = [], by_id.get(last.id)
    while entry is not None and entry.kind == last.kind:
        if entry.id not in gone:
            drafts.append(Draft("disregarded", {}, supersedes=entry.id))
        old = by_id.get(entry.supersedes or "")
        entry = old if old is not None and old.seq < entry.seq else None
    return Plan(tuple(drafts))
