"""What a phrase would do, told to somebody who writes sheets and has never seen a tag."""

from __future__ import annotations

from joblog.job.controls import REASONS
from joblog.job.foils import TAG
from joblog.job.grammar import phrase_for
from joblog.job.meaning import Meaning
from joblog.job.ranges import shown_ends
from joblog.job.wording import capital
from joblog.sheet.model import Sheet

_PHASES = {"before": "as found", "after": "afterwards"}


def explained(meaning: Meaning, sheet: Sheet) -> str:
    """Return one line: 'records the torque: drain plug: 41 lbf·ft, with the long wrench'."""
    if meaning.act == TAG:
        return "Records nothing: it says of nothing that it is done"
    if meaning.span != (0, 0) and not meaning.values:
        return "Records nothing: joblog asks for it again, since a range has one unit"
    phrase = phrase_for(sheet, meaning.tag)
    does = phrase.does if phrase else "gives the last value anew"
    lead = "corrects, and " if meaning.correction else ""
    share = meaning.act == "share"  # of a container: a third of it stays a third
    plain = meaning.values[:1]
    readings = [v for v in meaning.values if (v.upper is None) == (plain[0].upper is None)]
    values = " or ".join(
        str(v.value) if share else shown_ends(v.value, v.upper, v.unit) for v in readings
    )
    line = f"{lead}{does}{f': {values}' if values else ''}"
    return capital(", ".join([line, *_details(meaning, sheet)]))


def _details(meaning: Meaning, sheet: Sheet) -> list[str]:
    found = []
    if meaning.which:
        found.append("all of them" if meaning.which == "all" else f"number {meaning.which}")
    if meaning.wrench:
        name = next((t.name for t in sheet.tools if t.key == meaning.wrench), meaning.wrench)
        found.append(f"with: {name}")
    if meaning.phase:
        found.append(_PHASES.get(meaning.phase, meaning.phase))
    if meaning.reason:
        found.append(f"because {REASONS[meaning.reason][1]}")
    return found
