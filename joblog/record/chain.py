"""Is the record whole? A pure check of entries against each other.

What is checked, in this order, for each entry: its form; its job is that of the first; ``seq``
counts up from 0 without a gap; ``prev`` is the hash of the entry before; the hash fits the content;
the id is new and carries the time that ``at`` says; ``mono`` doesn't run backwards within one
``boot``; ``supersedes`` names an earlier entry.

A chain can't know that its tail was cut off. So a finished job has an entry of kind
``job-closed``, the verdict says whether the record is closed or open, and the final hash that the
report prints can be compared (``joblog verify --expect``). Entries may follow the closing one (the
customer signs what was closed), and those could be cut off, too: the verdict says so.

Wall time may jump: that is remarked, not refused.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from joblog.errors import RecordError
from joblog.record.entry import GENESIS, Entry, parse_line
from joblog.record.times import milliseconds_since_epoch, uuid7_milliseconds

JOB_CLOSED = "job-closed"  # kind of the entry that ends a job
TAKEN_BACK = "disregarded"  # kind of the entry that takes back the one that it supersedes
_UNSEEN = (
    "can't be seen here. Nor can it be seen if somebody wrote all of it anew. "
    "A final hash kept elsewhere shows both, such as the printed report's."
)


@dataclass(frozen=True)
class Verdict:
    """What a check of a record found.

    ``first_bad`` is the place of the first bad entry, counted from 0 as ``seq`` is; ``why`` says
    what is wrong with it; ``final_hash`` and ``count`` are those of the good entries before it.
    ``after_closing`` counts the entries that follow the one that closed the job.
    """

    whole: bool
    first_bad: int | None
    why: str | None
    final_hash: str
    count: int
    closed: bool = False
    job: str | None = None
    remarks: tuple[str, ...] = ()
    after_closing: int = 0

    @property
    def sentence(self) -> str:
        """The verdict in words, with what a record alone can't show."""
        return self.told()

    def told(self, *, ends: bool = False) -> str:
        """Return the verdict in short sentences; ``ends``: its final hash is the expected one."""
        if not self.whole:
            place = "" if self.first_bad is None else f"entry {self.first_bad} "
            return f"The record is NOT whole: {place}{self.why}."
        state, missing = self._end()
        unseen = "" if ends else f" {missing} {_UNSEEN}"
        return f"The record is whole and unaltered: {_entries(self.count)}. {state}.{unseen}"

    def _end(self) -> tuple[str, str]:
        """Return how the record ends, and what could be missing from its end all the same."""
        if not self.closed:
            state = "The job is open: it has no closing entry"
            return state, "What is missing from its end"
        if not self.after_closing:
            return "The job is closed", "What was cut off after that, such as a signature,"
        follow = "follows" if self.after_closing == 1 else "follow"
        more = f"{_entries(self.after_closing)} {follow} its closing"
        return f"The job is closed, and {more}", "What was cut off after that"


def _entries(count: int) -> str:
    return "1 entry" if count == 1 else f"{count} entries"


def closing_entry(entries: Iterable[Entry]) -> Entry | None:
    """Return the entry that closed the job: the last closing one that wasn't taken back.

    It need not be the last of the record: signing, for one, comes after it.
    """
    closings: dict[str, Entry] = {}
    for entry in entries:
        if entry.kind == JOB_CLOSED:
            closings[entry.id] = entry
        elif entry.kind == TAKEN_BACK:
            closings.pop(entry.supersedes or "", None)
    return next(reversed(closings.values()), None)


