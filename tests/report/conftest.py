"""Jobs to report on: real entries in a hash chain, replayed over a shipped sheet."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from PIL import Image, ImageDraw

from joblog.job.replay import replay
from joblog.job.types import JobState
from joblog.record.entry import GENESIS, Entry, MediaRef, content_hash
from joblog.report.build import build_report
from joblog.report.model import Report
from joblog.sheet.load import library, sheet_from_text, sheet_text

START = datetime(2026, 11, 24, 9, 12, 0, tzinfo=UTC)
UNIT = {
    "type": "KT-6F",
    "make": "Kestrel",
    "model": "Courier 2.0",
    "year": "2016",
    "vin": "",
    "plate": "HL16 KCR",
    "engine": "2.0",
    "odometer": "88412",
    "odometer_unit": "mi",
}


def photo_jpeg(seed: int, size: tuple[int, int] = (640, 480)) -> bytes:
    """Return a small picture that differs with ``seed``."""
    image = Image.new("RGB", size, (200, 196, 188))
    draw = ImageDraw.Draw(image)
    middle, radius = (size[0] // 2, size[1] // 2), min(size) // 3
    box = (middle[0] - radius, middle[1] - radius, middle[0] + radius, middle[1] + radius)
    draw.ellipse(box, fill=(120, 122, 126), outline=(60, 60, 60), width=4)
    for i in range(seed % 7 + 1):
        x = middle[0] - radius // 2 + i * 17
        draw.line((x, middle[1], x + 9, middle[1] + 14), fill=(30, 30, 34), width=3)
    draw.text((12, 12), f"photo {seed}", fill=(40, 40, 40))
    out = BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


@dataclass
class Script:
    """A job being written down, entry by entry; ``at`` counts seconds from the start."""

    sheet_key: str = "transaxle-drain-fill"
    number: int = 1
    start: datetime = START
    entries: list[Entry] = field(default_factory=list)
    blobs: dict[str, bytes] = field(default_factory=dict)
    at: float = 0.0

    def __post_init__(self) -> None:
        self.toml = sheet_text(library()[self.sheet_key])
        self.sheet = sheet_from_text(self.toml)

    def _id(self, moment: datetime, count: int) -> str:
        stamp = int(moment.timestamp() * 1000)
        tail = hashlib.sha256(f"{self.number}/{count}".encode()).hexdigest()
        hexes = f"{stamp:012x}7{tail[:3]}8{tail[3:6]}{tail[6:18]}"
        return f"{hexes[:8]}-{hexes[8:12]}-{hexes[12:16]}-{hexes[16:20]}-{hexes[20:]}"

    @property
    def job(self) -> str:
        return self._id(self.start, 9_999_999)

    def add(
        self,
        kind: str,
        body: dict[str, Any],
        after: float = 20,
        *,
        source: str = "voice",
        by: str = "Imani Okafor",
        media: tuple[MediaRef, ...] = (),
        supersedes: Entry | None = None,
    ) -> Entry:
        """Append one entry ``after`` seconds."""
        self.at += after if self.entries else 0
        moment = self.start + timedelta(seconds=self.at)
        fields: dict[str, Any] = {
            "id": self._id(moment, len(self.entries)),
            "job": self.job,
            "seq": len(self.entries),
            "at": moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z",
            "mono": f"{1000 + self.at:.3f}",
            "boot": "boot-1",
            "source": source,
            "by": by,
            "kind": kind,
            "body": body,
            "media": [ref.model_dump() for ref in media],
            "supersedes": supersedes.id if supersedes else None,
            "prev": self.entries[-1].hash if self.entries else GENESIS,
        }
        fields["hash"] = content_hash(fields)
        entry = Entry.model_validate({**fields, "media": media})
        self.entries.append(entry)
        return entry

    def open(self, **changes: Any) -> Entry:
        """Append ``job-opened``."""
        identity = self.sheet.sheet
        body: dict[str, Any] = {
            "sheet": {
                "key": identity.key,
                "title": identity.title,
                "revision": identity.revision,
                "sha256": hashlib.sha256(self.toml.encode()).hexdigest(),
                "toml": self.toml,
            },
            "shop": {
                "name": "Harrow Lane Motor Works",
                "address": "14 Harrow Lane, Millbrook",
                "phone": "555 0142",
            },
            "unit": UNIT,
            "customer": {"name": "Bramble & Rye Bakery", "contact": "Tomas Lindqvist"},
            "order": "HL-2611-07",
            "technician": "Imani Okafor",
            "advisor": "Priya Nair",
            "complaint": "It hesitates when it sets off in the morning.",
        }
        return self.add("job-opened", body | changes, source="hand", by="Priya Nair")

    def say(
        self,
        text: str,
        kind: str,
        body: dict[str, Any],
        after: float = 20,
        *,
        sure: str = "0.97",
        supersedes: Entry | None = None,
    ) -> Entry:
        """Append a hearing and the entry that it led to."""
        hearing = {"text": text, "verdict": "accept", "confidence": sure, "engine": "whisper"}
        heard = self.add("heard", hearing | {"alternatives": [], "why": None}, after)
        return self.add(kind, body | {"heard": heard.id}, 0.4, supersedes=supersedes)

    def step(self, key: str, after: float = 45) -> Entry:
        """Append a spoken ``step-done``."""
        said = next(s.say[0] for s in self.sheet.steps if s.key == key)
        return self.say(said, "step-done", {"step": key}, after)

    def photo(
        self,
        step: str,
        kind: str,
        phase: str,
        measurement: dict[str, Any],
        after: float = 15,
        *,
        data: bytes | None = None,
        supersedes: Entry | None = None,
    ) -> Entry:
        """Append a photo with its measurement."""
        data = data or photo_jpeg(len(self.blobs))
        sha256 = hashlib.sha256(data).hexdigest()
        self.blobs[sha256] = data
        ref = MediaRef(sha256=sha256, mime="image/jpeg", role="photo", name="shot.jpg")
        body = {"step": step, "kind": kind, "phase": phase, "measurement": measurement}
        return self.add("photo", body, after, source="photo", media=(ref,), supersedes=supersedes)

    def state(self) -> JobState:
        """Return the job so far."""
        return replay(self.sheet, self.entries)

    def media(self, sha256: str) -> bytes:
        """Return a picture by its hash; KeyError where there is none."""
        return self.blobs[sha256]

    def record(self) -> bytes:
        """Return the job's ``record.jsonl``."""
        return b"".join(entry.line() + b"\n" for entry in self.entries)


