"""Tlusty's orthogonal limit, one mode.

Form of Schmitz & Smith, *Machining Dynamics* (2009), ch. 6, eqs 6.1.1-6.1.3:
b = -1 / (2 Ks Re G), f_c / f_tp = j + eps / 2 pi.  The table was computed from these by
independent code for k = 1e7 N/m, fn = 150 Hz, z = 0.03, Ks = 2e9 N/m^2, one tooth; the
frequency response itself comes from the ``control`` package.
"""

from __future__ import annotations

import numpy as np
import pytest

from chatter.trade import lobes

K, FN, Z, KS = 1e7, 150.0, 0.03, 2e9
B_MIN_M = 2 * K * Z * (1 + Z) / KS

# f_c [Hz], b [mm], eps [rad], speeds for j = 0..3 [rev/min]
TABLE = [
    (151.5, 0.50701, 5.642656, (10121.86, 4789.11, 3136.58, 2331.93)),
    (153.0, 0.33277, 5.116257, (11273.80, 5059.87, 3261.94, 2406.75)),
    (154.4345, 0.30900, 4.741519, (12278.85, 5280.90, 3363.81, 2467.90)),
    (157.5, 0.35305, 4.243814, (13991.21, 5640.36, 3532.15, 2571.13)),
    (165.0, 0.57686, 3.750614, (16584.89, 6199.40, 3812.20, 2752.35)),
    (180.0, 1.12945, 3.465990, (19578.36, 6960.42, 4232.59, 3040.86)),
]


@pytest.fixture(scope="module")
def response():
    control = pytest.importorskip("control")
    w = 2 * np.pi * FN
    system = control.tf([w * w / K], [1, 2 * Z * w, w * w])
    return lambda f: control.evalfr(system, 2j * np.pi * f)


def test_minimum_of_the_real_part(response):
    f = FN * np.sqrt(1 + 2 * Z)
    assert response(f).real == pytest.approx(-1 / (4 * K * Z * (1 + Z)), rel=1e-12)
    assert lobes.relative_limit_at(f / FN, Z) == pytest.approx(1.0, rel=1e-12)
    assert pytest.approx(0.30900e-3, rel=1e-9) == B_MIN_M


@pytest.mark.parametrize(("f_c", "b_mm", "eps", "speeds"), TABLE)
def test_lobe_table(response, f_c, b_mm, eps, speeds):
    b = float(lobes.relative_limit_at(f_c / FN, Z)) * B_MIN_M
    assert b * 1e3 == pytest.approx(b_mm, rel=1e-5, abs=5e-6)  # printed to five digits
    assert float(lobes.phase(f_c / FN, Z)) == pytest.approx(eps, abs=3e-5)
    assert b == pytest.approx(-1 / (2 * KS * response(f_c).real), rel=1e-12)
    # The characteristic equation is met to rounding.
    turn = 1 - np.exp(-1j * float(lobes.phase(f_c / FN, Z)))
    assert abs(1 + KS * b * response(f_c) * turn) < 1e-12
    for j, n in enumerate(speeds):
        exact = 60 * f_c / (j + float(lobes.phase(f_c / FN, Z)) / (2 * np.pi))
        # The table's f_c is rounded to 1e-6, and the speed follows the phase 3 times as fast.
        assert exact == pytest.approx(n, rel=4e-6)


@pytest.mark.parametrize(("f_c", "b_mm", "eps", "speeds"), TABLE)
def test_limit_at_a_speed_and_back_to_the_mode(f_c, b_mm, eps, speeds):
    """The limit found at the table's speeds is the table's depth, where no other lobe cuts it."""
    for n in speeds:
        limit, at = lobes.relative_limit(n / 60, FN, Z)
        assert limit[0] * B_MIN_M * 1e3 <= b_mm * (1 + 1e-4)
        if abs(at[0] - f_c) < 1.0:
            assert limit[0] * B_MIN_M * 1e3 == pytest.approx(b_mm, rel=1e-4)
        fn, back = lobes.natural_frequency(f_c, n / 60, Z)
        assert back == pytest.approx(eps, abs=1e-4)
        assert fn == pytest.approx(FN, rel=1e-5)


def test_lobes_by_a_slow_sweep():
    """The root finder against the plain definition: all f_c, all j, lowest depth."""
    f = FN * np.linspace(1.0 + 1e-6, 3.0, 400_001)
    b, eps = lobes.relative_limit_at(f / FN, Z), lobes.phase(f / FN, Z)
    for n in (900.0, 2450.0, 3300.0, 5100.0, 8000.0, 20000.0):
        waves = f / (n / 60) - eps / (2 * np.pi)
        crossing = np.nonzero(np.diff(np.floor(waves)) > 0)[0]
        expected = min(b[crossing]) if len(crossing) else np.inf
        found = lobes.relative_limit(n / 60, FN, Z)[0][0]
        assert found == pytest.approx(min(expected, lobes.CEILING), rel=1e-3)
