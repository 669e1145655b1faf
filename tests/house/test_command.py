"""The command itself, before any room has its word."""

import json
import os
import subprocess
import sys

import pytest

from joblog.cli import ROOMS_WITH_COMMANDS, main


def test_the_bare_command_names_its_commands(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2  # as argparse ends every wrong use
    told = capsys.readouterr().err
    for command in ("demo", "serve", "jobs", "verify", "sheet", "report", "photo"):
        assert f"    {command} " in told
    assert told.count("\n    ") >= len(ROOMS_WITH_COMMANDS)


@pytest.mark.parametrize("name", ["日本.jpg", "😀.jpg", "no\udcfftext.jpg"])
def test_a_file_is_told_whose_name_the_terminal_has_no_letters_for(name: str) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "joblog", "photo", "--kind", "fluid", "--jsonl", name],
        env={**os.environ, "PYTHONIOENCODING": "cp1252"},
        capture_output=True,
        check=False,
        encoding="cp1252",
    )
    assert ran.returncode == 1
    told = json.loads(ran.stdout)  # one line, and JSON
    assert told["file"] == name
    assert "Traceback" not in ran.stderr
