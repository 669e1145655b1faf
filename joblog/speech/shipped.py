"""What is shipped beside the speech model, and how it is seen that nobody altered it.

``shipped.sha256`` holds one line a file, as ``sha256sum`` writes it. Whoever makes one of these
files anew (``joblog bench fit``, ``tools/adapter``) writes its line anew with :func:`note_shipped`.
Files that somebody names instead of the shipped ones have no hash here and are not checked.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from joblog.errors import ModelError

FOLDER = Path(__file__).parent
LIST = "shipped.sha256"


def check_shipped(path: Path, folder: Path = FOLDER) -> None:
    """Raise ModelError where a shipped file is missing or altered; names it and both hashes."""
    wanted = _hashes(folder).get(_name(path, folder))
    if wanted is None:
        raise ModelError(
            f"{LIST} in {folder} does not name {path.name}, so nobody can say whether it was "
            "altered; install joblog again."
        )
    try:
        found = _sha256(path)
    except OSError as error:
        raise ModelError(
            f"{path} (SHA-256 {wanted}) can't be read: {error.strerror or error}; install joblog "
            "again."
        ) from None
    if found != wanted:
        raise ModelError(
            f"{path} was altered: its SHA-256 is {found}, not {wanted}; put back the original, or "
            "install joblog again."
        )


def note_shipped(path: Path, folder: Path = FOLDER) -> None:
    """Write the line of a shipped file anew; a file that is none changes nothing."""
    hashes, name = _hashes(folder), _name(path, folder)
    if name in hashes:
        hashes[name] = _sha256(path)
        lines = "".join(f"{found}  {each}\n" for each, found in sorted(hashes.items()))
        (folder / LIST).write_bytes(lines.encode())


def _name(path: Path, folder: Path) -> str:
    """Return the file's name in the list, '' for one that lies elsewhere."""
    whole, root = path.resolve(), folder.resolve()
    return whole.relative_to(root).as_posix() if whole.is_relative_to(root) else ""


def _hashes(folder: Path) -> dict[str, str]:
    try:
        lines = (folder / LIST).read_text(encoding="utf-8").splitlines()
        return {name: found for found, name in (line.split("  ", 1) for line in lines)}
    except (OSError, ValueError) as error:
        raise ModelError(
            f"{folder / LIST} is missing or damaged ({error}); install joblog again."
        ) from None


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
