"""Colour: sRGB to CIE Lab under D65 and back, and the difference CIEDE2000.

Values come from photos, so they are floats. [standard: IEC 61966-2-1; CIE 15; ISO/CIE 11664-6]
"""

from __future__ import annotations

import math

from joblog.errors import InputError

Lab = tuple[float, float, float]

# Linear sRGB to XYZ under D65 (IEC 61966-2-1); the white point is the sum of each row, so that
# equal red, green and blue come out with a* = b* = 0.
_TO_XYZ = (
    (0.4124, 0.3576, 0.1805),
    (0.2126, 0.7152, 0.0722),
    (0.0193, 0.1192, 0.9505),
)
_WHITE = tuple(sum(row) for row in _TO_XYZ)
_EPSILON = (6 / 29) ** 3
_KAPPA = (29 / 6) ** 2 / 3


def srgb_to_linear(channel: float) -> float:
    """Return the light, 0 to 1, of an sRGB channel of 0 to 255 (IEC 61966-2-1)."""
    value = channel / 255
    return value / 12.92 if value <= 0.04045 else math.pow((value + 0.055) / 1.055, 2.4)


def _encoded(linear: float) -> float:
    value = 12.92 * linear if linear <= 0.0031308 else 1.055 * math.pow(linear, 1 / 2.4) - 0.055
    return value * 255


def _f(ratio: float) -> float:
    return math.cbrt(ratio) if ratio > _EPSILON else _KAPPA * ratio + 4 / 29


def _f_inverse(value: float) -> float:
    return value**3 if value > 6 / 29 else (value - 4 / 29) / _KAPPA


def srgb_to_lab(red: float, green: float, blue: float) -> Lab:
    """Return L*, a*, b* (D65, 2°) of an sRGB colour with channels 0 to 255.

    Raises InputError for a channel outside 0 to 255.
    """
    if not all(0 <= channel <= 255 for channel in (red, green, blue)):
        raise InputError(f"({red}, {green}, {blue}) is no sRGB colour; channels are 0 to 255")
    linear = [srgb_to_linear(channel) for channel in (red, green, blue)]
    x, y, z = (
        _f(sum(weight * value for weight, value in zip(row, linear, strict=True)) / white)
        for row, white in zip(_TO_XYZ, _WHITE, strict=True)
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def lab_to_srgb(lab: Lab) -> tuple[int, int, int]:
    """Return the nearest sRGB colour with channels 0 to 255; what lies outside is cut off."""
    lightness, a, b = lab
    fy = (lightness + 16) / 116
    ratios = (_f_inverse(fy + a / 500), _f_inverse(fy), _f_inverse(fy - b / 200))
    xyz = [ratio * white for ratio, white in zip(ratios, _WHITE, strict=True)]
    red, green, blue = (
        max(0, min(255, round(_encoded(max(0.0, linear))))) for linear in _solve(xyz)
    )
    return red, green, blue


def _solve(xyz: list[float]) -> list[float]:
    """Return linear red, green and blue of X, Y, Z by Cramer's rule."""
    whole = _determinant([list(row) for row in _TO_XYZ])
    columns = []
    for place in range(3):
        matrix = [list(row) for row in _TO_XYZ]
        for row, value in zip(matrix, xyz, strict=True):
            row[place] = value
        columns.append(_determinant(matrix) / whole)
    return columns


def _determinant(m: list[list[float]]) -> float:
    return (
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
        - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    )


def _hue(a: float, b: float) -> float:
    return math.degrees(math.atan2(b, a)) % 360 if a or b else 0.0


def _mean_hue(h1: float, h2: float, chromatic: bool) -> float:
    # A difference of exactly 180° has no shorter way round; without the margin the rounding of the
    # platform's arctangent would choose (pair 14 of Sharma, Wu and Dalal).
    if not chromatic:
        return h1 + h2
    if abs(h1 - h2) <= 180 + 1e-9:
        return (h1 + h2) / 2
    return (h1 + h2 + (360 if h1 + h2 < 360 else -360)) / 2


def _hue_difference(h1: float, h2: float) -> float:
    difference = h2 - h1
    if difference > 180 + 1e-9:
        return difference - 360
    return difference + 360 if difference < -180 - 1e-9 else difference


def delta_e_2000(first: Lab, second: Lab) -> float:
    """Return the colour difference CIEDE2000 with kL = kC = kH = 1.

    [standard: ISO/CIE 11664-6]; tested with the 34 pairs of Sharma, Wu and Dalal (2005).
    """
    (l1, a1, b1), (l2, a2, b2) = first, second
    mean_c7 = ((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - math.sqrt(mean_c7 / (mean_c7 + 25.0**7)))
    a1, a2 = a1 * (1 + g), a2 * (1 + g)
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = _hue(a1, b1), _hue(a2, b2)
    chromatic = c1 * c2 != 0
    dl, dc = l2 - l1, c2 - c1
    angle = _hue_difference(h1, h2) if chromatic else 0.0
    dh = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(angle / 2))
    hue = _mean_hue(h1, h2, chromatic)
    return _weighted((dl, dc, dh), (l1 + l2) / 2, (c1 + c2) / 2, hue)


def _weighted(deltas: Lab, light: float, chroma: float, hue: float) -> float:
    def cos(degrees: float) -> float:
        return math.cos(math.radians(degrees))

    t = 1 - 0.17 * cos(hue - 30) + 0.24 * cos(2 * hue)
    t += 0.32 * cos(3 * hue + 6) - 0.20 * cos(4 * hue - 63)
    off = (light - 50) ** 2
    sl = 1 + 0.015 * off / math.sqrt(20 + off)
    sc = 1 + 0.045 * chroma
    sh = 1 + 0.015 * chroma * t
    turn = 30 * math.exp(-(((hue - 275) / 25) ** 2))
    rc = 2 * math.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    rt = -math.sin(math.radians(2 * turn)) * rc
    l_part, c_part, h_part = deltas[0] / sl, deltas[1] / sc, deltas[2] / sh
    return math.sqrt(max(0.0, l_part**2 + c_part**2 + h_part**2 + rt * c_part * h_part))


def astm_colour_is_valid(value: float) -> bool:
    """Say whether a number is an ASTM Color: 0.5 to 8.0 in steps of 0.5.

    [standard: ASTM D1500-12(2017), 1.1]; the steps [from memory, unverified]. It is a visual match
    against coloured glasses: no such number is ever given for a photo or for dyed fluid.
    """
    return 0.5 <= value <= 8.0 and value * 2 == int(value * 2)


def astm_colour_between(lower: float, upper: float) -> tuple[float, str]:
    """Return what is reported for a match between two neighbouring glasses, such as 3.5, 'L3.5'.

    The higher of the two [standard: ASTM D1500-12(2017)]; the prefix [from memory, unverified].
    """
    if not (astm_colour_is_valid(lower) and upper == lower + 0.5 and astm_colour_is_valid(upper)):
        raise InputError(f"{lower} and {upper} are no neighbouring glasses of ASTM D1500")
    return upper, f"L{upper:.1f}"
