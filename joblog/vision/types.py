"""A photo and what was measured in it, as plain frozen values.

A measurement that failed is a value too: ``usable`` is false, ``why`` is one sentence that the
technician can act on, and every number is None. All positions are (x, y) in pixels of the original
picture after its EXIF orientation was applied, the centre of the top-left pixel being (0, 0).

``to_json`` gives the fields that the ``joblog photo`` command promises, ``from_json`` takes them
back; fields that a later version added are ignored, so an old reader can read a new record.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar, TypeVar

import numpy as np
from numpy.typing import NDArray

from joblog.errors import PhotoError

_T = TypeVar("_T", int, float)

Rgb = NDArray[np.uint8]
Point = tuple[float, float]
Polygon = tuple[Point, ...]


@dataclass(frozen=True, eq=False)
class Photo:
    """One picture, upright.

    ``rgb`` is uint8, shape (height, width, 3), C-contiguous sRGB at the working size; ``size`` is
    (width, height) of the original after its orientation was applied, and ``scale`` is original
    pixels per pixel of ``rgb``. ``taken_at`` is ISO 8601 text from the picture's own notes;
    ``note`` says what the reader had to choose ("first of 12 frames"), else None.
    """

    rgb: Rgb
    sha256: str
    size: tuple[int, int]
    scale: float = 1.0
    exif: dict[str, str] = field(default_factory=dict)
    taken_at: str | None = None
    note: str | None = None
    name: str = "the photo"

    def to_original(self, point: Iterable[float]) -> Point:
        """Return where an (x, y) of ``rgb`` lies in the original; centres of pixels are whole."""
        x, y = point
        return float((x + 0.5) * self.scale - 0.5), float((y + 0.5) * self.scale - 0.5)

    def polygon_to_original(self, points: Iterable[Iterable[float]]) -> Polygon:
        """Return :meth:`to_original` of every point."""
        return tuple(self.to_original(point) for point in points)


@dataclass(frozen=True)
class Ellipse:
    """A circle of the part as the camera sees it.

    ``semi_axes`` is (major, minor) in pixels; ``angle_deg`` is the direction of the major axis
    from +x towards +y (downwards), 0 to 180.
    """

    center: Point
    semi_axes: tuple[float, float]
    angle_deg: float

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return {
            "center_px": _point(self.center),
            "semi_axes_px": _point(self.semi_axes),
            "angle_deg": round(self.angle_deg, 2),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Ellipse:
        """Take back what :meth:`to_json` gave."""
        return cls(
            _to_point(data["center_px"]), _to_point(data["semi_axes_px"]), float(data["angle_deg"])
        )


@dataclass(frozen=True)
class Flake:
    """One metal particle: ``length_mm`` is its maximum Feret diameter (ISO 13322-1) in mm."""

    length_mm: float
    center_px: Point
    outline_px: Polygon

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return {
            "length_mm": round(self.length_mm, 3),
            "center_px": _point(self.center_px),
            "outline_px": _polygon(self.outline_px),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Flake:
        """Take back what :meth:`to_json` gave."""
        return cls(
            float(data["length_mm"]),
            _to_point(data.get("center_px", (0.0, 0.0))),
            _to_polygon(data.get("outline_px", ())),
        )


@dataclass(frozen=True)
class PlugReading:
    """A magnetic plug: film, flakes and the magnet's size.

    ``film_coverage`` is film / (film + bare magnet), 0 to 1, flakes counting in neither; ``flakes``
    are those of at least 0.3 mm, longest first; ``mm_per_px`` holds at the plug's end face.
    ``film_uncertainty`` is by how much the coverage may be off, ``magnet_uncertainty`` by what
    share of itself the magnet's diameter may be, each in at least 95 of 100 photos of the kind that
    was measured.
    """

    kind: ClassVar[str] = "plug"
    usable: bool
    why: str | None = None
    seconds: float = 0.0
    film_coverage: float | None = None
    film_uncertainty: float | None = None
    flakes: tuple[Flake, ...] = ()
    magnet_diameter_mm: float | None = None
    magnet_uncertainty: float | None = None
    plug_diameter_mm: float | None = None
    mm_per_px: float | None = None
    tilt_deg: float | None = None
    rim: Ellipse | None = None
    magnet: Ellipse | None = None
    film_outlines_px: tuple[Polygon, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def flake_count(self) -> int | None:
        """Number of flakes of at least 0.3 mm, None where the photo couldn't be used."""
        return len(self.flakes) if self.usable else None

    @property
    def longest_flake_mm(self) -> float | None:
        """Longest flake in mm, 0 where there is none, None where the photo couldn't be used."""
        if not self.usable:
            return None
        return max((flake.length_mm for flake in self.flakes), default=0.0)

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON values, the fields of the ``joblog photo`` contract first."""
        return {
            **_head(self),
            "film_coverage": _rounded(self.film_coverage, 4),
            "film_uncertainty": _rounded(self.film_uncertainty, 4),
            "flakes": [flake.to_json() for flake in self.flakes],
            "flake_count": self.flake_count,
            "longest_flake_mm": _rounded(self.longest_flake_mm, 3),
            "magnet_diameter_mm": _rounded(self.magnet_diameter_mm, 3),
            "magnet_uncertainty": _rounded(self.magnet_uncertainty, 3),
            "plug_diameter_mm": _rounded(self.plug_diameter_mm, 3),
            "mm_per_px": _rounded(self.mm_per_px, 6),
            "tilt_deg": _rounded(self.tilt_deg, 1),
            "rim": self.rim.to_json() if self.rim else None,
            "magnet": self.magnet.to_json() if self.magnet else None,
            "film_outlines_px": [_polygon(outline) for outline in self.film_outlines_px],
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> PlugReading:
        """Take back what :meth:`to_json` gave."""
        return cls(
            **_from_head(data),
            film_coverage=_number(data, "film_coverage"),
            film_uncertainty=_number(data, "film_uncertainty"),
            flakes=tuple(Flake.from_json(flake) for flake in data.get("flakes") or ()),
            magnet_diameter_mm=_number(data, "magnet_diameter_mm"),
            magnet_uncertainty=_number(data, "magnet_uncertainty"),
            plug_diameter_mm=_number(data, "plug_diameter_mm"),
            mm_per_px=_number(data, "mm_per_px"),
            tilt_deg=_number(data, "tilt_deg"),
            rim=Ellipse.from_json(data["rim"]) if data.get("rim") else None,
            magnet=Ellipse.from_json(data["magnet"]) if data.get("magnet") else None,
            film_outlines_px=tuple(_to_polygon(p) for p in data.get("film_outlines_px") or ()),
            notes=tuple(data.get("notes") or ()),
        )


@dataclass(frozen=True)
class DipstickReading:
    """A dipstick: the level between its marks, 0 at the lower and 1 at the upper mark.

    ``level_uncertainty`` is the half width of the interval that covers the truth in about 95 of
    100 shots, in the same unit; ``axis_px`` follows the blade's middle from tip to grip.
    """

    kind: ClassVar[str] = "dipstick"
    usable: bool
    why: str | None = None
    seconds: float = 0.0
    level_fraction: float | None = None
    level_uncertainty: float | None = None
    mark_style: str | None = None
    mark_distance_mm: float | None = None
    lower_mark_px: Point | None = None
    upper_mark_px: Point | None = None
    wet_edge_px: Point | None = None
    tip_px: Point | None = None
    blade_edges_at_level_px: tuple[Point, ...] = ()
    axis_px: Polygon = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON values, the fields of the ``joblog photo`` contract first."""
        return {
            **_head(self),
            "level_fraction": _rounded(self.level_fraction, 4),
            "level_uncertainty": _rounded(self.level_uncertainty, 4),
            "mark_style": self.mark_style,
            "mark_distance_mm": _rounded(self.mark_distance_mm, 3),
            "lower_mark_px": _point(self.lower_mark_px),
            "upper_mark_px": _point(self.upper_mark_px),
            "wet_edge_px": _point(self.wet_edge_px),
            "tip_px": _point(self.tip_px),
            "blade_edges_at_level_px": _polygon(self.blade_edges_at_level_px),
            "axis_px": _polygon(self.axis_px),
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> DipstickReading:
        """Take back what :meth:`to_json` gave."""
        return cls(
            **_from_head(data),
            level_fraction=_number(data, "level_fraction"),
            level_uncertainty=_number(data, "level_uncertainty"),
            mark_style=data.get("mark_style"),
            mark_distance_mm=_number(data, "mark_distance_mm"),
            lower_mark_px=_maybe_point(data.get("lower_mark_px")),
            upper_mark_px=_maybe_point(data.get("upper_mark_px")),
            wet_edge_px=_maybe_point(data.get("wet_edge_px")),
            tip_px=_maybe_point(data.get("tip_px")),
            blade_edges_at_level_px=_to_polygon(data.get("blade_edges_at_level_px") or ()),
            axis_px=_to_polygon(data.get("axis_px") or ()),
            notes=tuple(data.get("notes") or ()),
        )


@dataclass(frozen=True)
class FluidReading:
    """A fluid's colour on white paper, the bare paper taken as white.

    ``lab`` is CIELAB under D65 (2 degree observer), ``srgb`` the same colour as 8-bit sRGB;
    ``paper_srgb`` is the paper as the camera saw it; ``blot_outline_px`` is what was averaged.
    """

    kind: ClassVar[str] = "fluid"
    usable: bool
    why: str | None = None
    seconds: float = 0.0
    lab: tuple[float, float, float] | None = None
    srgb: tuple[int, int, int] | None = None
    paper_srgb: tuple[int, int, int] | None = None
    blot_center_px: Point | None = None
    blot_radius_px: float | None = None
    blot_outline_px: Polygon = ()
    paper_px: tuple[Polygon, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON values, the fields of the ``joblog photo`` contract first."""
        return {
            **_head(self),
            "lab": [round(value, 2) for value in self.lab] if self.lab else None,
            "srgb": list(self.srgb) if self.srgb else None,
            "paper_srgb": list(self.paper_srgb) if self.paper_srgb else None,
            "blot_center_px": _point(self.blot_center_px),
            "blot_radius_px": _rounded(self.blot_radius_px, 1),
            "blot_outline_px": _polygon(self.blot_outline_px),
            "paper_px": [_polygon(polygon) for polygon in self.paper_px],
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> FluidReading:
        """Take back what :meth:`to_json` gave."""
        return cls(
            **_from_head(data),
            lab=_maybe_triple(data.get("lab"), float),
            srgb=_maybe_triple(data.get("srgb"), int),
            paper_srgb=_maybe_triple(data.get("paper_srgb"), int),
            blot_center_px=_maybe_point(data.get("blot_center_px")),
            blot_radius_px=_number(data, "blot_radius_px"),
            blot_outline_px=_to_polygon(data.get("blot_outline_px") or ()),
            paper_px=tuple(_to_polygon(polygon) for polygon in data.get("paper_px") or ()),
            notes=tuple(data.get("notes") or ()),
        )


Reading = PlugReading | DipstickReading | FluidReading


def reading_from_json(data: Mapping[str, Any]) -> Reading:
    """Return the reading of the kind that ``data["kind"]`` names.

    Raises :class:`~joblog.errors.PhotoError` for a kind that no reading has.
    """
    kind = data.get("kind")
    if kind == PlugReading.kind:
        return PlugReading.from_json(data)
    if kind == DipstickReading.kind:
        return DipstickReading.from_json(data)
    if kind == FluidReading.kind:
        return FluidReading.from_json(data)
    raise PhotoError(f"{kind!r} is no kind of photo reading: expected plug, dipstick or fluid.")


def _head(reading: Reading) -> dict[str, Any]:
    return {
        "kind": reading.kind,
        "usable": reading.usable,
        "why": reading.why,
        "seconds": round(reading.seconds, 4),
    }


def _from_head(data: Mapping[str, Any]) -> dict[str, Any]:
    why = data.get("why")
    return {
        "usable": bool(data["usable"]),
        "why": None if why is None else str(why),
        "seconds": float(data.get("seconds", 0.0)),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _point(point: Point | None) -> list[float] | None:
    return None if point is None else [round(point[0], 2), round(point[1], 2)]


def _polygon(polygon: Polygon) -> list[list[float]]:
    return [[round(x, 1), round(y, 1)] for x, y in polygon]


def _number(data: Mapping[str, Any], key: str) -> float | None:
    value = data.get(key)
    return None if value is None else float(value)


def _to_point(pair: Any) -> Point:
    return float(pair[0]), float(pair[1])


def _maybe_point(pair: Any) -> Point | None:
    return None if pair is None else _to_point(pair)


def _to_polygon(pairs: Any) -> Polygon:
    return tuple(_to_point(pair) for pair in pairs)


def _maybe_triple(values: Any, kind: Callable[[Any], _T]) -> tuple[_T, _T, _T] | None:
    return None if values is None else (kind(values[0]), kind(values[1]), kind(values[2]))
