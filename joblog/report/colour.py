"""A plain name for a measured colour, such as 'dark brown'."""

from __future__ import annotations

from math import atan2, degrees, hypot

from joblog.report.language import Language

_GREY_CHROMA = 9.0  # below this, people call a colour grey, black or white
_DARK, _LIGHT = 35.0, 70.0  # L* below and above which a colour is called dark or light


def colour_name(t: Language, lightness: float, a: float, b: float) -> str:
    """Return a name for CIELAB (D65): hue by angle, then dark or light.

    The limits are the author's choice for oils on white paper [common practice, no source]; the
    three numbers are always printed beside the name.
    """
    chroma, hue = hypot(a, b), degrees(atan2(b, a)) % 360
    if lightness < 18:
        return t.say("nearly black")
    if chroma < _GREY_CHROMA:
        return t.say("grey") if lightness < 85 else t.say("clear")
    names = (
        (20.0, t.say("pink red"), t.say("dark red"), t.say("pink")),
        (45.0, t.say("red"), t.say("dark red"), t.say("light red")),
        (75.0, t.say("brown orange"), t.say("dark brown"), t.say("amber")),
        (105.0, t.say("yellow brown"), t.say("dark brown"), t.say("straw yellow")),
        (180.0, t.say("green"), t.say("dark green"), t.say("light green")),
        (290.0, t.say("blue"), t.say("dark blue"), t.say("light blue")),
        (345.0, t.say("purple"), t.say("dark purple"), t.say("pink")),
        (361.0, t.say("pink red"), t.say("dark red"), t.say("pink")),
    )
    _, middle, dark, light = next(row for row in names if hue < row[0])
    if lightness < _DARK:
        return dark
    return light if lightness > _LIGHT else middle
