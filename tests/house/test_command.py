"""The command itself, before any room has its word."""

import pytest

from joblog.cli import ROOMS_WITH_COMMANDS, main


def test_the_bare_command_names_its_commands(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2  # as argparse ends every wrong use
    told = capsys.readouterr().err
    for command in ("demo", "serve", "jobs", "verify", "sheet", "report", "photo"):
        assert f"    {command} " in told
    assert told.count("\n    ") >= len(ROOMS_WITH_COMMANDS)
