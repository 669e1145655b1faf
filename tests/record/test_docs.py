"""The documentation's own ways of checking and using a record work as printed."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from joblog.record import export_job, open_store

PAGE = Path(__file__).parents[2] / "docs" / "record.md"
CHECK, USE = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)


def run(code: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=False
    )


def test_the_printed_check_agrees_with_verify(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        job = store.start_job()
        for text in ("one", "two"):
            store.append(job, "note", {"text": text}, source="hand")
        record = export_job(store, job, tmp_path)
        final = store.verify(job).final_hash
    assert run(CHECK, tmp_path).stdout.split() == ["final", "hash", final]
    record.write_bytes(record.read_bytes().replace(b"one", b"One"))
    assert "AssertionError" in run(CHECK, tmp_path).stderr


def test_the_printed_use_works(tmp_path: Path) -> None:
    (tmp_path / "plug.jpg").write_bytes(b"a photo")
    done = run(USE, tmp_path)
    assert done.returncode == 0, done.stderr
    assert "whole and unaltered: 2 entries" in done.stdout
    assert (tmp_path / "out" / "record.jsonl").is_file()
