"""Charts: proportions, words for those who can't see them, patterns beside colours."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from joblog.measure.units import Quantity
from joblog.measure.volume import renewal_curve
from joblog.report.charts.debris import Sizes, debris_chart
from joblog.report.charts.fluid import Volumes, renewed_chart, volume_chart
from joblog.report.charts.gauge import gauge
from joblog.report.charts.svg import text_width
from joblog.report.charts.timeline import Moments, Wait, timeline_chart
from joblog.report.charts.trend import Point, trend_chart
from joblog.report.html import render_html
from joblog.report.language import Language
from joblog.report.model import Report
from joblog.report.past import classes, flakes_by_class

EN = Language.find("en")
SVG = "{http://www.w3.org/2000/svg}"


def rects(svg: str) -> list[dict[str, float | str]]:
    return [
        {k: float(r.get(k, "0")) for k in ("x", "y", "width", "height")}
        | {"fill": r.get("fill", "")}
        for r in ET.fromstring(svg).iter(f"{SVG}rect")
    ]


def words(svg: str) -> list[str]:
    return [t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")]


def test_shares_of_new_fluid_are_those_of_the_mixing_formula() -> None:
    # 3.3 of 7.6 quarts: 43.4, 68.0, 81.9, 89.8 %; 1 - (1 - V/T)^n, perfect mixing.
    # The volumes: common practice, no source.
    curve = renewal_curve(Quantity.of("3.3", "qt_us"), Quantity.of("7.6", "qt_us"), 4)
    chart = renewed_chart(EN, "k", "fluid", list(curve), "#22505c")
    assert [w for w in words(chart.svg) if "%" in w][:4] == ["43%", "68%", "82%", "90%"]
    assert "now 43%" in chart.text
    bars = [r for r in rects(chart.svg) if r["height"] == 13]
    full = [b for b in bars if b["fill"] == "#eef1f1"]
    new = [b for b in bars if b["fill"] != "#eef1f1"]
    for bar, share, behind in zip(new, curve, full, strict=True):
        ratio = float(bar["width"]) / float(behind["width"])
        assert ratio == pytest.approx(float(share), abs=1e-3)


def test_drained_and_filled_are_drawn_to_one_scale_with_the_limits() -> None:
    volumes = Volumes(
        "fluid",
        Fraction("3.6"),
        Fraction("3.7"),
        "3.6 qt",
        "3.7 qt",
        Decimal("3.5"),
        Decimal("3.9"),
        "specified: 3.5 to 3.9 qt",
    )
    chart = volume_chart(EN, "k", volumes, "#22505c")
    out, into = (r for r in rects(chart.svg) if r["height"] == 13)
    assert float(out["width"]) / float(into["width"]) == pytest.approx(3.6 / 3.7, abs=1e-3)
    assert out["fill"] == "url(#k-cross)"  # a pattern, not only another colour
    assert "3.6 qt came out and 3.7 qt went in" in chart.text


# ISO 16232:2018 size classes by longest Feret diameter, lower limit inclusive; F to J read in
# secondary texts, K to N from memory, unverified.
@pytest.mark.parametrize(
    ("mm", "letter"),
    [
        ("0.099", ""),
        ("0.1", "F"),
        ("0.2", "H"),
        ("0.399", "H"),
        ("0.4", "I"),
        ("0.6", "J"),
        ("1.0", "K"),
        ("1.5", "L"),
        ("2", "M"),
        ("3", "N"),
        ("12", "N"),
    ],
)
def test_size_classes_are_those_of_iso_16232(mm: str, letter: str) -> None:
    assert flakes_by_class([Decimal(mm)]) == ({letter: 1} if letter else {})


def test_the_classes_shown_follow_on_each_other() -> None:
    shown = classes()
    assert [letter for letter, _, _ in shown] == list("FGHIJKLMN")
    assert [high for _, _, high in shown[:-1]] == [low for _, low, _ in shown[1:]]
    assert shown[-1][2] is None


def test_debris_columns_are_as_high_as_their_counts_and_told_apart_by_pattern() -> None:
    services = [Sizes("May", {"I": 2}), Sizes("Nov", {"I": 4, "K": 1})]
    chart = debris_chart(EN, "k", [("I", "0.4–0.6"), ("K", "1–1.5")], services, "#22505c")
    columns = [r for r in rects(chart.svg) if r["y"] != 1 and r["height"] not in (4.0, 5.0)]
    heights = {str(c["fill"]): float(c["height"]) for c in columns if float(c["height"]) > 20}
    assert heights["#22505c"] == pytest.approx(2 * heights["url(#k-hatch)"], abs=0.02)
    assert "2 of class I (0.4–0.6 mm)" in chart.text
    assert "1 of class K" in chart.text


def test_a_flake_or_two_are_told_in_a_sentence(
    new_script: Any, play: Callable[..., Any], make: Callable[..., Report]
) -> None:
    def debris(*flakes: str) -> Any:
        report = make(play(new_script(number=52), flakes=flakes))
        return report, next(c for c in report.charts if c.key == "debris")

    report, chart = debris("1.24")
    assert chart.svg == ""
    assert (
        chart.text.replace("\u00a0", " ") == "Nov 24, 2026: 1 flake found, 1.2 mm (0.05 in) long."
    )
    assert chart.text in render_html(report)
    assert debris()[1].text == "Nov 24, 2026: no flakes found."
    assert debris("0.5", "0.62", "1.24")[1].svg.startswith("<svg ")


def test_the_time_line_shows_waits_and_windows_to_scale() -> None:
    wait = Wait("Read the dipstick", 600, 645, 720, (662,), "1 min 2 s")
    chart = timeline_chart(
        EN, "k", Moments(1200, [(1, 60), (2, 600)], [30], [], [wait]), ["09:12", "09:32"], "#22505c"
    )
    waiting, window = (r for r in rects(chart.svg) if r["height"] in (8.0, 12.0) and r["x"] > 200)
    assert waiting["fill"] == "url(#k-hatch)"
    assert float(window["width"]) / float(waiting["width"]) == pytest.approx(75 / 45, abs=0.01)
    assert "read between 45 s and 2 min" in chart.text
    assert "read at 1 min 2 s" in chart.text


def test_a_long_name_of_a_wait_stands_in_two_lines() -> None:
    wait = Wait("Read the dipstick inside its window", 600, 645, 720, (662,))
    chart = timeline_chart(
        EN, "k", Moments(7200, [(1, 60)], [30], [], [wait]), ["09:12", "11:12"], "#22505c"
    )
    said = words(chart.svg)
    assert {"Read the dipstick inside", "its window"} <= set(said)
    assert "1 h" in said
    assert not any("…" in word or "h 0 min" in word for word in said)


def test_a_gauge_tells_inside_from_outside_by_shape() -> None:
    inside = gauge("a", Decimal(27), Decimal(24), Decimal(30), "inside")
    outside = gauge("b", Decimal(40), Decimal(24), Decimal(30), "outside")
    assert "<path" not in inside
    assert "<path" in outside
    middle = [e for e in ET.fromstring(inside).iter(f"{SVG}line") if e.get("y2") == "12"]
    assert float(middle[0].get("x1", "0")) == pytest.approx(32.0)  # 27 is the middle of 24 to 30
    assert gauge("c", Decimal(1), None, Decimal(2), "x") == ""


def test_a_trend_rises_where_its_values_rise() -> None:
    points = [Point("May", 0.4, "0.4 mm"), Point("Nov", 1.2, "1.2 mm")]
    chart = trend_chart(EN, "k", "Longest flake", points, "#22505c")
    assert chart.text == "May: 0.4 mm and Nov: 1.2 mm."
    line = next(e for e in ET.fromstring(chart.svg).iter(f"{SVG}path") if "L" in e.get("d", ""))
    first, last = (part.split() for part in line.get("d", "")[1:].split("L"))
    assert float(last[1]) < float(first[1])


def test_the_dates_of_a_trend_stand_apart() -> None:
    """Six dates in a row once ran into one another."""
    dates = [f"Nov {day}, 2026 09:12" for day in range(20, 26)]
    points = [Point(date, i, f"{i} mm") for i, date in enumerate(dates)]
    chart = trend_chart(EN, "k", "Longest flake", points, "#22505c")
    rows: dict[str, list[tuple[float, float]]] = {}
    root = ET.fromstring(chart.svg)
    for each in root.iter(f"{SVG}text"):
        if each.get("font-size") == "7":
            x, half = float(each.get("x", "0")), text_width(each.text or "", 7) / 2
            rows.setdefault(each.get("y", ""), []).append((x - half, x + half))
    assert len(rows) == 3
    for row in rows.values():
        assert all(left[1] < right[0] for left, right in pairwise(sorted(row)))
    assert max(float(y) for y in rows) < float(root.get("height", "0"))
    assert dates[0] in chart.text


def test_a_trend_is_broken_where_nothing_was_measured() -> None:
    values = [0.4, 0.5, None, 0.6, 1.2]
    points = [Point("May", v, "not measured" if v is None else f"{v} mm") for v in values]
    chart = trend_chart(EN, "k", "Longest flake", points, "#22505c")
    lines = [e for e in ET.fromstring(chart.svg).iter(f"{SVG}path") if "L" in e.get("d", "")]
    assert len(lines) == 2
    assert "May: not measured, " in chart.text
    assert {"not", "measured"} <= set(" ".join(words(chart.svg)).split())


def test_every_chart_of_a_report_has_a_title_and_a_description(
    full: object, make: Callable[..., Report], earlier: list[object]
) -> None:
    report = make(full, history=earlier)
    assert {c.key for c in report.charts} >= {"timeline", "debris", "trend-flake"}
    for chart in report.charts:
        root = ET.fromstring(chart.svg)
        assert root.get("role") == "img"
        assert root.findtext(f"{SVG}title") == chart.title
        assert root.findtext(f"{SVG}desc") == chart.text
        assert len(chart.text) > 15
        named = {e.get("id") for e in root.iter()}
        assert set(root.get("aria-labelledby", "").split()) <= named


def test_the_qr_code_reads_back(full: object, make: Callable[..., Report]) -> None:
    import numpy as np
    import zxingcpp

    report = make(full)
    root = ET.fromstring(report.qr)
    side = int(root.get("viewBox", "").split()[2])
    picture = np.full((side, side), 255, dtype=np.uint8)
    path = next(root.iter(f"{SVG}path")).get("d", "")
    for x, y in re.findall(r"M(\d+) (\d+)h1", path):
        picture[int(y), int(x)] = 0
    (code,) = zxingcpp.read_barcodes(np.kron(picture, np.ones((6, 6), dtype=np.uint8)))
    assert code.text == report.qr_text
    assert report.final_hash in code.text
