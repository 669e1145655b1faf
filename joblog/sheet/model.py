"""The job sheet: the written procedure for one kind of service on one kind of unit.

Every number is a ``Decimal`` with the code of its unit beside it (``lbf.ft``, ``qt_us``, ``s``: the
codes of :mod:`joblog.measure.units`). Keys are lower-case words joined by hyphens and name things
inside one sheet: steps, fluids, parts, fasteners, conditions.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

RECORDED = {"recorded": True}  # context for sheets inside records: what once was taken stays taken
MOST = 10_000_000  # no number of the trade is larger; beyond it arithmetic itself would suffer
PLACES = 6  # decimals that a sheet's number may have


def _number(value: Any, info: ValidationInfo) -> Any:
    """Take a TOML number; a text such as "10 %" or a yes/no is none."""
    if info.context == RECORDED:
        return value
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise PydanticCustomError("not_a_number", "a number without quotes or unit")
    if Decimal(value).is_finite():
        number = Decimal(value)
        if abs(number) > MOST:
            raise PydanticCustomError("absurd", "a number that a person could mean")
        if number and number != round(number, PLACES):
            raise PydanticCustomError("absurd", "a number with six decimals at most")
    return value


def _whole(value: Any, info: ValidationInfo) -> Any:
    if info.context != RECORDED and (
        isinstance(value, bool) or not isinstance(value, int | Decimal)
    ):
        raise PydanticCustomError("not_a_number", "a whole number without quotes or unit")
    return value


def _flag(value: Any, info: ValidationInfo) -> Any:
    if info.context != RECORDED and not isinstance(value, bool):
        raise PydanticCustomError("not_a_flag", "true or false, without quotes")
    return value


Number = Annotated[Decimal, BeforeValidator(_number), WithJsonSchema({"type": "number"})]
Whole = Annotated[int, BeforeValidator(_whole)]
Flag = Annotated[bool, BeforeValidator(_flag)]

Key = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Phrase = Annotated[str, StringConstraints(pattern=r"^[a-z' |()\[\]-]+$", strip_whitespace=True)]


class Part(BaseModel):
    """Base of the sheet's tables: unknown fields are mistakes, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Amount(Part):
    """A value and the code of its unit."""

    value: Number
    unit: str


class Identity(Part):
    """What this sheet is and whether its values are examples."""

    key: Key
    title: Text
    revision: Text
    summary: Text  # one plain sentence for the customer: what this service is and why
    trade: Text = "vehicle service"
    example: Flag = True  # values are examples, to be replaced from service information
    minutes: Whole | None = Field(default=None, gt=0)  # time estimate for the whole job
    next_due: NextDue | None = None


class NextDue(Part):
    """When the service is due again: whichever comes first."""

    distance: Amount | None = None
    hours: Number | None = None
    months: Whole | None = None
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
    quantity: Whole = Field(default=1, gt=0)
    fitted: str | None = None  # "flat side to the sealing face"
    say: tuple[Phrase, ...] = ()  # what it is called where it is said to be new, or used again


class Tool(Part):
    """A tool to fetch; torque wrenches carry the range on their label.

    A step that names a wrench with its ``length`` and an adapter with its ``extension`` is
    tightened through that adapter: the wrench then shows less than the fastener gets.
    """

    key: Key
    name: Text
    size: str | None = None
    say: tuple[Phrase, ...] = ()  # what a wrench is called aloud: "wrench two"
    lowest: Amount | None = None
    highest: Amount | None = None
    length: Amount | None = None  # of a wrench: centre of its drive to middle of its grip
    extension: Amount | None = None  # of a crow-foot: centre of its drive to centre of fastener
    extension_angle: Number = Decimal(0)  # degrees off the wrench's line: 0 straight out


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
    density: Number | None = None  # kg/m³ at 15 °C, for the thermal correction


class Torque(Part):
    """A tightening torque; ``tolerance`` is in the same unit, either side."""

    fastener: Text  # "drain plug"
    value: Number = Field(gt=0)
    unit: str
    tolerance: Number = Field(ge=0)
    stage: Whole = Field(default=1, gt=0)
    angle: Number | None = None  # degrees turned further after the torque
    angle_tolerance: Number | None = None  # degrees either side; 5 where nothing is said
    count: Whole = Field(default=1, gt=0)  # how many fasteners of this kind, in sequence


class Pour(Part):
    """A quantity that comes out or goes in at this step."""

    fluid: Key
    direction: Literal["in", "out"]


class Window(Part):
    """A reading counts only between ``opens`` and ``closes`` seconds after step ``since``."""

    since: Key
    opens: Number = Field(ge=0)
    closes: Number | None = None


class PhotoWanted(Part):
    """A photo that documents the step."""

    kind: Literal["plug", "dipstick", "fluid", "label", "other"]
    phase: Literal["before", "after", "once"] = "once"
    required: Flag = True
    plug_diameter_mm: Number | None = None
    mark_distance_mm: Number | None = None


class ReadingWanted(Part):
    """A value that the technician says at this step."""

    name: Text  # "fluid temperature"
    unit: str
    low: Number | None = None
    high: Number | None = None
    required: Flag = True


class DebrisLimits(Part):
    """When a plug's debris means something; defaults are common practice, no source."""

    flake_mm: Number = Decimal("1.0")  # a flake this long is shown to the customer
    flakes: Whole = 3  # this many flakes of 0.3 mm and more are shown
    film_coverage: Number = Decimal("0.8")  # more film than this is compared with last time


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
    optional: Flag = False
    undoes: tuple[Key, ...] = ()  # steps to be done again once this one is done after them
    checks_unit: Flag = False  # the step that makes sure that sheet and unit belong together
    parts: tuple[Key, ...] = ()
    tools: tuple[Key, ...] = ()
    torque: Torque | None = None
    pour: Pour | None = None
    window: Window | None = None
    photo: PhotoWanted | None = None
    reading: ReadingWanted | None = None
    minutes: Number | None = None


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
