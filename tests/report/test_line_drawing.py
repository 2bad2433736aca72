"""Drawings of lines: values lie where their axis says, and the SVG can stand in any page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from chatter.report.line_drawing import BAD, COOL, Axis, Sheet

MARKS = ((100.0, "100"), (1000.0, "1k"))


def a_sheet(**more) -> Sheet:
    x = Axis(100.0, 10_000.0, "frequency, Hz", MARKS, log=True)
    y = Axis(-20.0, 20.0, "level <dB>", ((-20.0, "-20"), (0.0, "0")))
    return Sheet(x, y, width_in=5.0, height_in=3.0, **more)


def elements(svg: str, tag: str) -> list[ET.Element]:
    return [one for one in ET.fromstring(svg).iter() if one.tag.endswith("}" + tag)]


def test_equal_ratios_are_equal_lengths_and_the_ends_lie_on_the_edges():
    sheet = a_sheet()
    ends = (sheet.across(100.0), sheet.across(10_000.0))
    assert ends == pytest.approx((sheet.left, sheet.right))
    assert sheet.across(1000.0) == pytest.approx(sum(ends) / 2.0)
    assert (sheet.down(-20.0), sheet.down(20.0)) == pytest.approx((sheet.bottom, sheet.top))
    assert sheet.down(0.0) == pytest.approx((sheet.bottom + sheet.top) / 2.0)


def test_what_is_drawn_lies_where_its_values_are():
    sheet = a_sheet()
    sheet.line((100.0, 1000.0), (0.0, 20.0), COOL, 2.0, dash="3 2", alpha=0.5)
    sheet.spot(1000.0, 0.0, 6.0, BAD)
    svg = sheet.svg("A drawing", "words")
    (line,) = elements(svg, "polyline")
    assert line.get("points") == (
        f"{sheet.left:.2f},{sheet.down(0.0):.2f} {sheet.across(1000.0):.2f},{sheet.top:.2f}"
    )
    assert "stroke-dasharray: 3 2" in line.get("style") and "opacity: 0.5" in line.get("style")
    (spot,) = elements(svg, "circle")
    place = (float(spot.get("cx")), float(spot.get("cy")), float(spot.get("r")))
    assert place == pytest.approx((sheet.across(1000.0), sheet.down(0.0), 3.0), abs=0.01)
    assert "var(--chatter, " in spot.get("style"), "the page's theme colours it"


@pytest.mark.parametrize(
    ("shape", "half"), [("o", "4.00"), ("s", "4.00"), ("D", "5.60"), ("^", "4.00"), ("x", "4.00")]
)
def test_every_shape_is_drawn_as_wide_as_asked(shape, half):
    sheet = a_sheet()
    before = sheet.svg("", "").count("<path") + sheet.svg("", "").count("<circle")
    sheet.spot(500.0, 1.0, 8.0, BAD, shape=shape)
    svg = sheet.svg("", "")
    assert svg.count("<path") + svg.count("<circle") == before + 1
    assert half in svg, "a lozenge is a square of that width on its corner"


def test_names_are_escaped_marks_have_a_true_minus_and_ids_their_prefix():
    sheet = a_sheet()
    sheet.line((100.0, 1000.0), (0.0, 1.0), COOL)
    sheet.text(10.0, 10.0, "<b> & co", plate=True)
    svg = sheet.svg('a "title"', "more < less", prefix="x-")
    texts = [one.text for one in elements(svg, "text")]
    assert {"<b> & co", "level <dB>", "frequency, Hz", "−20", "1k"} <= set(texts)
    assert re.findall(r'\bid="([^"]+)"', svg) == ["x-inside"]
    assert set(re.findall(r"url\(#([^)]+)\)", svg)) == {"x-inside"}
    assert ET.fromstring(svg).get("aria-label") == 'a "title"'
    assert elements(svg, "desc")[0].text == "more < less"


def test_room_beside_the_axes_is_kept_free():
    assert a_sheet(beside=100.0).right == pytest.approx(72.0 * 5.0 - 100.0)
