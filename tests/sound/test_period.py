"""The turn from the swelling: found where there is one, followed, and not made up."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.sound.bands import band_power
from chatter.sound.period import find_swelling, swelling_at
from tests.comparing.made import RATE, TEETH, TURN_S, reader, swelling_noise


def envelope(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    time_s, _, power = band_power(reader(x), 0, len(x), RATE, fastest_hz=TEETH / TURN_S)
    return time_s, power


@pytest.mark.parametrize("off", [-0.06, -0.02, 0.0, 0.03, 0.07])
def test_the_turn_is_found_however_the_dial_is_off(off):
    found = find_swelling(*envelope(swelling_noise(turn=0.5, tooth=0.3)), (1 + off) / TURN_S)
    assert found.times_others > 1.8
    ((_, hz),) = found.course
    assert hz * TURN_S == pytest.approx(1.0, abs=0.005)


def test_without_a_swelling_none_stands_out():
    times = [
        find_swelling(*envelope(swelling_noise(tooth=0.5, seed=seed)), 1 / TURN_S).times_others
        for seed in range(12)
    ]
    # chance makes the greatest of the near periods about as great as the greatest of the others
    assert np.median(times) < 1.15
    assert max(times) < 1.8


@pytest.mark.parametrize("other", [0.7, 1.3])
def test_what_swells_at_another_period_is_not_the_turn(other):
    x = swelling_noise(turn=0.6, turn_s=TURN_S / other, turns=24.0 * other)
    assert find_swelling(*envelope(x), 1 / TURN_S).times_others < 0.7


def test_a_speed_that_sags_is_followed():
    rng = np.random.default_rng(3)
    t = np.arange(int(60 * RATE)) / RATE
    hz = (1 - 0.012 * t / 60) / TURN_S
    angle = 2 * np.pi * np.cumsum(hz) / RATE
    x = (rng.standard_normal(t.size) * np.sqrt(1 + 0.6 * np.cos(angle))).astype(np.float32)
    course = find_swelling(*envelope(x), 1.02 / TURN_S).course
    assert len(course) == 4  # 75 turns in windows of 16 or more
    for at_s, found in course:
        assert found == pytest.approx((1 - 0.012 * at_s / 60) / TURN_S, rel=0.004)


def test_a_long_take_of_a_quick_spindle_needs_little_memory():
    """A thousand turns: all periods at all times would be two gigabytes."""
    import tracemalloc

    rng = np.random.default_rng(4)
    time_s = np.arange(0.0, 20.0, 0.0005)
    power = 1 + 0.5 * np.cos(2 * np.pi * 50.0 * time_s) + 0.3 * rng.random((10, time_s.size))
    tracemalloc.start()
    found = find_swelling(time_s, power, 51.0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert found.course[0][1] == pytest.approx(50.0, rel=0.005)
    assert peak < 60e6


def test_few_turns_tell_nothing():
    assert find_swelling(*envelope(swelling_noise(turn=0.6, turns=4.0)), 1 / TURN_S) is None


def test_the_power_of_a_known_swing_is_known():
    """A swing of amplitude a at order 1 has the squared coefficient (a / 2)^2."""
    time_s = np.arange(0.0, 20.0, 0.01)
    level = 3.0 * np.cos(2 * np.pi * 1.25 * time_s)[None]
    assert swelling_at(time_s, level, np.array([1.25]))[0] == pytest.approx(1.5**2, rel=0.01)
