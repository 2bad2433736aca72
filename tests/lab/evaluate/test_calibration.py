import numpy as np
import pytest

from chatter.lab.evaluate.calibration import expected_error, reliability
from chatter.lab.evaluate.intervals import by_recording


def test_expected_error_on_paper():
    p = np.array([0.9, 0.9, 0.9, 0.9, 0.1, 0.1])
    held = np.array([1, 1, 1, 0, 0, 0], bool)
    # Two bins: |0.9 - 0.75| with weight 4, |0.1 - 0| with weight 2.
    assert expected_error(p, held, np.ones(6)) == pytest.approx((4 * 0.15 + 2 * 0.1) / 6)
    # Doubling a weight is the same as a second copy.
    twice = expected_error(np.append(p, 0.9), np.append(held, False), np.ones(7))
    assert expected_error(p, held, np.array([1, 1, 1, 2, 1, 1])) == pytest.approx(twice)


def test_a_true_forecaster_is_off_by_chance_only_and_a_boaster_by_more():
    rng = np.random.default_rng(1)
    p = rng.uniform(0.02, 0.98, 3000)
    held = rng.random(3000) < p
    ones, each = np.ones(3000), np.arange(3000)
    honest = reliability("x", p, held, ones, each)
    assert honest.error < 1.6 * honest.chance_error
    # Pushed away from 0.5 by a factor 2 in log odds: off by about 0.1.
    boast = 1 / (1 + ((1 - p) / p) ** 2)
    assert reliability("x", boast, held, ones, each).error > 5 * honest.chance_error


def test_passes_of_one_recording_are_not_independent():
    rng = np.random.default_rng(2)
    level = np.repeat(rng.normal(size=30), 20)
    group = np.repeat(np.arange(30), 20)
    weights = np.ones(600)

    def mean(w):
        return float((w * level).sum() / w.sum())

    low, high = by_recording(mean, weights, group)
    # 30 independent values: 2 x 1.96 / sqrt(30) = 0.72; as 600 it would be 0.16.
    assert 0.5 < high - low < 1.0
