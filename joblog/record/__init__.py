"""The record room: entries that only ever grow, each carrying the hash of the one before.

Rules, before any code:

1. The entries are the only thing that is stored; everything else is computed from them.
2. Nothing is edited or deleted. A correction is a new entry that names the one it supersedes.
3. An entry's hash is SHA-256 (FIPS 180-4) over its canonical JSON (RFC 8785) without the hash.
4. No binary floating point inside an entry: a decimal is text, so what was said is what is kept.
5. Unknown fields are kept and hashed, so an older reader can carry a newer record.
6. Waits are judged by ``mono`` within one ``boot``; the wall time ``at`` is for people.
"""

from joblog.record.chain import JOB_CLOSED, Verdict, verify, verify_lines
from joblog.record.clock import Clock, ManualClock, Moment, SystemClock
from joblog.record.entry import Entry, MediaRef, Source, canonical
from joblog.record.store import Store, default_data_dir, open_store
from joblog.record.transfer import Imported, export_job, import_job

__all__ = [
    "JOB_CLOSED",
    "Clock",
    "Entry",
    "Imported",
    "ManualClock",
    "MediaRef",
    "Moment",
    "Source",
    "Store",
    "SystemClock",
    "Verdict",
    "canonical",
    "default_data_dir",
    "export_job",
    "import_job",
    "open_store",
    "verify",
    "verify_lines",
]
