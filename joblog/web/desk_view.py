"""What the desk shows besides the job itself: the notes, what is open first."""

from __future__ import annotations

from typing import Any

from joblog.job.explanations import note_key
from joblog.job.types import Finding, FindingKind, JobState


def notes_view(state: JobState) -> list[dict[str, Any]]:
    """Return the technician's notes with what the customer is told of each, '' where nothing is."""
    return [
        {
            "key": note_key(note),
            "text": str(note.body.get("text", "")),
            "dictated": bool(note.body.get("dictated")),
            "by": note.by,
            "at": note.at,
            "explained": state.explanation(note_key(note)),
        }
        for note in state.notes
    ]


def desk_marks(state: JobState, finding: Finding) -> dict[str, Any]:
    """Return what the desk needs of a finding: its place, whether it is open, the words kept.

    What is open comes first, then what was seen, then what has ended.
    """
    open_ = not finding.resolved and finding.kind is not FindingKind.OBSERVATION
    rank = 0 if open_ else 1 if not finding.resolved else 2
    return {"open": open_, "rank": rank, "explained": state.explanation(finding.key)}
