"""Damping of known ring-downs.

Logarithmic decrement, z = d / sqrt(4 pi^2 + d^2) (textbook relation): halves in one cycle
z 0.109653, halves in five 0.0220582, a tenth in ten 0.0366222, 13 % at cycle 100 0.0032471.
Independent methods: decrement of the peaks by ``scipy.optimize.curve_fit`` on the envelope,
the ``damp`` of the ``control`` package, and half-power width of the receptance.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from chatter.tapping.ringdown import band_signal, matrix_pencil, memory_s, rings

RATE = 48000


def ring(f_n: float, z: float, seconds: float = 0.6, lead_s: float = 0.3) -> np.ndarray:
    t = np.arange(int(seconds * RATE)) / RATE
    w = 2 * np.pi * f_n
    y = np.exp(-z * w * t) * np.sin(w * np.sqrt(1 - z * z) * t + 0.3)
    return np.concatenate([np.zeros(int(lead_s * RATE)), y])


@pytest.mark.parametrize(
    ("remains", "cycles", "z"),
    [(0.5, 1, 0.109653), (0.5, 5, 0.0220582), (0.1, 10, 0.0366222), (0.13, 100, 0.0032471)],
)
@pytest.mark.parametrize("f_d", [180.0, 730.0])
def test_decrement_values(remains, cycles, z, f_d):
    decrement = math.log(1 / remains) / cycles
    assert decrement / math.hypot(2 * math.pi, decrement) == pytest.approx(z, rel=2e-5)
    x = ring(f_d / math.sqrt(1 - z * z), z) + 1e-7 * np.random.default_rng(1).standard_normal(
        int(0.9 * RATE)
    )
    found = max(rings(x, RATE, int(0.3 * RATE), len(x))[0], key=lambda r: r.energy)
    assert found.damping_ratio == pytest.approx(z, rel=5e-3)
    assert found.frequency_hz * math.sqrt(1 - z * z) == pytest.approx(f_d, rel=1e-3)


def test_sixty_decibel_times():
    """100 Hz, 0.03: 0.3665 s; 1 kHz, 0.01: 0.1099 s (exact)."""
    for f, z, t60 in ((100.0, 0.03, 0.3665), (1000.0, 0.01, 0.1099)):
        rate_per_s = 2 * math.pi * f * z
        assert math.log(1000) / rate_per_s == pytest.approx(t60, rel=5e-4)  # four digits
        (found,) = rings(ring(f, z), RATE, int(0.3 * RATE), int(0.9 * RATE))
        best = max(found, key=lambda r: r.energy)
        assert math.log(1000) / best.rate_per_s == pytest.approx(t60, rel=2e-3)


def test_against_a_fit_of_the_envelope_in_noise():
    rng = np.random.default_rng(4)
    f, z = 640.0, 0.014
    x = ring(f, z) + 3e-3 * rng.standard_normal(int(0.9 * RATE))
    y, rate, _ = band_signal(x, RATE, 500.0, 1000.0)
    start = int((0.3 + memory_s(500.0, 1000.0, RATE)) * rate) + 1
    piece = np.abs(y[start : start + int(0.06 * rate)])
    t = np.arange(len(piece)) / rate
    (_, slope), _ = curve_fit(lambda t, a, s: a * np.exp(-s * t), t, piece, p0=(0.5, 50.0))
    found = max(rings(x, RATE, int(0.3 * RATE), len(x))[0], key=lambda r: r.energy)
    assert found.rate_per_s == pytest.approx(slope, rel=0.03)
    assert found.damping_ratio == pytest.approx(z, rel=0.03)


def test_against_control():
    control = pytest.importorskip("control")
    w = 2 * np.pi * 922.0
    system = control.tf([1.0], [1, 2 * 0.011 * w, w * w])
    t = np.arange(int(0.4 * RATE)) / RATE
    answer = control.impulse_response(system, t).outputs * w
    x = np.concatenate([np.zeros(int(0.3 * RATE)), answer])
    omega, damping, _ = control.damp(system, doprint=False)
    best = max(rings(x, RATE, int(0.3 * RATE), len(x))[0], key=lambda r: r.energy)
    assert best.frequency_hz == pytest.approx(omega[0] / (2 * np.pi), rel=1e-4)
    assert best.damping_ratio == pytest.approx(damping[0], rel=2e-3)


def test_half_power_width_is_worse_than_the_pencil():
    """At z 0.1 the width (f2 - f1) / 2 f_peak overestimates by 2.06 % (exact); we do not."""
    z = 0.1
    r = np.linspace(0.5, 1.5, 2_000_001)
    g = 1 / np.hypot(1 - r**2, 2 * z * r)
    wide = r[g > g.max() / np.sqrt(2)]
    width = (wide[-1] - wide[0]) / (2 * r[np.argmax(g)])
    assert width / z - 1 == pytest.approx(0.0206, abs=2e-4)
    best = max(
        rings(ring(300.0, z), RATE, int(0.3 * RATE), int(0.9 * RATE))[0], key=lambda r: r.energy
    )
    assert best.damping_ratio == pytest.approx(z, rel=5e-3)


def test_pencil_on_exact_exponentials():
    n = np.arange(120)
    poles = np.array([0.98 * np.exp(0.4j), 0.95 * np.exp(0.47j), 0.9 * np.exp(-1.1j)])
    sizes = np.array([1.0, 0.5j, 0.3])
    z, a = matrix_pencil((poles ** n[:, None]) @ sizes, 1e-12, 1e-6)
    order = np.argsort(-np.abs(a))
    np.testing.assert_allclose(z[order][:3], poles, rtol=1e-8)
    np.testing.assert_allclose(a[order][:3], sizes, rtol=1e-6, atol=1e-8)
