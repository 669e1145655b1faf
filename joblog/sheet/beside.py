"""A sheet among those that lie beside it.

The sheet that does apply must exist there, or be shipped, and be for that unit. No other file has
its key.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from joblog.sheet.check_readings import same_unit
from joblog.sheet.complaints import Complaint, Found
from joblog.sheet.model import Sheet

MOST_FILES = 200  # a folder with more sheets than this is no folder of sheets


def rule_beside(
    folder: Path, shipped: dict[str, Path], own: Path | None = None
) -> Callable[[Sheet], Found]:
    """Return the rule for a sheet that lies in ``folder``, in the file ``own`` where it has one."""

    def beside(sheet: Sheet) -> Found:
        yield from named_sheets(sheet)
        if own is not None:
            yield from _twins(sheet, _sheets_in(folder), own)
            yield from _takes_a_place(sheet, shipped.get(own.stem), own)

    def named_sheets(sheet: Sheet) -> Found:
        wanted = [(i, e) for i, e in enumerate(sheet.applies.not_to) if e.use]
        if not wanted:
            return
        units = {**_units(shipped.values()), **_units(_sheets_in(folder))}
        for i, exclusion in wanted:
            path = ("applies", "not_to", i, "use")
            use = exclusion.use or ""
            if use == sheet.sheet.key:
                continue  # told elsewhere
            if use not in units:
                have = ", ".join(sorted(units))
                yield Complaint(
                    path,
                    f"there is no sheet '{use}' beside this one, nor is it shipped; "
                    f"write one of {have}, or take 'use' out",
                )
            elif units[use] and not any(same_unit(exclusion.unit, one) for one in units[use]):
                yield Complaint(
                    path,
                    f"the sheet '{use}' is for {' or '.join(units[use])}, not for "
                    f"{exclusion.unit}; name the sheet that is",
                )

    return beside


def _sheets_in(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.toml"))[:MOST_FILES]


def _twins(sheet: Sheet, files: list[Path], own: Path) -> Found:
    """Remark on other files with the key of this one: nobody could tell which of them was used."""
    key = sheet.sheet.key
    twins = [f.name for f in files if f.name != own.name and key in _units([f])]
    if twins:
        more = f" and {len(twins) - 1} more files" if len(twins) > 1 else ""
        yield Complaint(
            ("sheet", "key"),
            f"'{key}' is the key of {twins[0]}{more}, too; give each its own, or take one away",
            remark=True,
        )


def _takes_a_place(sheet: Sheet, shipped: Path | None, own: Path) -> Found:
    """Remark on a file that would hide a shipped sheet by its name, though it has another key."""
    if shipped is None or shipped.resolve() == own.resolve() or sheet.sheet.key == own.stem:
        return
    yield Complaint(
        ("sheet", "key"),
        f"a file called {own.name} takes the place of the shipped sheet '{own.stem}'; call it "
        f"{sheet.sheet.key}.toml, unless that is meant",
        remark=True,
    )


def _units(files: Any) -> dict[str, list[str]]:
    """Return key -> unit types of every file that can be read as a sheet at all."""
    found: dict[str, list[str]] = {}
    for file in files:
        try:
            data = tomllib.loads(file.read_text("utf-8-sig"))
            found[str(data["sheet"]["key"])] = [
                str(u) for u in data.get("applies", {}).get("to", [])
            ]
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            continue  # not a sheet, or one whose own check says what is wrong
    return found
