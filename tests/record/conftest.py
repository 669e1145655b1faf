"""What tests of the record share: a store in a new folder, a note in it, a process of its own."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from joblog.record import Store, open_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


def note(store: Store, job: str, text: str = "", **more: Any) -> Any:
    return store.append(job, "note", {"text": text}, source="hand", **more)


def run(code: str, *arguments: object, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run Python code in a process of its own."""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.run(
        command, capture_output=True, text=True, timeout=60, check=False, **options
    )
