"""What a report says, before it is laid out: plain data in the reader's language and units.

``Report`` is the whole of it. HTML and PDF lay out the same object, and ``to_json`` gives the bytes
that a PDF carries as ``report.json``. Every text is final; layout adds no words of its own but
those in ``labels``.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from joblog.record.entry import canonical


@dataclass(frozen=True)
class Chart:
    """A drawing with its alternative text; ``svg`` is a whole SVG document, '' for words alone."""

    key: str
    title: str
    text: str  # what the chart shows, in words, complete without the drawing
    svg: str
    wide: bool = True


@dataclass(frozen=True)
class Picture:
    """One photo: what it shows and what was measured in it. ``image`` is a key of Report.images."""

    number: int
    title: str
    figure: str  # the main measurement, big: '0.8 mm'
    caption: str  # what the figure is: 'longest flake'
    details: tuple[str, ...]
    alt: str
    image: str  # '' where the picture isn't at hand
    original: str  # SHA-256 of the photo as taken
    at: str
    usable: bool = True
    width: int = 4
    height: int = 3
    copied: bool = False  # from a copy cleared of its place: nothing in the record vouches for it


@dataclass(frozen=True)
class Pair:
    """A plug as found and afterwards, side by side; ``text`` says which is which, and the scale."""

    text: str
    image: str  # a key of Report.images
    original: str  # the two photos it was made of
    width: int
    height: int


@dataclass(frozen=True)
class Fact:
    """A label and what it says."""

    label: str
    text: str


@dataclass(frozen=True)
class Due:
    """When the service is next due: big figures joined by 'or'."""

    figures: tuple[str, ...]
    note: str
    watch: tuple[str, ...]


@dataclass(frozen=True)
class Front:
    """The page for the customer."""

    verdict: str
    came_for: tuple[str, ...]
    done: tuple[str, ...]
    found: tuple[str, ...]
    means: tuple[str, ...]
    due: Due | None
    next: tuple[str, ...]
    pictures: tuple[Picture, ...]
    people: tuple[Fact, ...]
    signature: str = ""  # image key
    signed: str = ""
    typed: str = ""  # that the name was typed and nothing drawn, and what came after the signature
    more: str = ""  # where the rest is, when not all fits


@dataclass(frozen=True)
class Struck:
    """A value that was corrected: what it was, and when it was recorded."""

    value: str
    at: str


@dataclass(frozen=True)
class Measured:
    """A value beside what was specified. ``inside`` is None where nothing is specified."""

    what: str
    value: str
    specified: str
    verdict: str
    inside: bool | None
    gauge: str  # a small SVG, or ''
    gauge_text: str
    how: str
    sure: str
    at: str
    tool: str = ""
    struck: tuple[Struck, ...] = ()
    parts: tuple[str, ...] = ()  # the amounts that a sum is made of
    mended: bool = False  # corrected or done over since: it counts no more
    stays: bool = False  # tightened too far: it counts beside a lower value later


@dataclass(frozen=True)
class Step:
    """One step in the order of work."""

    number: int
    title: str
    at: str
    status: str
    done: bool
    details: tuple[str, ...]


@dataclass(frozen=True)
class Supply:
    """A part or a fluid that was used, with the evidence for it."""

    name: str
    number: str
    amount: str
    fitted: str
    evidence: str


@dataclass(frozen=True)
class Found:
    """A finding, how it ended, and the advisor's words where there are any."""

    at: str
    kind: str
    text: str
    resolved: str
    open: bool
    original: str = ""  # the guard's own English, where the report is in another language
    explained: str = ""


@dataclass(frozen=True)
class Correction:
    """A correction: the old value, the new one, and both times."""

    what: str
    old: str
    old_at: str
    new: str
    new_at: str
    how: str


@dataclass(frozen=True)
class Caution:
    """A caution of the sheet, with its source if it names one."""

    text: str
    source: str


@dataclass(frozen=True)
class Service:
    """One service in the history of a unit."""

    date: str
    title: str
    odometer: str
    facts: tuple[str, ...]
    order: str
    hash: str


@dataclass(frozen=True)
class Shop:
    """Who made the report."""

    name: str
    lines: tuple[str, ...]
    logo: str  # image key
    logo_alt: str
    logo_ratio: str  # width over height
    accent: str  # '#rrggbb'


@dataclass(frozen=True)
class Report:
    """A whole report, ready to be laid out. ``images`` (key -> JPEG or PNG) is not in the JSON."""

    language: str
    direction: str
    paper: str
    units: str
    kind: str  # 'service' or 'history'
    title: str
    kicker: str  # 'Service report'
    subtitle: str
    order: str
    shop: Shop
    facts: tuple[Fact, ...]
    front: Front
    charts: tuple[Chart, ...]
    measured: tuple[Measured, ...]
    steps: tuple[Step, ...]
    supplies: tuple[Supply, ...]
    findings: tuple[Found, ...]
    corrections: tuple[Correction, ...]
    notes: tuple[Fact, ...]
    cautions: tuple[Caution, ...]
    pictures: tuple[Picture, ...]
    pairs: tuple[Pair, ...]
    history: tuple[Service, ...]
    example: Fact | None  # says that the sheet's values are examples, where they are
    closing: tuple[Fact, ...]  # what rules, warranty, disclaimer
    record: tuple[Fact, ...]  # what the record is and how to check it
    final_hash: str
    qr: str  # SVG
    qr_text: str
    created_at: str  # RFC 3339: the time of the last entry, never the wall clock
    times: str  # which times these are: 'Times: UTC'; '' where none are shown
    labels: dict[str, str]
    made_with: dict[str, Any]  # options, so that the report can be made again
    core: dict[str, Any]  # what the job is, in no language: compared when a report is verified
    images: dict[str, bytes] = field(default_factory=dict, repr=False, compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return everything but the pictures' bytes as plain JSON."""
        bare = asdict(self)
        del bare["images"]
        return bare

    def to_json(self) -> bytes:
        """Return canonical JSON (RFC 8785): the ``report.json`` that a PDF carries."""
        return canonical(self.to_dict())
