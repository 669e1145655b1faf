"""Command line of the demo room."""

from __future__ import annotations

import argparse


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this room's commands."""