class _Checker:
    """Walks along the chain; ``step`` returns what is wrong with the next entry, or None."""

    def __init__(self, job: str | None = None) -> None:
        self.last: Entry | None = None
        self.job = job  # whose record it must be; None until the first entry says it
        self.count = 0
        self.remarks: list[str] = []
        self._ends: list[Entry] = []  # what closes the job, and what may take that back
        self._ids: set[str] = set()

    def step(self, entry: Entry) -> str | None:
        why = self._wrong(entry)
        if why is None:
            self._remark_wall(entry)
            self.last, self.job = entry, entry.job
            self.count += 1
            self._ids.add(entry.id)
            if entry.kind in (JOB_CLOSED, TAKEN_BACK):
                self._ends.append(entry)
        return why

    def _wrong(self, entry: Entry) -> str | None:
        return self._wrong_place(entry) or self._wrong_content(entry)

    def _wrong_place(self, entry: Entry) -> str | None:
        if self.job is not None and entry.job != self.job and self.last is None:
            return f"belongs to job {entry.job}, and lies here as one of job {self.job}"
        if self.job is not None and entry.job != self.job:
            return f"belongs to job {entry.job}, the entries before it to job {self.job}"
        if entry.seq != self.count:
            return f"carries the number {entry.seq}: entries were removed, added or moved"
        if entry.prev != (self.last.hash if self.last else GENESIS):
            if self.last is None:
                return "does not start a record: it names an entry before it"
            return "does not carry the hash of the entry before it: one of the two was changed"
        return None

    def _wrong_content(self, entry: Entry) -> str | None:
        if entry.computed_hash() != entry.hash:
            return f"({_who(entry)}) was changed: its content does not fit its hash"
        if entry.id in self._ids:
            return f"has the id {entry.id} of an earlier entry"
        if uuid7_milliseconds(entry.id) != milliseconds_since_epoch(entry.at):
            return f"has an id made at another time than {entry.at}"
        if entry.supersedes is not None and entry.supersedes not in self._ids:
            return f"supersedes {entry.supersedes}, which is no earlier entry of this record"
        before = self.last
        if before and before.boot == entry.boot and Decimal(entry.mono) < Decimal(before.mono):
            return (
                f"has monotonic time {entry.mono} s, before the {before.mono} s of the entry before"
            )
        return None

    def _remark_wall(self, entry: Entry) -> None:
        if self.last is None:
            return
        wall = milliseconds_since_epoch(entry.at) - milliseconds_since_epoch(self.last.at)
        if wall < 0:
            self.remarks.append(
                f"the wall clock went back by {-wall / 1000:.1f} s before entry {entry.seq}"
            )

    def verdict(self, why: str | None = None, *, bad: int | None = None) -> Verdict:
        if why is None and self.count == 0:
            why = "there is no entry in it"
        closing = closing_entry(self._ends) if why is None else None
        return Verdict(
            whole=why is None,
            first_bad=bad,
            why=why,
            final_hash=self.last.hash if self.last else GENESIS,
            count=self.count,
            closed=closing is not None,
            job=self.job,
            remarks=tuple(self.remarks),
            after_closing=self.count - 1 - closing.seq if closing else 0,
        )


def _who(entry: Entry) -> str:
    return f"{entry.kind}, {entry.at}"


def verify(entries: Iterable[Entry]) -> Verdict:
    """Return whether ``entries``, in order, are the whole and unaltered start of one record."""
    checker = _Checker()
    for place, entry in enumerate(entries):
        why = checker.step(entry)
        if why:
            return checker.verdict(why, bad=place)
    return checker.verdict()


def verify_lines(data: bytes, job: str | None = None) -> tuple[Verdict, list[Entry]]:
    """Return the verdict on the bytes of a ``record.jsonl`` and its good entries.

    Every byte counts: each line must be canonical JSON and end with a single line feed. ``job`` is
    the one that they must belong to, where that is known.
    """
    checker = _Checker(job)
    entries: list[Entry] = []
    saved_again = _saved_again(data)
    if saved_again:
        return checker.verdict(saved_again, bad=0), entries
    lines = data.split(b"\n")
    tail = lines.pop()
    for place, line in enumerate(lines):
        try:
            entry = parse_line(line)
        except RecordError as error:
            return checker.verdict(str(error), bad=place), entries
        why = checker.step(entry)
        if why:
            return checker.verdict(why, bad=place), entries
        entries.append(entry)
    if tail:
        return checker.verdict("is cut off: its line does not end", bad=len(lines)), entries
    return checker.verdict(), entries


def _saved_again(data: bytes) -> str | None:
    """Say what a mail program or an editor did to the whole file, None where nothing shows it."""
    if data.startswith(b"\xef\xbb\xbf"):
        what = "begins with a byte order mark"
    elif data.endswith(b"\r\n") and data.count(b"\r\n") == data.count(b"\n"):
        what = "has the line ends of Windows"
    else:
        return None
    return (
        f"is not as it was written: the file {what}, so a mail program or an editor saved it "
        "again; ask for it once more, in a ZIP file, or for the report's PDF, which carries it"
    )
