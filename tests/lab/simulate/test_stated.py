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
