"""The shop's own face on a report: name, address, logo, colour, disclaimer, warranty."""

from __future__ import annotations

import base64
import re
import tomllib
from datetime import tzinfo
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    field_validator,
)
from pydantic_core import ErrorDetails

from joblog.errors import InputError
from joblog.measure.colour import srgb_to_linear
from joblog.report.language import Language
from joblog.report.quantity import Paper, Units
from joblog.sheet.slips import slip_in

SETTINGS = "shop.toml"  # beside the records
_LARGEST_LOGO = 2_000_000  # bytes; a letterhead needs far less
_LEAST_CONTRAST = 4.5  # WCAG 2.2, 1.4.3, text on white

Line = Annotated[str, StringConstraints(max_length=300, strip_whitespace=True)]
Paragraph = Annotated[str, StringConstraints(max_length=4000, strip_whitespace=True)]


class ShopSettings(BaseModel):
    """What a shop may set about its reports. ``logo`` is base64 of a PNG or JPEG."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Line = ""
    address: tuple[Line, ...] = Field(default=(), max_length=8)
    phone: Line = ""
    email: Line = ""
    web: Line = ""
    accent: str = "#22505c"
    logo: str = ""
    time_zone: Line = "UTC"
    disclaimer: Paragraph = ""
    warranty: Paragraph = ""
    # How reports are made where nobody chooses; what was chosen, a report keeps by itself.
    language: Line = Field(default="en", exclude=True)
    units: Units = Field(default="us", exclude=True)
    paper: Paper = Field(default="a4", exclude=True)

    @field_validator("language")
    @classmethod
    def _known(cls, code: str) -> str:
        try:
            Language.find(code)
        except InputError as error:
            raise ValueError(str(error)) from error
        return code

    @field_validator("accent")
    @classmethod
    def _readable(cls, colour: str) -> str:
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", colour):
            raise ValueError("write the colour as '#' and six hex digits, such as '#22505c'")
        if contrast_on_white(colour) < _LEAST_CONTRAST:
            raise ValueError(
                f"the colour {colour} is too pale to read on white paper; choose a darker one"
            )
        return colour.lower()


def contrast_on_white(colour: str) -> float:
    """Return the contrast of '#rrggbb' against white, 1..21 (WCAG 2.2, relative luminance)."""
    red, green, blue = (srgb_to_linear(int(colour[i : i + 2], 16)) for i in (1, 3, 5))
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    return 1.05 / (luminance + 0.05)


def load_settings(path: Path) -> ShopSettings:
    """Return the settings in a TOML file; ``logo`` there is a path relative to the file.

    Raises InputError that names the file and the field.
    """
    try:
        text = path.read_text(encoding="utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise InputError(
            f"the shop settings {path} can't be read: save the file as UTF-8 text"
        ) from error
    except OSError as error:
        raise InputError(f"the shop settings {path} can't be read: {error.strerror}") from error
    try:
        fields = tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, and numbers of thousands of digits
        line, wrong = slip_in(text, str(error))
        raise InputError(f"the shop settings {path} can't be read: line {line}: {wrong}") from error
    fields = fields.get("shop", fields)
    if not isinstance(fields, dict):
        raise InputError(f"the shop settings {path} can't be read: write [shop] as a table")
    if isinstance(fields.get("logo"), str) and fields["logo"]:
        fields["logo"] = _logo(path.parent / fields["logo"])
    try:
        return ShopSettings.model_validate(fields)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the file"
        raise InputError(
            f"the shop settings {path} have a mistake in {place}: {_told(first)}"
        ) from error


def _told(detail: ErrorDetails) -> str:
    """Return a mistake of form in the words of who writes the file."""
    if detail["type"] == "extra_forbidden":
        fields = list(ShopSettings.model_fields)
        near = get_close_matches(str(detail["loc"][-1]), fields, n=1)
        way = f"write '{near[0]}'" if near else f"there are {', '.join(fields)}"
        return f"there is no such field; {way}"
    if detail["type"] == "literal_error":
        return f"write {(detail.get('ctx') or {}).get('expected', 'one of its words')}"
    if detail["type"] == "string_type":
        return "write text in quotes"
    if detail["type"] in ("tuple_type", "list_type"):
        return 'write a list: address = ["14 Harrow Lane", "Millbrook"]'
    return detail["msg"].removeprefix("Value error, ")


def shop_zone(folder: Path) -> tzinfo | None:
    """Return the time zone that ``shop.toml`` in the records' folder names, None for none named.

    Raises InputError for a mistake in the file, or a zone that nobody knows.
    """
    path = folder / SETTINGS
    settings = load_settings(path) if path.exists() else ShopSettings()
    if "time_zone" not in settings.model_fields_set:
        return None
    try:
        return ZoneInfo(settings.time_zone)
    except (OSError, ValueError, LookupError) as error:  # unknown, a folder, a way out of them
        raise InputError(
            f"the time zone {settings.time_zone!r} in {path} is unknown; write one such as "
            "'Europe/London'"
        ) from error


def _logo(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"the logo {path} can't be read: {error}") from error
    if len(data) > _LARGEST_LOGO:
        raise InputError(f"the logo {path} is larger than 2 MB; save a smaller one")
    return base64.b64encode(data).decode()
