"""Slow cutters: where few teeth cut, the turn is the delay that regenerates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate.cutting import Metal, Teeth
from chatter.lab.simulate.ranges import ranges_development
from chatter.lab.simulate.scene import (
    MachinistStatement,
    PassPlan,
    Phone,
    Radiation,
    Scene,
    SimulatedRoom,
)
from chatter.lab.simulate.stability import (
    critical_compliance,
    judge_pass,
    ragged,
    scaled,
    strokes,
)
from chatter.lab.simulate.structure import StructureMode

COUNT, REV_MIN, CHIP = 12, 90.0, 2e-5
PLAN = PassPlan(0.0, 8.0, "conventional", 0.125, 3e-3, CHIP, 0.5, 0.5)


#: Along this the chip grows against the force, as where the arbor gives way: the usual sign.
AGAINST = np.pi / 6
#: ... along this the force grows with it, where the arc of contact is short.
WITH = np.pi / 2


def saw(heights, angle=AGAINST, rev_min=REV_MIN) -> Scene:
    """A saw on one mode; no process damping, so that the theory is plain."""
    count = COUNT
    teeth = Teeth(tuple(np.arange(count) / count), tuple(float(h) for h in heights), (1.0,) * count)
    return Scene(
        kind="chatter_hopf", regime="saw", form="slitting_saw", material="low_carbon_steel",
        diameter_m=0.1, immersion=0.146, teeth=teeth,
        metal=Metal(1.5e9, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0),
        modes=(StructureMode(400.0, 0.03, 2e7, angle),), rev_min=rev_min, droop=0.0, wander=0.0,
        passes=(PLAN,), duration_s=8.0,
        radiation=Radiation(0.0, -10.0, 20, (200.0, 5000.0), (0.01, 0.05), -2.0),
        machine=None, rub=None, room=SimulatedRoom(0.2, -10.0),
        phone=Phone(48_000, 30.0, 1, 0.0, -80.0, 0.5), stated=MachinistStatement(rev_min, count),
    )  # fmt: skip


def at_the_limit(scene: Scene, over: float = 1.15):
    """What the scene does a little beyond its limit, its teeth as they are."""
    limit = critical_compliance(scene, PLAN, steps=9, even_teeth=False)
    assert limit is not None
    answer = judge_pass(scaled(scene, over * limit), PLAN, even_teeth=False)
    assert answer.chatters and answer.kind == "hopf"
    return answer


@pytest.mark.parametrize("rev_min", [73.0, 90.0, 131.0])
@pytest.mark.parametrize(("angle", "expected"), [(AGAINST, 0.75), (WITH, 0.25)])
def test_one_tooth_that_cuts_chatters_a_quarter_beside_the_turns_grid(rev_min, angle, expected):
    # Delay of one turn: at the foot of a high lobe the wave left behind lags the tooth by
    # three quarters of a wave (Tlusty; from memory), so f T_turn = m - 1/4; where the force
    # grows with the motion instead, it is a quarter and f T_turn = m + 1/4.  Within an eighth:
    # 15 % beyond the limit is not at it, and the noise-free run is some turns long.
    heights = np.full(COUNT, -1e-3)
    heights[3] = 0.0
    answer = at_the_limit(saw(heights, angle, rev_min))
    part = answer.frequency_hz * 60 / rev_min % 1.0
    assert part == pytest.approx(expected, abs=0.12)


def test_even_teeth_chatter_a_quarter_below_the_teeths_grid():
    scene = saw(np.zeros(COUNT))
    limit = critical_compliance(scene, PLAN, steps=9)
    answer = judge_pass(scaled(scene, 1.15 * limit), PLAN)
    part = answer.frequency_hz * 60 / (REV_MIN * COUNT) % 1.0
    # One and a half teeth cut on the mean, and the chip changes along the arc: wider.
    assert part == pytest.approx(0.75, abs=0.2)


def test_runout_moves_chatter_to_the_turns_grid():
    """With a runout of many chips some neighbouring teeth cut, all others run free."""
    out = 30 * CHIP * np.cos(2 * np.pi * np.arange(COUNT) / COUNT)
    scene = saw(out)
    cut = strokes(scene.teeth, PLAN)
    assert ragged(scene.teeth, PLAN) and 1 <= np.sum(cut > 0.05) <= 4
    answer = at_the_limit(scene)
    assert 0.55 < answer.frequency_hz * 60 / REV_MIN % 1.0 < 0.98


def test_strokes_are_those_of_the_rigid_cut():
    even = strokes(saw(np.zeros(COUNT)).teeth, PLAN)
    np.testing.assert_allclose(even, 1.0)
    low = np.zeros(COUNT)
    low[4] = -1e-3
    cut = strokes(saw(low).teeth, PLAN)
    # Angles grow with time: the tooth of the next smaller angle cuts what was left.
    assert cut[4] == 0 and cut[3] == pytest.approx(2.0)
    assert np.delete(cut, [3, 4]) == pytest.approx(1.0)


def test_half_of_all_cuts_are_slow():
    share = sum(one.share for one in ranges_development.regimes)
    slow = [one for one in ranges_development.regimes if one.rev_min[1] <= 300]
    assert {one.form for one in slow} == {"slitting_saw", "side_and_face"}
    assert sum(one.share for one in slow) >= 0.5 * share


def test_a_high_tooth_of_a_stiff_saw_does_not_chatter():
    heights = np.zeros(COUNT)
    heights[0] = 2 * CHIP
    scene = scaled(saw(heights), 1e-3)
    assert not judge_pass(replace(scene), PLAN, even_teeth=False).chatters
