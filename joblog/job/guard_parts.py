"""Parts that are replaced at every removal, and were not.

A used crush washer (copper, aluminium or folded) is replaced: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, JobState
from joblog.job.values import step_named
from joblog.job.wording import capital
from joblog.sheet.fragments import spoken_form


def part_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Yield every part of the sheet that was put back used; a new one afterwards mends it."""
    parts = {part.key: part for part in state.sheet.parts}
    events = history.of("part")
    for event in events:
        part = parts.get(str(event.entry.body.get("part", "")))
        if part is None or event.entry.body.get("state") != "reused":
            continue
        later = any(
            e.entry.seq > event.entry.seq
            and e.entry.body.get("part") == part.key
            and e.entry.body.get("state") == "new"
            for e in events
        )
        step = step_named(state.sheet, event.entry.body.get("step"))
        name = spoken_form(part.say[0]) if part.say else part.name
        yield Finding(
            key=f"part:{event.entry.id}",
            kind=FindingKind.CONDITION,
            text=f"{capital(part.name)} used again: fit a new one.",
            spoken=f"Old {name} kept, but new {name} must come first.",
            step=step.key if step else None,
            entry=event.entry.id,
            at=event.root.at,
            resolved="done afterwards" if later else "",
            customer=f"The used {part.name} was put back; a new one belongs there.",
        )
