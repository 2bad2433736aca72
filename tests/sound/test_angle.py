"""Shaft angle: the count of turns, resampling, order lines and synchronous averages."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.sound.angle import order_lines, synchronous_average, to_angle, turns_at


@pytest.fixture
def rng():
    return np.random.default_rng(77)


def test_turns_of_a_steady_shaft():
    t = np.linspace(3.0, 13.0, 1001)
    np.testing.assert_allclose(turns_at(t, ((0.0, 2.5),)), 2.5 * (t - 3.0), atol=1e-9)


def test_turns_of_a_sagging_shaft():
    """Speed 2 -> 1 rev/s over 10 s: the angle is 2 t - t^2 / 20, constant speed beyond."""
    t = np.linspace(0.0, 12.0, 2401)
    turns = turns_at(t, ((0.0, 2.0), (10.0, 1.0)))
    want = np.where(t < 10, 2 * t - t**2 / 20, 15 + (t - 10))
    np.testing.assert_allclose(turns, want, atol=1e-6)


def test_resampled_sagging_signal_repeats_each_turn():
    t = np.linspace(0.0, 20.0, 80_001)
    true = 2 * t - t**2 / 50
    x = np.stack([np.cos(2 * np.pi * 5 * true), np.sin(2 * np.pi * true)])
    cycles = to_angle(x, turns_at(t, ((0.0, 2.0), (20.0, 1.2))), 64)
    assert cycles.shape == (2, int(true[-1]), 64)
    angle = np.arange(64) / 64
    # Straight lines between 2000 samples a turn err by (2 pi 5 / 2000)^2 / 8 at most.
    np.testing.assert_allclose(
        cycles[0], np.broadcast_to(np.cos(2 * np.pi * 5 * angle), cycles[0].shape), atol=1e-3
    )
    np.testing.assert_allclose(cycles[1, 0], np.sin(2 * np.pi * angle), atol=1e-3)


def grid(revolutions, points):
    return np.arange(revolutions * points) / points


def cycles_of(x, revolutions, points):
    return np.asarray(x, float).reshape(1, revolutions, points)


@pytest.mark.parametrize("amplitude", [0.05, 1.0, 20.0])
def test_a_sine_on_a_whole_order_gives_its_square(amplitude):
    theta = grid(30, 128)
    lines = order_lines(cycles_of(3.0 + amplitude * np.sin(2 * np.pi * 7 * theta), 30, 128))
    assert lines.power[0, 7 * 30] == pytest.approx(amplitude**2, rel=1e-5)
    assert lines.excess(7)[0] == pytest.approx(amplitude**2, rel=1e-3)
    assert lines.excess(9)[0] < 1e-6 * amplitude**2
    assert lines.ratio(64 * 30 + 1)[0] == 0.0 and lines.excess(10_000)[0] == 0.0


def test_ratio_of_noise_is_exponential(rng):
    ratios = []
    for _ in range(150):
        lines = order_lines(cycles_of(rng.standard_normal(60 * 64), 60, 64))
        ratios.append([lines.ratio(m)[0] for m in range(2, 31)])
    ratio = np.concatenate(ratios)  # 4350 of them: the mean is known to 0.015
    assert ratio.mean() == pytest.approx(1.0, abs=0.06)
    # P(> 3) = e^-3 = 0.0498, known to 0.003
    assert np.mean(ratio > 3.0) == pytest.approx(0.0498, abs=0.015)


@pytest.mark.parametrize("revolutions", [8, 9, 20])
def test_lines_do_not_lift_their_own_floor(rng, revolutions):
    """A full comb at every order, as a saw with uneven teeth makes."""
    theta = grid(revolutions, 256)
    comb = sum(np.cos(2 * np.pi * m * theta + m) for m in range(1, 60))
    noise = 0.01 * rng.standard_normal(theta.size)
    with_comb = order_lines(cycles_of(comb + noise, revolutions, 256))
    alone = order_lines(cycles_of(noise, revolutions, 256))
    rise = with_comb.floor[0, 5 * revolutions : 50 * revolutions].mean()
    assert rise < 3.0 * alone.floor[0, 5 * revolutions : 50 * revolutions].mean()


def naive_average(cycles):
    channels, revolutions, points = cycles.shape
    mean = np.zeros((channels, points))
    for c in range(channels):
        for p in range(points):
            for r in range(revolutions):
                mean[c, p] += cycles[c, r, p] / revolutions
    return mean


def test_synchronous_average_against_its_plain_twin(rng):
    cycles = rng.standard_normal((2, 9, 16)) + np.arange(16)
    mean, spread, _ = synchronous_average(cycles)
    np.testing.assert_allclose(mean, naive_average(cycles), atol=1e-12)
    np.testing.assert_allclose(spread, cycles.std(axis=1, ddof=1) / 3.0, atol=1e-12)


@pytest.mark.parametrize("noise", [0.0, 1.0, 3.0])
def test_share_is_freed_of_chance(rng, noise):
    """Signal of variance 1/2 beside noise of variance s^2: share = 1/2 / (1/2 + s^2)."""
    signal = np.cos(2 * np.pi * 3 * np.arange(64) / 64)
    shares = [
        synchronous_average(signal + noise * rng.standard_normal((1, 12, 64)))[2][0]
        for _ in range(60)
    ]
    # known to 0.004; without the correction 0.035 and 0.07 more
    assert np.mean(shares) == pytest.approx(0.5 / (0.5 + noise**2), abs=0.012)


def test_share_of_noise_is_none_and_of_one_turn_is_not_a_number_less(rng):
    shares = [synchronous_average(rng.standard_normal((1, 10, 128)))[2][0] for _ in range(40)]
    assert np.mean(shares) < 0.02  # without the correction it would be 0.1
    _, spread, share = synchronous_average(rng.standard_normal((1, 1, 64)))
    assert np.all(spread == 0) and np.all(np.isfinite(share))


def test_silence_divides_by_nothing():
    lines = order_lines(np.zeros((1, 10, 64)))
    assert np.all(lines.power == 0) and np.isfinite(lines.ratio(3)).all()
    assert np.isfinite(synchronous_average(np.zeros((1, 10, 64)))[2]).all()
