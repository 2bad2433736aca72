"""Our feeds per tooth against the values printed in the named works, inch."""

from __future__ import annotations

import pytest

from chatter.trade import cutting_data as data

INCH = 0.0254


def row(form, material, size=None, teeth=1):
    """Low, start and high [in]."""
    size_m = None if size is None else size * INCH
    one = data.chip_row(form, material, size_m, size_m, teeth)
    return one.low_m / INCH, one.start_m / INCH, one.high_m / INCH


#: A cutter maker's technical data page: HSS start values.
MAKER = [
    ("face_mill", "low_carbon_steel", None, 1, 0.007),
    ("side_and_face", "low_carbon_steel", 0.4, 1, 0.003),  # slot milling with side mills
    ("side_and_face", "low_carbon_steel", 0.4, 2, 0.005),  # straddle milling
    ("slab", "low_carbon_steel", None, 1, 0.004),
    ("slab", "low_carbon_steel", None, 2, 0.008),
    ("end_mill", "low_carbon_steel", 0.5, 1, 0.002),  # under 1 1/2 in: .0002-.002
    ("end_mill", "low_carbon_steel", 0.125, 0, 0.0002),
    ("slitting_saw", "low_carbon_steel", 0.125, 0, 0.0005),  # sawing: .0005-.001
    ("slitting_saw", "low_carbon_steel", 0.125, 1, 0.001),
    # Laboratory table: side mill and face mill
    ("side_and_face", "aluminium", 0.4, 2, 0.010),
    ("staggered_tooth", "brass", 0.4, 2, 0.010),
    ("side_and_face", "grey_cast_iron_soft", 0.4, 2, 0.009),
    ("side_and_face", "grey_cast_iron_soft", 0.4, 1, 0.004),
    ("face_mill", "aluminium", None, 2, 0.020),
    ("face_mill", "brass", None, 2, 0.020),
    ("face_mill", "grey_cast_iron_soft", None, 2, 0.016),
    ("face_mill", "grey_cast_iron_hard", None, 1, 0.004),
    # The Ferrous Metals Data Book: face milling 0.15 in deep, below 225 HB and 275-325 HB
    ("face_mill", "medium_carbon_steel", None, 2, 0.012),
    ("face_mill", "alloy_steel_hard", None, 2, 0.009),
    # Parting, two texts
    ("parting_tool", "low_carbon_steel", None, 1, 0.002),
    # Navy text 14345 and a drill-press manual: feed a turn by diameter
    ("drill", "low_carbon_steel", 0.125, 2, 0.002),
    ("drill", "low_carbon_steel", 0.25, 0, 0.002),
    ("drill", "low_carbon_steel", 0.25, 2, 0.004),
    ("drill", "low_carbon_steel", 0.5, 0, 0.004),
    ("drill", "low_carbon_steel", 0.5, 2, 0.007),
    ("drill", "low_carbon_steel", 1.0, 2, 0.015),
    ("drill", "low_carbon_steel", 2.0, 2, 0.025),
    ("reamer", "low_carbon_steel", 0.5, 1, 0.002),
]


@pytest.mark.parametrize(("form", "material", "size", "which", "inches"), MAKER)
def test_printed_feeds(form, material, size, which, inches) -> None:
    assert row(form, material, size)[which] == pytest.approx(inches)


#: A maker's page, solid carbide, start values at 1/8, 1/4, 1/2, 3/4, 1 in; aluminium: another.
CARBIDE = {
    "low_carbon_steel": (0.0005, 0.001, 0.003, 0.0045, 0.0065),
    "grey_cast_iron_medium": (0.0005, 0.001, 0.003, 0.005, 0.007),
    "brass": (0.001, 0.002, 0.003, 0.004, 0.005),
    "stainless_steel": (0.0005, 0.001, 0.003, 0.004, 0.006),
    "aluminium": (0.001, 0.002, 0.004, 0.006, 0.007),
}


@pytest.mark.parametrize("material", CARBIDE)
def test_end_mills_start_at_or_below_a_makers_carbide(material) -> None:
    for size, printed in zip((0.125, 0.25, 0.5, 0.75, 1.0), CARBIDE[material], strict=True):
        low, start, high = row("end_mill", material, size)
        assert 0.3 * printed <= start <= printed
        assert low < 0.7 * printed and high <= 2.0 * printed


def test_end_mills_by_the_share_of_the_diameter() -> None:
    """A maker's guide: steel and iron .005-.010 D, alloy .003-.008 D, stainless .002-.007 D."""
    for material, least, most in (
        ("low_carbon_steel", 0.004, 0.010),
        ("alloy_steel_hard", 0.002, 0.008),
    ):
        for size in (0.125, 0.25, 0.375, 0.5, 0.75, 1.0):
            _, start, high = row("end_mill", material, size)
            assert least * size * 0.99 <= start < high <= most * size


def test_two_that_were_off() -> None:
    """Three eighths in mild steel .0015-.002, half an inch in aluminium .003-.005."""
    assert 0.0015 <= row("end_mill", "low_carbon_steel", 0.375)[1] <= 0.002
    assert 0.003 <= row("end_mill", "aluminium", 0.5)[1] <= 0.005


#: Laboratory table, lathe: finish and rough, in a turn.
@pytest.mark.parametrize(
    ("material", "finish", "rough"),
    [
        ("aluminium", (0.005, 0.010), (0.015, 0.025)),
        ("brass", (0.003, 0.010), (0.015, 0.025)),
        ("low_carbon_steel", (0.003, 0.010), (0.010, 0.020)),
        ("stainless_steel", (0.003, 0.010), (0.010, 0.020)),
    ],
)
def test_turning(material, finish, rough) -> None:
    _, start, high = row("single_point", material)
    assert finish[0] <= start <= finish[1] and rough[0] <= high <= rough[1]
    assert row("boring_bar", material)[2] <= 0.008


def test_saws_take_a_quarter_to_an_eighth_of_a_plain_mill() -> None:
    # common practice, no source
    saw = row("slitting_saw", "low_carbon_steel", 0.125)[1]
    slab = row("slab", "low_carbon_steel")
    assert slab[2] / 8 <= saw <= slab[1] / 4
