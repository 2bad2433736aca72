"""Zero-order milling solution: Altintas & Budak, CIRP Annals 44 (1995), 357-362.

Coefficients at whole and half immersion in closed form (exact); minima of the two-direction
case of Insperger & Stepan's parameters, computed by independent code (good to 1 %).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from chatter.trade.directions import immersion, mean_feed_factor
from chatter.trade.zero_order import Oscillator, averaged_limit
from tests.outside.two_directions import coefficients, equal_pitch_limits

PI = math.pi


@pytest.mark.parametrize("kr", [0.0, 0.3, 1.0])
def test_coefficients(kr):
    cases = {
        (0.0, PI): [[-PI * kr, -PI], [PI, -PI * kr]],
        (0.0, PI / 2): [[-1 - PI * kr / 2, -PI / 2 - kr], [PI / 2 - kr, 1 - PI * kr / 2]],
        (PI / 2, PI): [[1 - PI * kr / 2, kr - PI / 2], [kr + PI / 2, -1 - PI * kr / 2]],
    }
    for (entry, leave), expected in cases.items():
        np.testing.assert_allclose(coefficients(entry, leave, kr), expected, atol=1e-12)


MASS, FN, Z, KT, KN = 0.03993, 922.0, 0.011, 6e8, 2e8
STIFFNESS = MASS * (2 * PI * FN) ** 2


@pytest.mark.parametrize(
    ("ratio", "depth_mm", "f_c"),
    [(1.0, 0.04793, 923.6), (0.5, 0.12674, None), (0.05, 1.3114, 932.1)],
)
def test_two_direction_minima(ratio, depth_mm, f_c):
    mode = Oscillator(FN, Z, STIFFNESS)
    f = np.linspace(800.0, 1100.0, 60_001)
    g = mode.response(f)
    alpha = coefficients(*immersion(ratio, "climb"), KN / KT)
    depth, _ = equal_pitch_limits(f, g, g, alpha, 2, KT, 1)
    best = np.nanargmin(depth)
    assert depth[best] * 1e3 == pytest.approx(depth_mm, rel=2e-3)
    if f_c is not None:
        assert f[best] == pytest.approx(f_c, abs=0.1)


@pytest.mark.parametrize(("ratio", "factor"), [(1.0, 1.0e8), (0.5, -4.549e7), (0.05, -1.627e7)])
def test_mean_factor(ratio, factor):
    assert mean_feed_factor(2, *immersion(ratio, "climb"), KT, KN) == pytest.approx(
        factor, rel=5e-4
    )


def test_slot_minimum_in_one_direction():
    """2 k z (1 + z) / 1e8 = 0.29805 mm, by the closed form and by the program."""
    mode = Oscillator(FN, Z, STIFFNESS)
    f = np.linspace(922.5, 960.0, 40_001)
    alpha = coefficients(0.0, PI, KN / KT)
    depth, speed = equal_pitch_limits(f, mode.response(f), np.zeros_like(f), alpha, 2, KT, 3)
    assert np.nanmin(depth) * 1e3 == pytest.approx(0.29805, rel=1e-4)
    at = np.nanargmin(depth)
    for n in speed[1:, at]:
        found, f_c = averaged_limit(float(n), mode, (0.5, 0.5), 1.0e8)
        assert found == pytest.approx(depth[at], rel=1e-3)
        assert f_c == pytest.approx(f[at], rel=1e-3)
