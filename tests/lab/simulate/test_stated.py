"""Does the machinist of a simulated scene say neither too much nor nonsense?"""

from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate import draw_scene, ranges_development
from chatter.lab.simulate.draw import _towards_flip
from chatter.lab.simulate.draw_parts import draw_stated

SAW = next(one for one in ranges_development.regimes if one.name == "saw")


def test_a_speed_held_back_by_the_ranges_is_stated_as_it_is():
    rng = np.random.default_rng(4)
    scene = draw_scene(rng, "chatter_hopf", ranges_development, regime="end_mill")
    fast = tuple(replace(one, frequency_hz=20_000.0) for one in scene.modes)
    before = scene.stated.rev_min / scene.rev_min
    scene = _towards_flip(rng, replace(scene, modes=fast))
    assert scene.rev_min == 12_000
    assert scene.stated.rev_min / scene.rev_min == pytest.approx(before, rel=0.01)


def test_what_is_stated_of_the_sides_does_not_give_rubbing_away():
    """Relief is stated of rubbing and of sound discs alike; only the odds differ."""
    rng = np.random.default_rng(1)
    scene = draw_scene(rng, "side_rubbing", ranges_development, regime="saw")
    told = {
        rubs: [
            draw_stated(rng, ranges_development, 60.0, 40, SAW, scene.rub if rubs else None, 0.1)
            for _ in range(600)
        ]
        for rubs in (True, False)
    }
    share = {
        rubs: {
            relief: np.mean([one.side_relief is relief for one in some])
            for relief in (True, False, None)
        }
        for rubs, some in told.items()
    }
    for of in share.values():  # chance alone moves a share of 600 by 0.02
        assert min(of.values()) > 0.15
    assert share[True][False] > share[False][False] + 0.04
    assert abs(share[True][None] - share[False][None]) < 0.1
    collars = [np.mean([one.collar_m is None for one in some]) for some in told.values()]
    assert abs(collars[0] - collars[1]) < 0.1


def test_a_wrong_gear_is_one_step_of_the_stated_plate():
    rng = np.random.default_rng(6)
    ranges = replace(ranges_development, wrong_gear=1.0, wrong_teeth=0.0)
    for _ in range(60):
        told = draw_stated(rng, ranges, 100.0, 40, SAW, None, 0.1)
        ratio = max(told.rev_min / 100.0, 100.0 / told.rev_min)
        # A step of the gearbox, beside a dial that is a few per cent off.
        assert 1.18 * 0.94 < ratio < 1.5 * 1.07
        if told.speeds_rev_min:
            assert min(abs(one / told.rev_min - 1) for one in told.speeds_rev_min) < 0.01
            # ... and the true speed stands on the plate too, as nearly as the dial tells it.
            assert min(abs(one / 100.0 - 1) for one in told.speeds_rev_min) < 0.07


def test_teeth_are_miscounted_by_one_or_two():
    rng = np.random.default_rng(6)
    ranges = replace(ranges_development, wrong_teeth=1.0)
    off = {draw_stated(rng, ranges, 100.0, 40, SAW, None, 0.1).teeth - 40 for _ in range(60)}
    assert off == {-2, -1, 1, 2}
