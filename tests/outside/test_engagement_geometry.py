"""Teeth in the cut and chip thickness: worked values, and a count of teeth by brute force."""

from __future__ import annotations

import math

import pytest

from chatter.job.cutter import Cutter
from chatter.trade.engagement import engagement


def saw(teeth: int, diameter_m: float) -> Cutter:
    return Cutter(teeth, form="slitting_saw", diameter_m=diameter_m)


# N arccos(1 - 2 ae/D) / 2 pi with D 100 mm, N 80: exact, rounded as given
@pytest.mark.parametrize(
    ("depth_mm", "degrees", "teeth"), [(10, 36.870, 8.193), (25, 60.0, 13.33), (50, 90.0, 20.0)]
)
def test_teeth_in_a_slot(depth_mm: float, degrees: float, teeth: float) -> None:
    made = engagement(saw(80, 0.1), depth_mm * 1e-3, None)
    assert math.degrees(made.angle_rad) == pytest.approx(degrees, abs=5e-4)
    assert made.teeth == pytest.approx(teeth, abs=4e-3)


# h_max = 2 f_z sqrt(x (1 - x)): exact, rounded as given
@pytest.mark.parametrize(("x", "share"), [(0.05, 0.4359), (0.1, 0.6), (0.25, 0.8660), (0.5, 1.0)])
def test_chip_thinning(x: float, share: float) -> None:
    assert engagement(saw(80, 0.1), x * 0.1, None).chip_max == pytest.approx(share, abs=5e-5)


def brute(centre: float, arc: float) -> tuple[float, float]:
    """(thickest, mean) chip as shares of f_z over an arc, h = f_z sin(phi), by small steps."""
    steps = 20000
    h = [math.sin(centre - arc / 2 + arc * (i + 0.5) / steps) for i in range(steps)]
    return max(h), sum(h) / steps


@pytest.mark.parametrize("x", [0.02, 0.1, 0.3, 0.5, 0.7, 1.0])
def test_arc_from_one_side_by_brute_force(x: float) -> None:
    made = engagement(saw(12, 0.05), x * 0.05, None)
    # a tooth at angle phi from the start stands R (1 - cos phi) deep: count those in the slot
    steps = 200000
    inside = sum(0.5 * (1 - math.cos(math.pi * (i + 0.5) / steps)) < x for i in range(steps))
    assert made.teeth == pytest.approx(12 * 0.5 * inside / steps, rel=1e-3)
    thickest, mean = brute(made.angle_rad / 2, made.angle_rad)
    assert made.chip_max == pytest.approx(thickest, rel=1e-3)
    assert made.chip_mean == pytest.approx(mean, rel=1e-3)


@pytest.mark.parametrize("x", [0.2, 0.6, 1.0])
def test_face_mill_on_the_centre_line_by_brute_force(x: float) -> None:
    cutter = Cutter(6, form="face_mill", diameter_m=0.1)
    made = engagement(cutter, 0.002, x * 0.1)
    thickest, mean = brute(math.pi / 2, 2 * math.asin(x))
    assert made.chip_max == pytest.approx(thickest, rel=1e-6)
    assert made.chip_mean == pytest.approx(mean, rel=1e-6)


def test_approach_is_the_half_chord() -> None:
    # sqrt(d (D - d)), as textbooks of manufacturing give it: D 100, d 20 -> 40 mm exactly
    assert engagement(saw(40, 0.1), 0.02, None).approach_m == pytest.approx(0.04)
    face = engagement(Cutter(6, form="face_mill", diameter_m=0.1), 0.002, 0.08)
    # (D - sqrt(D^2 - w^2)) / 2: D 100, w 80 -> 20 mm exactly
    assert face.approach_m == pytest.approx(0.02)


def test_full_slot_of_an_end_mill_holds_half_its_teeth() -> None:
    made = engagement(Cutter(4, form="end_mill", diameter_m=0.01), 0.005, 0.01)
    assert (made.teeth, made.chip_max) == (2.0, 1.0)
    assert made.chip_mean == pytest.approx(2 / math.pi)


def test_unknown_sizes_give_no_answer() -> None:
    assert engagement(Cutter(4), 0.01, 0.01) is None
    assert engagement(saw(40, 0.1), None, 0.01) is None
    assert engagement(saw(40, 0.1), 0.11, None) is None
    assert engagement(Cutter(1, form="single_point"), None, None).teeth == 1.0
