"""The job sheet: the written procedure for one kind of service on one kind of unit.

Every number is a ``Decimal`` with the code of its unit beside it (``lbf.ft``, ``qt_us``, ``s``: the
codes of :mod:`joblog.measure.units`). Keys are lower-case words joined by hyphens and name things
inside one sheet: steps, fluids, parts, fasteners, conditions.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Key = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Phrase = Annotated[str, StringConstraints(pattern=r"^[a-z' |()\[\]-]+$", strip_whitespace=True)]


class Part(BaseModel):
    """Base of the sheet's tables: unknown fields are mistakes, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Amount(Part):
    """A value and the code of its unit."""

    value: Decimal
    unit: str


class Identity(Part):
    """What this sheet is and whether its values are examples."""

    key: Key
    title: Text
    revision: Text
    summary: Text  # one plain sentence for the customer: what this service is and why
    trade: Text = "vehicle service"
    example: bool = True  # values are examples, to be replaced from service information
    minutes: int | None = Field(default=None, gt=0)  # time estimate for the whole job
    next_due: NextDue | None = None


class NextDue(Part):
    """When the service is due again: whichever comes first."""

    distance: Amount | None = None
    hours: Decimal | None = None
    months: int | None = None
    watch: tuple[Text, ...] = ()  # what to watch until then, in plain words


class Exclusion(Part):
    """A unit type that this sheet must not be used on, and the sheet to use instead."""

    unit: Text
    why: Text
    use: Key | None = None


class Applies(Part):
    """Which units the sheet is for; empty lists mean 'any'."""

    to: tuple[Text, ...] = ()
    not_to: tuple[Exclusion, ...] = ()
    engines: tuple[Text, ...] = ()
    vin: str | None = None  # regular expression that the VIN must match from its start


class Caution(Part):
    """A warning, shown before the job and again before the steps that it names."""

    text: Text
    steps: tuple[Key, ...] = ()
    source: str | None = None


class SparePart(Part):
    """A part that is fitted new, with how it goes in."""

    key: Key
    name: Text
    number: str | None = None
    quantity: int = Field(default=1, gt=0)
    fitted: str | None = None  # "flat side to the sealing face"


class Tool(Part):
    """A tool to fetch; torque wrenches carry the range on their label."""

    key: Key
    name: Text
    size: str | None = None
    lowest: Amount | None = None
    highest: Amount | None = None


class Fluid(Part):
    """A fluid, how much goes in at a service, and how much the unit holds in all."""

    key: Key
    name: Text
    say: tuple[Phrase, ...] = ()  # what it is called aloud, if more than one fluid is used
    specification: Text
    service: Amount | None = None
    total: Amount | None = None
    container: Amount | None = None
    tolerance: Amount | None = None  # how far the fill may differ from service or drained amount
    density: Decimal | None = None  # kg/m³ at 15 °C, for the thermal correction


class Torque(Part):
    """A tightening torque; ``tolerance`` is in the same unit, either side."""

    fastener: Text  # "drain plug"
    value: Decimal = Field(gt=0)
    unit: str
    tolerance: Decimal = Field(ge=0)
    stage: int = Field(default=1, gt=0)
    angle: Decimal | None = None  # degrees turned further after the torque
    count: int = Field(default=1, gt=0)  # how many fasteners of this kind, in sequence


class Pour(Part):
    """A quantity that comes out or goes in at this step."""

    fluid: Key
    direction: Literal["in", "out"]


class Window(Part):
    """A reading counts only between ``opens`` and ``closes`` seconds after step ``since``."""

    since: Key
    opens: Decimal = Field(ge=0)
    closes: Decimal | None = None


class PhotoWanted(Part):
    """A photo that documents the step."""

    kind: Literal["plug", "dipstick", "fluid", "label", "other"]
    phase: Literal["before", "after", "once"] = "once"
    required: bool = True
    plug_diameter_mm: Decimal | None = None
    mark_distance_mm: Decimal | None = None


class ReadingWanted(Part):
    """A value that the technician says at this step."""

    name: Text  # "fluid temperature"
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    required: bool = True


class DebrisLimits(Part):
    """When a plug's debris means something; defaults are common practice, no source."""

    flake_mm: Decimal = Decimal("1.0")  # a flake this long is shown to the customer
    flakes: int = 3  # this many flakes of 0.3 mm and more are shown
    film_coverage: Decimal = Decimal("0.8")  # more film than this is compared with last time


class Step(Part):
    """One thing to do, the phrases that mark it, and what must be true around it.

    ``sets`` and ``clears`` switch named conditions of the unit ("raised", "drained"); ``only_when``
    and ``not_while`` name conditions that must, or must not, hold when the step is done.
    """

    key: Key
    title: Text
    say: tuple[Phrase, ...] = Field(min_length=1)
    customer: str | None = None  # the step in the customer's words, past tense
    why: str | None = None  # why it is done, one plain sentence
    after: tuple[Key, ...] = ()
    before: tuple[Key, ...] = ()
    sets: tuple[Key, ...] = ()
    clears: tuple[Key, ...] = ()
    only_when: tuple[Key, ...] = ()
    not_while: tuple[Key, ...] = ()
    optional: bool = False
    parts: tuple[Key, ...] = ()
    tools: tuple[Key, ...] = ()
    torque: Torque | None = None
    pour: Pour | None = None
    window: Window | None = None
    photo: PhotoWanted | None = None
    reading: ReadingWanted | None = None
    minutes: Decimal | None = None


class Sheet(Part):
    """A whole job sheet, as loaded from TOML."""

    sheet: Identity
    applies: Applies = Applies()
    conditions: dict[
        Key, Text
    ] = {}  # key -> how it is said aloud: raised = "the vehicle is raised"
    initially: tuple[Key, ...] = ()  # conditions that hold when the job starts
    cautions: tuple[Caution, ...] = ()
    parts: tuple[SparePart, ...] = ()
    tools: tuple[Tool, ...] = ()
    fluids: tuple[Fluid, ...] = ()
    debris: DebrisLimits = DebrisLimits()
    steps: tuple[Step, ...] = Field(min_length=1)


Identity.model_rebuild()
Sheet.model_rebuild()
