"""The bootstrap against scipy.stats.bootstrap, where the two must agree (blocks of one row).

Source: SciPy, ``scipy.stats.bootstrap`` (installed version), standard error of the statistic.
"""

from __future__ import annotations

import numpy as np
import pytest

from chatter.comparing.resample import block_weights


@pytest.mark.parametrize("rows", [8, 25, 80])
def test_standard_error_of_a_ratio_in_decibels(rows):
    from scipy.stats import bootstrap

    rng = np.random.default_rng(rows)
    over, under = rng.gamma(4.0, 1.0, rows), rng.gamma(4.0, 0.5, rows)

    def ratio_db(a, b, axis=-1):
        return 10 * np.log10(a.mean(axis=axis) / b.mean(axis=axis))

    theirs = bootstrap(
        (over, under), ratio_db, n_resamples=8000, paired=True, vectorized=True,
        method="percentile", rng=np.random.default_rng(1),
    )  # fmt: skip
    weights = block_weights(rows, 8000, np.random.default_rng(2), length=1)[1:]
    ours = 10 * np.log10((weights @ over) / (weights @ under))
    # a standard deviation of 8000 draws is known to 0.8 %; two of them to 1.1 %, so 4 % is wide
    assert ours.std(ddof=1) == pytest.approx(theirs.standard_error, rel=0.04)
    assert np.quantile(ours, [0.025, 0.975]) == pytest.approx(
        list(theirs.confidence_interval), abs=0.12 * theirs.standard_error * 2
    )