def plug(film: str, *lengths: str) -> dict[str, Any]:
    """Return the measurement of a plug."""
    return {
        "usable": True,
        "why": None,
        "film_coverage": film,
        "flakes": [{"length_mm": length} for length in lengths],
        "flake_count": len(lengths),
        "longest_flake_mm": max(lengths, default="0"),
        "magnet_diameter_mm": "9.1",
    }


def stick(level: str, doubt: str = "0.03") -> dict[str, Any]:
    """Return the measurement of a dipstick."""
    return {"usable": True, "why": None, "level_fraction": level, "level_uncertainty": doubt}


def colour(*lab: str) -> dict[str, Any]:
    """Return the measurement of a fluid."""
    return {"usable": True, "why": None, "lab": list(lab), "srgb": [90, 50, 30]}


def play_full(s: Script, *, flakes: tuple[str, ...] = ("0.62", "0.41", "1.24")) -> Script:
    """Play a whole transaxle service, with a correction, a bad shot, an order slip and a note."""
    s.open()
    s.step("unit-checked")
    s.step("level", 30)
    s.say("warm up done", "step-done", {"step": "warmed-up"}, 560)
    s.say(
        "fluid temperature fifty two celsius",
        "reading",
        {"step": "warmed-up", "name": "fluid temperature", "value": "52", "unit": "degC"},
        8,
    )
    blurred = {"usable": False, "why": "too blurred: hold the phone still and tap to focus"}
    s.photo("level-before", "dipstick", "before", blurred, 25)
    s.photo("level-before", "dipstick", "before", stick("0.31"), 20)
    s.step("level-before", 6)
    s.step("chocked", 20)
    s.step("raised", 150)
    s.step("fill-plug-loose", 60)
    s.step("drain-plug-out", 50)
    s.say(
        "three point six quarts drained",
        "quantity",
        {
            "fluid": "gear-fluid",
            "direction": "out",
            "value": "3.6",
            "unit": "qt_us",
            "step": "drained",
        },
        540,
    )
    s.photo("drained", "fluid", "before", colour("31.2", "14.5", "22.8"), 20)
    s.step("drained", 5)
    s.photo("plug-as-found", "plug", "before", plug("0.44", *flakes), 30)
    s.step("plug-as-found", 4)
    s.photo("plug-cleaned", "plug", "after", plug("0.03"), 60)
    s.step("plug-cleaned", 4)
    wrong = s.say(
        "drain plug fourteen foot pounds",
        "torque",
        {"step": "drain-plug-in", "value": "14", "unit": "lbf.ft"},
        80,
        sure="0.71",
    )
    s.say(
        "correction drain plug forty foot pounds",
        "torque",
        {"step": "drain-plug-in", "value": "40", "unit": "lbf.ft"},
        9,
        supersedes=wrong,
    )
    s.step("drain-plug-in", 5)
    s.add(
        "heard",
        {
            "text": "",
            "verdict": "reject",
            "confidence": "0.12",
            "engine": "whisper",
            "alternatives": [],
            "why": "ordinary speech",
        },
        30,
    )
    for value in ("1", "1", "1", "0.7"):
        s.say(
            "quart in",
            "quantity",
            {
                "fluid": "gear-fluid",
                "direction": "in",
                "value": value,
                "unit": "qt_us",
                "step": "filled",
            },
            55,
        )
    s.step("filled", 10)
    s.say(
        "fill plug twenty seven foot pounds",
        "torque",
        {"step": "fill-plug-in", "value": "27", "unit": "lbf.ft"},
        60,
    )
    s.step("fill-plug-in", 5)
    s.step("lowered", 90)
    s.step("engine-running", 300)
    s.step("engine-off", 240)
    s.photo("level-read", "dipstick", "after", stick("0.68"), 62)
    s.step("level-read", 6)
    s.step("leak-check", 80)
    s.say(
        "note left rear hub cap was loose, pushed back on",
        "note",
        {"text": "left rear hub cap was loose, pushed back on"},
        25,
    )
    s.step("reminder-reset", 30)
    s.add("job-closed", {"how": "finished", "reason": ""}, 20)
    return s


