"""The record room: entries that only ever grow, each carrying the hash of the one before.

Rules, before any code:

1. The entries are the only thing that is stored; everything else is computed from them.
2. Nothing is edited or deleted. A correction is a new entry that names the one it supersedes.
3. An entry's hash is SHA-256 (FIPS 180-4) over its canonical JSON (RFC 8785) without the hash.
4. No binary floating point inside an entry: a decimal is text, so what was said is what is kept.
5. Unknown fields are kept and hashed, so an older reader can carry a newer record.
6. Waits are judged by ``mono`` within one ``boot``; the wall time ``at`` is for people.

The names below are loaded when first used, because the database's library is heavy.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from joblog.record.chain import JOB_CLOSED, Verdict, verify, verify_lines
    from joblog.record.clock import Clock, ManualClock, Moment, SystemClock
    from joblog.record.entry import Entry, MediaRef, Source, canonical
    from joblog.record.store import Store, default_data_dir, open_store
    from joblog.record.transfer import Imported, export_job, import_job

_HOMES = {
    "JOB_CLOSED": "chain",
    "Clock": "clock",
    "Entry": "entry",
    "Imported": "transfer",
    "ManualClock": "clock",
    "MediaRef": "entry",
    "Moment": "clock",
    "Source": "entry",
    "Store": "store",
    "SystemClock": "clock",
    "Verdict": "chain",
    "canonical": "entry",
    "default_data_dir": "store",
    "export_job": "transfer",
    "import_job": "transfer",
    "open_store": "store",
    "verify": "chain",
    "verify_lines": "chain",
}

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


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
