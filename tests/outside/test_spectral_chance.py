"""Levels that chance reaches in a spectrum, against published laws.

* R. A. Fisher, *Tests of significance in harmonic analysis*, Proc. R. Soc. A 125 (1929) 54:
  P(g > x) = sum (-1)^(j-1) C(m, j) (1 - j x)^(m-1), g the greatest of m ordinates over
  their sum (formula as quoted by Fuller, *Introduction to Statistical Time Series*, 1996,
  p. 363).
* Peak over mean of M exponential ordinates: z = -ln(1 - (1 - a)^(1/M)).
* A mean of K segments is chi-square with 2K degrees of freedom over 2K (Welch 1967).

The numbers were worked out apart from this program, in arithmetic of 300 digits.
"""

from __future__ import annotations

from fractions import Fraction
from math import comb

import numpy as np
import pytest
import scipy.stats

from chatter.sound.spectrum import chance_level, median_bias

PEAK_OVER_MEAN = [  # bins, (alpha .05, .01, .001)
    (1, (2.9957, 4.6052, 6.9078)),
    (100, (7.5756, 9.2054, 11.5124)),
    (1000, (9.8780, 11.5079, 13.8150)),
    (10000, (12.1805, 13.8105, 16.1176)),
]


@pytest.mark.parametrize(("bins", "levels"), PEAK_OVER_MEAN)
def test_peak_over_known_mean(bins, levels):
    got = [chance_level(bins, alpha) for alpha in (0.05, 0.01, 0.001)]
    np.testing.assert_allclose(got, levels, atol=6e-5)  # the table has four decimals


@pytest.mark.parametrize(
    ("averages", "level"),
    [(1, 6.9078), (4, 3.2656), (10, 2.2657), (20, 1.8350), (50, 1.4945), (100, 1.3377)],
)
def test_one_bin_of_an_average(averages, level):
    assert chance_level(1, 1e-3, averages) == pytest.approx(level, abs=6e-5)
    assert chance_level(1, 1e-3, averages) == pytest.approx(
        scipy.stats.chi2.isf(1e-3, 2 * averages) / (2 * averages), rel=1e-9
    )


@pytest.mark.parametrize(
    ("averages", "value"), [(1, 0.6931), (4, 0.9180), (10, 0.9669), (20, 0.9834), (50, 0.9933)]
)
def test_median_over_mean(averages, value):
    """Wilson & Hilferty (1931) errs by 0.00095 at K = 4 and less beyond; 0.0011 of slack
    would not hide the use of 2K for K (0.9180 -> 0.9587)."""
    assert median_bias(averages) == pytest.approx(value, abs=1.1e-3)


@pytest.mark.parametrize(
    ("m", "g"),
    [
        (10, (0.44495, 0.53584, 0.64062)),
        (100, (0.07378, 0.08882, 0.10978)),
        (1000, (0.00984, 0.01145, 0.01373)),
    ],
)
def test_fisher_g_goes_over_into_ours(m, g):
    """Fisher divides by the mean of the same ordinates, we by a floor that leaves the peak
    out: m g must lie below our level and come within 1.5 % of it at a thousand ordinates."""
    for critical, alpha in zip(g, (0.05, 0.01, 0.001), strict=True):
        assert fisher(m, critical) == pytest.approx(alpha, rel=0.02)  # the table's own digits
        ours = chance_level(m, alpha)
        assert m * critical < ours
        if m == 1000:
            assert m * critical == pytest.approx(ours, rel=0.015)


def fisher(m: int, x: float) -> float:
    x = Fraction(str(x))
    total = Fraction(0)
    for j in range(1, int(1 / x) + 1):
        total += (-1) ** (j - 1) * comb(m, j) * (1 - j * x) ** (m - 1)
    return float(total)
