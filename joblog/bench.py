"""The ``joblog bench`` command, to which every room adds its own benchmark."""

from __future__ import annotations

import argparse
from typing import TypeAlias, cast

# argparse has no public name for it, and its class takes no parameter at run time
_SubParsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def bench_parsers(subparsers: _SubParsers) -> _SubParsers:
    """Return the subparsers of ``bench``; the first room that asks creates them."""
    known = subparsers.choices.get("bench")
    if known is None:
        parser = subparsers.add_parser("bench", help="measure joblog on labelled data")
        made = parser.add_subparsers(dest="bench", metavar="WHAT", required=True)
        parser.set_defaults(bench_parsers=made)
        return made
    return cast("_SubParsers", known.get_default("bench_parsers"))
