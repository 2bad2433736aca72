"""Tones of the drive: what moves with the spindle, and what only lies elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.listening.drive import moved_along

BIN_HZ = 0.5
#: Orders of a turn that a gearbox sounds, the mesh first.
ORDERS = np.array([239, 238, 240, 90, 76.7, 478, 31, 143.2])


def test_orders_that_move_together_are_the_drives():
    slow, fast = 3.0209 * ORDERS, 3.4205 * ORDERS
    assert moved_along(slow, fast, slow[0], fast[0], BIN_HZ) >= 3
    assert moved_along(fast, slow, fast[0], slow[0], BIN_HZ) >= 3


def test_wander_of_a_few_ten_thousandths_does_not_hide_it():
    rng = np.random.default_rng(3)
    slow = 3.0209 * ORDERS * (1.0 + 2e-4 * rng.standard_normal(ORDERS.size))
    fast = 3.4205 * ORDERS * (1.0 + 2e-4 * rng.standard_normal(ORDERS.size))
    assert moved_along(slow, fast, slow[0], fast[0], BIN_HZ) >= 3


@pytest.mark.parametrize(
    ("here", "there"),
    [
        pytest.param([900, 1800, 2700], [990, 1980, 2970], id="multiples of one tone"),
        pytest.param(
            [900, 899, 901, 898, 902], [990, 989, 991, 988, 992], id="side lines at the turn"
        ),
        pytest.param([900, 160, 320, 480, 640], [990, 160, 320, 480, 640], id="teeth that stayed"),
        pytest.param(
            [900, 160, 320, 480, 640], [990, 200, 400, 600, 800], id="teeth by another step"
        ),
        pytest.param([900], [990], id="a tone alone"),
        pytest.param([900, 160, 990], [990, 176, 900], id="both tones in both"),
        pytest.param([], [], id="nothing"),
    ],
)
def test_what_chatter_does_is_not_the_drive(here, there):
    """Two passes at 900 and 990 Hz: multiples, side lines and teeth go their own ways."""
    assert moved_along(np.array(here, float), np.array(there, float), 900.0, 990.0, BIN_HZ) == 0


def test_chance_does_not_make_a_drive():
    """Lines anywhere: of 2,000 pairs hardly one falls into place."""
    rng = np.random.default_rng(5)
    found = 0
    for _ in range(2000):
        here, there = (np.exp(rng.uniform(np.log(60), np.log(5000), 25)) for _ in range(2))
        found += moved_along(np.r_[900.0, here], np.r_[1010.0, there], 900.0, 1010.0, BIN_HZ) > 0
    assert found <= 6
