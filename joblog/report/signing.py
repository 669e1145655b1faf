"""What the customer put their name to: a signature stands under nothing that came behind it."""

from __future__ import annotations

from joblog.job.types import KINDS
from joblog.record.entry import Entry
from joblog.report.context import Context


def how_signed(c: Context) -> str:
    """Return how the last signature was made, and what came after it; '' for one drawn at the end.

    Whoever signed saw nothing of what was recorded later: the work itself, where they signed first,
    or words that the advisor wrote afterwards.
    """
    if not c.state.signatures:
        return ""
    signed = c.state.signatures[-1]
    typed = signed.body.get("how") == "typed"
    lines = [c.t.say("signed by typing the name")] if typed else []
    later = [entry for entry in c.state.entries if entry.seq > signed.seq]
    if any(map(_adds, later)):
        lines.append(
            c.t.count(
                "signed {when}, before the record's last entry was made",
                "signed {when}, before the record's last {n} entries were made",
                len(later),
                when=c.t.moment(signed.at),
            )
        )
    return "; ".join(lines)


def _adds(entry: Entry) -> bool:
    """Say whether an entry adds to what was signed: more than the word that the job is finished."""
    finished = entry.kind == "job-closed" and entry.body.get("how") == "finished"
    return not finished and entry.kind != "heard"  # what comes of that has an entry of its own


def unknown_entries(c: Context) -> tuple[str, ...]:
    """Say that a newer joblog recorded what this one can't tell; nothing is left out in silence."""
    strange = sum(1 for entry in c.state.entries if entry.kind not in KINDS)
    if not strange:
        return ()
    return (
        c.t.count(
            "{n} entry of the record is of a kind that this version of joblog does not know. "
            "Ask for a report made by a newer one.",
            "{n} entries of the record are of a kind that this version of joblog does not know. "
            "Ask for a report made by a newer one.",
            strange,
        ),
    )
