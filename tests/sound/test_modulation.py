"""Envelopes: a known swell gives its depth, whatever the gain."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.sound.modulation import (
    CARRIER_EDGES_HZ,
    band_envelopes,
    moving_mean,
    relative_swing,
)

RATE = 16000


@pytest.fixture
def rng():
    return np.random.default_rng(5)


def reader(x):
    x = np.asarray(x, np.float32)
    return lambda a, b: x[a:b]


def swollen(rng, depth, swell_hz, seconds=20.0):
    t = np.arange(int(seconds * RATE)) / RATE
    return 0.1 * (1 + depth * np.cos(2 * np.pi * swell_hz * t)) * rng.standard_normal(t.size)


def envelopes_of(x, fastest_hz=10.0):
    return band_envelopes(reader(x), 0, len(x), RATE, fastest_hz=fastest_hz, slow_s=2.0)


def amplitude_at(envelopes, frequency_hz):
    """Amplitude of the swell in each band, by its plain Fourier sum."""
    turning = np.exp(-2j * np.pi * frequency_hz * envelopes.time_s)
    return 2 * np.abs((envelopes.swing * turning).mean(axis=1))


@pytest.mark.parametrize("depth", [0.0, 0.2, 0.5])
def test_depth_of_swollen_noise(rng, depth):
    found = amplitude_at(envelopes_of(swollen(rng, depth, 2.0)), 2.0)
    # The frames are a fifth of a swell or less; 20 s of narrow noise scatter by some 0.01.
    np.testing.assert_allclose(found, depth, atol=0.035)


def test_depth_lies_at_the_swell_and_its_phase_is_kept(rng):
    envelopes = envelopes_of(swollen(rng, 0.5, 10.0), fastest_hz=20.0)
    assert np.all(amplitude_at(envelopes, 13.1) < 0.05)
    phase = np.angle((envelopes.swing * np.exp(-2j * np.pi * 10 * envelopes.time_s)).mean(axis=1))
    # time_s is the middle of each frame; its start would be 0.3 rad beside
    np.testing.assert_allclose(phase, 0.0, atol=0.12)


def test_gain_changes_nothing_but_the_level(rng):
    x = swollen(rng, 0.4, 3.0, seconds=5.0)
    quiet, loud = envelopes_of(0.1 * x), envelopes_of(x)
    np.testing.assert_allclose(loud.swing, quiet.swing, atol=2e-4)
    np.testing.assert_allclose(loud.level, 100 * quiet.level, rtol=1e-3)


def test_level_is_the_power_of_each_band(rng):
    """White noise of variance s: each band holds s times its bins."""
    sigma = 0.2
    envelopes = envelopes_of(sigma * rng.standard_normal(10 * RATE))
    width = np.diff(envelopes.edges_hz)
    ratio = envelopes.level / width
    np.testing.assert_allclose(ratio, ratio.mean(), rtol=0.1)  # bins round the edges


@pytest.mark.parametrize("rate", [8000, 11025, 44100, 96000])
@pytest.mark.parametrize("fastest", [2.0, 60.0, 1500.0])
def test_every_rate_gives_whole_bands(rng, rate, fastest):
    x = 0.1 * rng.standard_normal(rate)
    envelopes = band_envelopes(reader(x), 0, rate, rate, fastest_hz=fastest, slow_s=0.3)
    edges = envelopes.edges_hz
    assert np.all(np.diff(edges) > 0) and edges[-1] < 0.5 * rate
    assert envelopes.swing.shape[0] == edges.size - 1 == envelopes.level.size >= 2
    assert np.all(np.isfinite(envelopes.swing))
    assert set(edges[:-1]) <= set(CARRIER_EDGES_HZ)


@pytest.mark.parametrize("length", [0, 10, 100])
def test_too_short_gives_an_empty_envelope(length):
    envelopes = band_envelopes(
        reader(np.ones(length)), 0, length, RATE, fastest_hz=10.0, slow_s=1.0
    )
    assert envelopes.swing.shape[1] == 0
    assert np.all(envelopes.level == 0.0)


def naive_mean(x, width):
    n = len(x)
    width = max(1, min(width, n))
    out = []
    for i in range(n):
        inside = [x[j] for j in range(n) if i - width // 2 <= j < i + (width + 1) // 2]
        out.append(sum(inside) / len(inside))
    return np.array(out)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=40),
    st.integers(min_value=-2, max_value=60),
)
def test_moving_mean_against_its_plain_twin(values, width):
    x = np.array(values)
    np.testing.assert_allclose(moving_mean(x, width), naive_mean(x, width), atol=1e-8)


def test_moving_mean_works_along_the_last_axis(rng):
    x = rng.standard_normal((3, 50))
    np.testing.assert_allclose(moving_mean(x, 7)[1], moving_mean(x[1], 7))
    assert moving_mean(np.zeros((2, 0)), 5).shape == (2, 0)


def test_swing_is_bounded_and_free_of_level(rng):
    amplitude = np.abs(rng.standard_normal(5000)) + 0.01
    amplitude[2500] = 1e5  # a thump
    swing = relative_swing(amplitude, 101)
    # The ratio lies in 0 .. 5 and so does its mean, which is taken off.
    assert np.all(np.abs(swing) <= 5.0)
    assert swing.dtype == np.float32
    np.testing.assert_allclose(relative_swing(amplitude * 1e-3, 101), swing, atol=1e-4)
    assert np.all(relative_swing(np.full(300, 0.7), 21) == pytest.approx(0.0, abs=1e-6))


def test_one_thump_does_not_swamp_the_average():
    t = np.arange(6000) / 100.0
    amplitude = 1 + 0.3 * np.cos(2 * np.pi * 2 * t)
    thumped = amplitude.copy()
    thumped[3000] *= 200.0
    clean, hit = relative_swing(amplitude, 200), relative_swing(thumped, 200)
    away = np.abs(np.arange(6000) - 3000) > 200
    np.testing.assert_allclose(hit[away], clean[away], atol=1e-6)
    assert np.abs(hit).max() <= 5.0


def test_silence_stays_silent():
    envelopes = envelopes_of(np.zeros(RATE))
    assert np.all(np.isfinite(envelopes.swing)) and np.abs(envelopes.swing).max() < 1e-6
