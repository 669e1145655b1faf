"""The demo's scenario: who says what, and which photo follows, in the order of the job."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from joblog.errors import InputError

SHEET = "transaxle-drain-fill"

# Invented shop, vehicle and people.
OPENING: dict[str, object] = {
    "shop": {
        "name": "Harrow Lane Motor Works (demonstration)",
        "address": "14 Harrow Lane, Example Town",
        "phone": "555-0142",
    },
    "unit": {
        "type": "KT-6F",
        "make": "Kestrel",
        "model": "Courier 2.0 delivery van",
        "year": "2016",
        "plate": "EXA 416",
        "engine": "2.0 four-cylinder",
        "odometer": "91240",
        "odometer_unit": "mi",
    },
    "customer": {"name": "Bramble & Rye Bakery", "contact": "Tomas Lindqvist"},
    "order": "HL-2047",
    "technician": "Imani Okafor",
    "advisor": "Priya Nair",
    "complaint": "Gearbox fluid service at 91,000 miles; gear changes have become a little slow.",
}

# What the advisor says at the desk about the technician's note.
TOLD_OF_NOTE = (
    "The left rear tire is worn on its inner edge. Please have the wheels checked before long."
)


@dataclass(frozen=True)
class Shot:
    """A photo taken right after a line."""

    path: Path
    kind: str


@dataclass(frozen=True)
class Line:
    """One utterance: its sound, who speaks, and the job time in seconds at which it is said."""

    path: Path
    at: int
    who: str
    said: str  # for tests and the README only; nothing that hears may look at it
    mean: str
    shot: Shot | None = None


def folder(name: str) -> Path:
    """Return ``sample_audio`` or ``sample_images``: beside the package, or in the checkout."""
    here = Path(__file__).resolve().parent
    for place in (here / name, here.parent.parent / name):
        if place.is_dir():
            return place
    raise InputError(
        f"The demo's {name} folder is missing; install joblog again from its checkout."
    )


def load_script() -> list[Line]:
    """Return the scenario's lines in order."""
    sounds, pictures = folder("sample_audio"), folder("sample_images")
    data = tomllib.loads((sounds / "script.toml").read_text(encoding="utf-8"))
    lines = []
    for row in data["line"]:
        minutes, seconds = row["at"].split(":")
        photo = row.get("photo")
        lines.append(
            Line(
                path=sounds / f"{row['file']}.flac",
                at=60 * int(minutes) + int(seconds),
                who=data["voices"][row["voice"]]["who"],
                said=row["say"],
                mean=row.get("mean", ""),
                shot=Shot(pictures / photo["file"], photo["kind"]) if photo else None,
            )
        )
    return lines
