import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.lab.evaluate.logistic import cross_validated, fit_logistic, folds_of, probability


def drawn(n=400, seed=0):
    rng = np.random.default_rng(seed)
    x = rng.uniform(-1, 1.5, (n, 4))
    odds = -0.5 + x @ np.array([2.0, -1.5, 0.0, 0.5])
    return x, (rng.random(n) < 1 / (1 + np.exp(-odds))).astype(float)


def test_known_weights_come_back():
    x, y = drawn(20_000)
    bias, w = fit_logistic(x, y, np.ones(len(y)), np.zeros(4), ridge=1e-6)
    # Standard error of a weight is about 0.03 with 20 000 rows.
    assert bias == pytest.approx(-0.5, abs=0.1)
    assert w == pytest.approx([2.0, -1.5, 0.0, 0.5], abs=0.1)


def test_a_weight_never_takes_the_forbidden_sign():
    x, y = drawn()
    _, free = fit_logistic(x, y, np.ones(len(y)), np.zeros(4))
    assert free[0] > 0 > free[1]
    _, held = fit_logistic(x, y, np.ones(len(y)), np.array([-1, 1, 0, 1]))
    assert held[0] == 0.0 and held[1] == 0.0 and held[3] > 0


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000), st.lists(st.sampled_from([-1, 0, 1]), min_size=4, max_size=4))
def test_signs_hold_and_no_small_step_does_better(seed, signs):
    x, y = drawn(120, seed)
    weights, signs = np.ones(len(y)), np.array(signs)
    bias, w = fit_logistic(x, y, weights, signs)

    def loss(b, v):
        p = np.clip(probability(x, b, v), 1e-12, 1 - 1e-12)
        return -np.sum(np.where(y > 0.5, np.log(p), np.log(1 - p))) + 0.5 * float(v @ v)

    assert np.all(signs * w >= 0)
    best = loss(bias, w)
    for k in range(4):
        for step in (-0.01, 0.01):
            moved = w.copy()
            moved[k] += step
            if signs[k] * moved[k] >= 0:
                assert loss(bias, moved) > best - 1e-6


def test_twice_the_weight_is_a_second_copy():
    x, y = drawn(80)
    twice = np.ones(80)
    twice[:20] = 2.0
    a = fit_logistic(x, y, twice, np.zeros(4))
    b = fit_logistic(np.vstack([x, x[:20]]), np.append(y, y[:20]), np.ones(100), np.zeros(4))
    assert a[1] == pytest.approx(b[1], abs=1e-3)


def test_a_recording_stays_in_one_fold():
    groups = np.repeat(np.arange(40), 3)
    fold = folds_of(groups, 5)
    assert all(len(set(fold[groups == g])) == 1 for g in range(40))
    assert np.bincount(fold).tolist() == [24] * 5


def test_cross_validation_does_not_learn_a_recording_by_heart():
    # One column per recording names it outright: of no use to recordings not yet heard.
    rng = np.random.default_rng(3)
    groups = np.repeat(np.arange(60), 4)
    y = np.repeat((rng.random(60) < 0.5).astype(float), 4)
    x = (groups[:, None] == np.arange(60)).astype(float)
    p = cross_validated(x, y, np.ones(240), np.zeros(60), groups, ridge=0.01)
    assert np.mean((p > 0.5) == y) < 0.65
    bias, w = fit_logistic(x, y, np.ones(240), np.zeros(60), ridge=0.01)
    assert np.mean((probability(x, bias, w) > 0.5) == y) > 0.95
