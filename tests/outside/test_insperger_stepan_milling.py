"""Milling benchmark of Insperger & Stepan, Int. J. Numer. Meth. Engng 61 (2004), 117-141.

Parameters from the paper: m 0.03993 kg, fn 922 Hz, z 0.011, Kt 6e8, Kn 2e8 N/m^2, two straight
teeth, one direction along the feed, down-milling.  The limits are converged values of an
independent Chebyshev collocation (60 and 80 nodes agree to four digits), spot-checked by
time-domain simulation.  Tolerance 0.5 %: coarse first-order grids miss the 5000 rev/min slot
by 17 %, so a wrong interpolation of the delayed motion cannot pass.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from chatter.trade.directions import immersion
from chatter.trade.semidiscretization import Milling, Stepper, depth_limit
from chatter.trade.zero_order import Oscillator

MODE = Oscillator(922.0, 0.011, 0.03993 * (2 * math.pi * 922.0) ** 2)
RATIOS = (1.0, 0.5, 0.1, 0.05)
# rev/min: (depth [mm], H or F, line nearest fn [Hz]) for each radial depth / diameter
TABLE = {
    5000: ((0.4086, "H", 942.7), (0.8472, "H", 935.9), (1.2963, "H", 935.7), (2.2069, "H", 935.0)),
    8000: ((0.6764, "H", 907.3), (0.7979, "H", 899.6), (1.2204, "H", 899.9), (2.1632, "H", 900.1)),
    10000: ((0.3224, "H", 930.3), (2.1047, "F", 833.3), (2.5184, "F", 833.3), (4.0907, "F", 833.3)),
    12000: (
        (2.1493, "F", 1000.0),
        (0.6131, "H", 910.7),
        (0.9430, "H", 910.8),
        (1.6805, "H", 910.9),
    ),
    15000: ((0.3866, "H", 927.4), (2.5962, "F", 750.0), (4.3437, "F", 750.0), (8.2125, "F", 750.0)),
    17500: ((0.5076, "H", 949.2), (1.0884, "F", 875.0), (1.3757, "F", 875.0), (2.2831, "F", 875.0)),
    20000: (
        (1.4175, "F", 1000.0),
        (0.7196, "H", 903.0),
        (1.2215, "H", 902.1),
        (2.2987, "H", 901.6),
    ),
    22500: (
        (3.5414, "F", 1125.0),
        (0.6181, "H", 914.3),
        (0.9843, "H", 914.1),
        (1.7727, "H", 914.1),
    ),
    25000: (
        (3.9399, "H", 1047.2),
        (1.0377, "H", 919.3),
        (1.6288, "H", 919.1),
        (2.9117, "H", 919.2),
    ),
}


def cut(ratio: float) -> Milling:
    return Milling(MODE, (0.5, 0.5), *immersion(ratio, "climb"), 6e8, 2e8)


@pytest.mark.parametrize("n", TABLE)
@pytest.mark.parametrize("column", range(4))
def test_depth_limit(n, column):
    depth_mm, kind, line = TABLE[n][column]
    found, value = depth_limit(cut(RATIOS[column]), float(n), ceiling_m=20e-3, rel=1e-3)
    assert found * 1e3 == pytest.approx(depth_mm, rel=5e-3)
    flip = abs(value.imag) < 1e-6 and value.real < 0
    assert flip == (kind == "F")
    f_tp = 2 * n / 60
    base = abs(np.angle(value)) / (2 * np.pi) * f_tp
    family = np.array([k * f_tp + s * base for k in range(-8, 9) for s in (-1, 1)])
    assert np.abs(family - line).min() < 0.5


def test_finer_grid_agrees():
    coarse, fine = (
        depth_limit(cut(1.0), 5000.0, ceiling_m=5e-3, refine=r, rel=2e-4)[0] for r in (1.0, 3.0)
    )
    assert coarse == pytest.approx(fine, rel=2e-3)


def test_arnoldi_agrees_with_all_eigenvalues():
    stepper = Stepper(cut(0.5), 5000.0)
    depths = (0.3e-3, 0.9e-3)
    every = np.linalg.eigvals(stepper.monodromies(depths))
    assert np.abs(stepper.radii(depths)) == pytest.approx(np.abs(every).max(axis=1), rel=1e-6)
