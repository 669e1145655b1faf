"""The rules of the house that a program can watch over."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MAY_IMPORT = {  # room -> rooms that it may know; the plan is in DEVELOPERS.md
    "measure": set(),
    "sheet": {"measure", "job", "speech", "audio", "record"},  # but for measure: only commands.py
    "audio": {"speech", "sheet", "job", "readback"},  # only audio/commands.py: `joblog listen`
    "speech": {"audio", "sheet", "job"},  # only speech/commands.py, for `joblog hear --sheet`
    "vision": {"measure"},  # only vision/commands.py, for the VIN in `joblog labels`
    "readback": set(),
    "record": {"report", "vision"},  # only record/commands.py, for a PDF and for cleared copies
    "job": {"sheet", "speech", "vision", "measure", "record", "audio"},
    "report": {"job", "record", "sheet", "measure"},
}
DOORS = {"commands.py", "listen.py", "bench.py"}
STRICT = {
    "sheet": {"measure"},
    "audio": set(),
    "speech": {"audio"},
    "record": set(),
    "vision": set(),
}


def source_files(*folders: str) -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", *folders],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    ).stdout.split()
    return [ROOT / name for name in listed if name.endswith(".py") and (ROOT / name).exists()]


def rooms_imported(path: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        rooms |= {n.split(".")[1] for n in names if n.startswith("joblog.")}
    return rooms - {"errors", "bench", "cli"}


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="needs the git checkout")
def test_no_file_is_too_long_to_hold_in_the_head():
    long = [p for p in source_files() if len(p.read_text(encoding="utf-8").splitlines()) > 500]
    assert not long


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="needs the git checkout")
def test_no_function_is_longer_than_eighty_lines():
    long = []
    for path in source_files("joblog"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                if lines > 80:
                    long.append(f"{path.name}:{node.name} {lines}")
    assert not long


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_rooms_know_only_what_they_may(room):
    for path in (ROOT / "joblog" / room).rglob("*.py"):
        door = path.name in DOORS or path.name.startswith("bench")
        allowed = MAY_IMPORT[room] if door else STRICT.get(room, MAY_IMPORT[room])
        strangers = rooms_imported(path) - allowed - {room}
        assert not strangers, f"{path.relative_to(ROOT)} knows {sorted(strangers)}"


def test_the_command_line_starts_without_the_heavy_libraries():
    code = "import sys, joblog.cli; joblog.cli.build_parser(); print(*sys.modules)"
    asked = [sys.executable, "-c", code]
    loaded = subprocess.run(asked, capture_output=True, text=True, check=True).stdout.split()
    assert "joblog.web.commands" in loaded
    assert not {"numpy", "sqlalchemy", "pydantic", "fastapi", "cv2", "PIL"} & set(loaded)
