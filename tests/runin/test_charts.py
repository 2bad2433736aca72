"""Limits from a short history: the chance of a false flag is what it is said to be."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.runin.charts import ewma, judge_dates, moving_range_sigma, spent, steady_scatter

RUNS = 600


def flagged(rng, *, alpha, shift=0.0, dates=12, items=10, baseline=5):
    """Share of runs in which any of the items is flagged."""
    hits = 0
    for _ in range(RUNS):
        x = rng.standard_normal((items, dates))
        x[0, -3:] += shift
        scatters = steady_scatter([row[:baseline] for row in x])
        found = [
            judge_dates(row, baseline, s, alpha=alpha / items)
            for row, s in zip(x, scatters, strict=True)
        ]
        hits += any(one.beyond for row in found for one in row)
    return hits / RUNS


def test_false_flags_of_a_whole_history_stay_below_the_stated_chance():
    rate = flagged(np.random.default_rng(1), alpha=0.05)
    # 600 runs at 5 % scatter by 0.9 %: 7.5 % would be a real excess.
    assert rate < 0.075


def test_a_larger_chance_gives_more_false_flags():
    """Guards the test above: limits that are merely huge would pass it."""
    assert flagged(np.random.default_rng(2), alpha=1.0) > 0.12


def test_a_change_of_eight_deviations_is_found():
    assert flagged(np.random.default_rng(3), alpha=0.05, shift=8.0) > 0.95


def test_chances_spent_add_up():
    assert sum(spent(0.05, look) for look in range(1, 5000)) == pytest.approx(0.05, rel=1e-3)


def test_scatter_is_steadied_towards_that_of_all():
    rng = np.random.default_rng(4)
    rows = rng.standard_normal((400, 5)) * 2.0
    alone = np.array([np.sqrt(np.mean(np.diff(row) ** 2) / 2) for row in rows])
    found = np.array([one.sigma for one in steady_scatter(list(rows))])
    assert np.std(found) < 0.4 * np.std(alone)
    assert np.sqrt(np.mean(found**2)) == pytest.approx(2.0, rel=0.04)


def test_unequal_scatters_are_not_made_equal():
    rng = np.random.default_rng(5)
    sigma = np.repeat([0.5, 5.0], 100)
    rows = rng.standard_normal((200, 5)) * sigma[:, None]
    found = np.array([one.sigma for one in steady_scatter(list(rows))])
    assert np.median(found[100:]) > 5 * np.median(found[:100])


def test_degrees_of_freedom_of_steps():
    """Variance of the mean square step: chi-square with about 2 (n-1)^2 / (3n-4)."""
    rng = np.random.default_rng(6)
    steps = np.mean(np.diff(rng.standard_normal((40_000, 5)), axis=1) ** 2, axis=1) / 2
    df = 2 * np.mean(steps) ** 2 / np.var(steps)
    # The formula for n = 5 gives 2.91; 40 000 draws tell df to about 2 %.
    assert df == pytest.approx(2 * 16 / 11, rel=0.05)


def test_a_slow_drift_in_the_baseline_hardly_widens_the_limits():
    rng = np.random.default_rng(7)
    still = rng.standard_normal((300, 5))
    drifting = still + 1.0 * np.arange(5)
    a, b = (np.mean([s.sigma for s in steady_scatter(list(rows))]) for rows in (still, drifting))
    # Sample deviations would grow from 1 to 1.9; steps of one deviation give sqrt(1.5).
    assert b < 1.35 * a


def test_least_scatter_is_kept():
    assert steady_scatter([[1.0] * 5] * 4, least=0.6)[0].sigma >= 0.6
    assert steady_scatter([[1.0] * 5] * 4, least=0.1)[0].sigma < 0.2


def test_one_series_alone_has_only_its_own_scatter():
    one = steady_scatter([[0.0, 1.0, 0.0, 1.0, 0.0]])[0]
    assert one.sigma == pytest.approx(1.0 / 1.128)
    assert one.df < 4


def test_individuals_need_two_values():
    with pytest.raises(ValueError, match="two values"):
        moving_range_sigma([1.0])


def test_the_average_starts_at_the_centre():
    assert ewma([1.0], 0.0, 0.3)[0] == pytest.approx(0.3)
