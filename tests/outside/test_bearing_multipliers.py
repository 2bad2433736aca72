"""Bearing and gear frequencies against published values.

* Case Western Reserve University Bearing Data Center, "Bearing information": drive end
  6205 (9 balls, ball diameter 0.3126 in, pitch diameter 1.537 in): inner ring 5.4152,
  outer ring 3.5848, cage 0.39828, rolling element 4.7135 times the running speed; fan end
  6203 (8 balls, 0.2656 in, 1.122 in): 4.9469, 3.0530, 0.3817, 3.9874.  The multipliers
  were read there; the geometry of the 6203 is from memory.  Its "rolling element" is the rate
  at which a pit on a ball strikes: twice the ball's own turn.
* Teaching example (8 balls of 2 cm on 12 cm, contact angle 15 degrees, shaft 25 Hz): 83.90,
  116.10, 10.49 and 73.06 Hz.
"""

from __future__ import annotations

from math import radians

import pytest

from chatter.job.machine import Bearing, Gear
from chatter.runin.orders import fault_order, mesh_order, multipliers

INCH = 0.0254


@pytest.mark.parametrize(
    ("balls", "ball_in", "pitch_in", "published"),
    [
        (9, 0.3126, 1.537, (3.5848, 5.4152, 4.7135, 0.39828)),
        (8, 0.2656, 1.122, (3.0530, 4.9469, 3.9874, 0.3817)),
    ],
)
def test_case_western_multipliers(balls, ball_in, pitch_in, published):
    bearing = Bearing("end", balls, ball_in * INCH, pitch_in * INCH)
    made = [fault_order(bearing, fault) for fault in ("outer", "inner", "ball", "cage")]
    # Published to four or five digits, and the geometry to four: 2e-4 is finer than any slip.
    assert made == pytest.approx(published, rel=2e-4)


def test_teaching_example_with_contact_angle():
    found = multipliers(Bearing("a", 8, 0.02, 0.12, radians(15.0)))
    hz = [25.0 * each for each in (found.outer, found.inner, found.cage, found.ball)]
    assert hz == pytest.approx([83.90, 116.10, 10.49, 73.06], abs=0.005)


def test_identities_of_any_bearing():
    """BPFO + BPFI = balls, BPFO = balls x FTF (each ball passes both rings)."""
    found = multipliers(Bearing("a", 11, 0.0111, 0.0575, 0.3))
    assert found.outer + found.inner == pytest.approx(11.0, rel=1e-12)
    assert found.outer == pytest.approx(11 * found.cage, rel=1e-12)


@pytest.mark.parametrize(("teeth", "hertz"), [(24, 600.0), (20, 500.0)])
def test_gear_mesh_at_1500_rev_min(teeth, hertz):
    """Textbook examples: teeth times shaft speed, 24 teeth at 1500 rev/min give 600 Hz."""
    assert mesh_order(Gear("a", teeth)) * 1500 / 60 == pytest.approx(hertz, rel=1e-12)


def test_mesh_through_a_train():
    """A wheel of 60 driven by a pinion of 20: the pinion turns three times, one mesh for both."""
    wheel, pinion = Gear("wheel", 60, 1.0), Gear("pinion", 20, 3.0)
    assert mesh_order(wheel) == mesh_order(pinion) == 60.0
    assert fault_order(Bearing("b", 8, 0.02, 0.12, 0.0, ratio=3.0), "outer") == pytest.approx(10.0)
