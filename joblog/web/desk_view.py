"""What the desk shows besides the job itself: the notes, what is open first."""

from __future__ import annotations

from typing import Any

from joblog.job.explanations import note_key, notes_withdrawn
from joblog.job.types import Finding, FindingKind, JobState
from joblog.record.entry import Entry


def notes_view(state: JobState) -> list[dict[str, Any]]:
    """Return the technician's notes with what the customer is told of each, '' where nothing is."""
    return [
        {
            "key": note_key(note),
            "entry": note.id,
            "text": str(note.body.get("text", "")),
            "what": f"“{note.body.get('text', '')}”{_whether_told(state, note)}",
            "dictated": bool(note.body.get("dictated")),
            "by": note.by,
            "at": note.at,
            "explained": state.explanation(note_key(note)),
        }
        for note in state.notes
    ]


def _whether_told(state: JobState, note: Entry) -> str:
    return ", told to the customer" if state.explanation(note_key(note)) else ""


def withdrawn_lines(state: JobState) -> list[str]:
    """Return what the desk says of notes that were told to the customer and then taken back."""
    return [
        f"{one.back.by or 'Somebody'} took back the note “{one.note.body.get('text', '')}”: page 1 "
        f"says no more “{one.told}” Tell the customer, where the report was handed over before."
        for one in notes_withdrawn(state)
    ]


def desk_marks(state: JobState, finding: Finding) -> dict[str, Any]:
    """Return what the desk needs of a finding: its place, whether it is open, the words kept.

    What is open comes first, then what was seen, then what has ended.
    """
    open_ = not finding.resolved and finding.kind is not FindingKind.OBSERVATION
    rank = 0 if open_ else 1 if not finding.resolved else 2
    return {"open": open_, "rank": rank, "explained": state.explanation(finding.key)}