@pytest.fixture
def new_script() -> Callable[..., Script]:
    """Return the class, for tests that write their own job."""
    return Script


@pytest.fixture
def play() -> Callable[..., Script]:
    """Return the function that plays a whole job into a script."""
    return play_full


@pytest.fixture(scope="session")
def full() -> Script:
    """Return a whole job."""
    return play_full(Script())


HOSTILE = (
    '<script>alert(1)</script><img src=x onerror=alert(2)> #panic() #read("/etc/passwd") $x$ ]] '
    "\u202egnp.exe \x00\x07\x1b[31m `code` *bold* @ref {{7*7}} {%raw%} &amp; </svg> ${1} %s {0}"
)
NAMES = (
    "שלום מרחבא – Łukasz Żółć Nguyễn Thị Ánh Имя Διογένης 👩‍🔧 🚗 " + "Donaudampfschifffahrt" * 6
)


def play_hostile(s: Script, photos: int = 60) -> Script:
    """Play a job whose every free text is hostile or hard to set, with many photos."""
    s.open(
        shop={"name": NAMES, "address": HOSTILE, "phone": HOSTILE},
        customer={"name": NAMES, "contact": HOSTILE},
        technician=HOSTILE,
        advisor=NAMES,
        complaint=HOSTILE + NAMES,
        order="A" * 70,
        unit=UNIT | {"model": NAMES, "plate": "١٢٣ 🚚", "vin": "1M8GDM9AXKP042788"},
    )
    s.step("unit-checked")
    for i in range(photos):
        kind = ("plug", "dipstick", "fluid", "label", "other")[i % 5]
        measurement = {
            "plug": plug("0.5", *[f"{0.3 + 0.1 * j:.1f}" for j in range(i % 5)]),
            "dipstick": stick("1.2"),
            "fluid": colour("22", "10", "9"),
            "label": {"usable": True, "codes": [{"text": HOSTILE}]},
            "other": {"usable": False, "why": HOSTILE},
        }[kind]
        s.photo("plug-as-found", kind, "before", measurement, data=photo_jpeg(i, (320, 240)))
    s.say(HOSTILE, "torque", {"step": "drain-plug-in", "value": "99", "unit": "lbf.ft"})
    s.say("note", "note", {"text": HOSTILE})
    for finding in s.state().findings[:2]:
        s.add("explained", {"finding": finding.key, "text": HOSTILE}, source="hand")
    s.add("job-closed", {"how": "aborted", "reason": HOSTILE})
    return s


@pytest.fixture(scope="session")
def hostile() -> Script:
    """Return a job whose every free text is hostile."""
    return play_hostile(Script(number=4))


@pytest.fixture(scope="session")
def aborted() -> Script:
    """Return a job that was stopped, with its reason."""
    s = Script(number=2)
    s.open()
    for key in ("unit-checked", "level", "warmed-up"):
        s.step(key)
    s.add("job-closed", {"how": "aborted", "reason": "the fill plug would not come loose"})
    return s


@pytest.fixture(scope="session")
def empty() -> Script:
    """Return a job that was opened and no more."""
    s = Script(number=3)
    s.open(complaint="")
    return s


@pytest.fixture(scope="session")
def earlier() -> list[JobState]:
    """Return two earlier services of the same van."""
    plugs: list[tuple[int, tuple[str, ...]]] = [(400, ("0.35",)), (200, ("0.52", "0.41", "0.9"))]
    return [
        play_full(
            Script(number=20 + days, start=START - timedelta(days=days)), flakes=lengths
        ).state()
        for days, lengths in plugs
    ]


@pytest.fixture(scope="session")
def make() -> Callable[..., Report]:
    """Return a function that builds the report of a script."""

    def build(script: Script, **options: Any) -> Report:
        return build_report(script.state(), script.media, **options)

    return build
