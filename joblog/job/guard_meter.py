"""An odometer or hour meter that shows less than it did before.

It may well be so: a replaced instrument cluster starts anew. So it is nobody's mistake and is only
remarked: to the technician, who can look once more, and on the report's pages for the shop.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from joblog.job.history import History
from joblog.job.meters import is_lower, meter
from joblog.job.told_meter import corrections_of, meter_name, told_by
from joblog.job.types import Finding, FindingKind, JobState
from joblog.job.wording import shown
from joblog.measure.units import Quantity
from joblog.record.entry import Entry
from joblog.record.times import is_utc_text
from joblog.speech.units_spoken import SPOKEN_UNITS

_READINGS = ("odometer", "mileage", "hour meter")  # in the name of a shop's own sheet's reading
METER = "meter:"  # begins the key of such a finding; then the entry that told the lower figure


@dataclass(frozen=True)
class Shown:
    """What a meter showed, when, and which entry told it; None: an earlier job's."""

    reading: Quantity
    at: str
    entry: Entry | None
    corrected: bool = False


def meter_findings(state: JobState, history: History) -> Iterator[Finding]:
    """Remark where a meter shows less than at the last job, or than earlier in this one."""
    for now, before in lower_meters(state, history):
        assert now.entry is not None
        unit = now.reading.unit
        name = meter_name(now.reading)
        figure, was = (shown(x.reading.value, x.reading.unit) for x in (now, before))
        when = "earlier in this job" if before.entry else f"at an earlier job, {before.at[:10]}"
        spoken = SPOKEN_UNITS[unit].plural if unit in SPOKEN_UNITS else unit
        yield Finding(
            key=f"{METER}{now.entry.id}",
            kind=FindingKind.OBSERVATION,
            text=f"The {name} shows {figure}, less than {when}: {was}.",
            advice="Look once more. It may be right, such as after a new instrument cluster: then "
            "a note can say so.",
            spoken=f"{spoken.capitalize()} lower than before.",
            step=now.entry.body.get("step"),
            entry=now.entry.id,
            at=now.at,
            resolved="corrected" if now.corrected else "",
            customer=f"The {name} showed {figure}; {when}, it was {was}. A new instrument cluster, "
            "for instance, may explain that.",
        )


def lower_meters(state: JobState, history: History) -> Iterator[tuple[Shown, Shown]]:
    """Yield each time that a meter showed less than before, with what it had shown last."""
    last: dict[bool, Shown] = {}  # of an hour meter, of an odometer
    for now in _all_shown(state, history):
        hours = now.reading.unit == "h"
        before = last.get(hours)
        if before and is_lower(now.reading, before.reading):
            yield now, before
        if not now.corrected:
            last[hours] = now


def _all_shown(state: JobState, history: History) -> Iterator[Shown]:
    """Yield what a meter showed: at the last job, at the opening, and where it was read since."""
    opened = next((e for e in state.entries if e.kind == "job-opened"), None)
    if opened is None:
        return
    earlier: Any = opened.body.get("earlier_meter")
    if isinstance(earlier, dict):
        before, at = meter(earlier.get("value"), earlier.get("unit")), str(earlier.get("at"))
        if before and is_utc_text(at):
            yield Shown(before, at, None)
    told = (opened, *corrections_of(history))
    for entry in told:  # a correction changes the figure, never when it was read
        read = told_by(entry)
        if read:
            yield Shown(read, opened.at, entry, entry is not told[-1])
    for event in history.of("reading"):
        name = str(event.entry.body.get("name", "")).lower()
        for entry in (*event.corrected_from, event.entry):
            read = meter(entry.body.get("value"), entry.body.get("unit"))
            if read and any(one in name for one in _READINGS):
                yield Shown(read, event.root.at, entry, entry is not event.entry)
