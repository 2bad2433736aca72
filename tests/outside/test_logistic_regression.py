"""Ridge logistic regression and the score interval against outside references.

Sources: scikit-learn's ``LogisticRegression`` (L2 penalty 1/C, free intercept) where no sign
is held; R. G. Newcombe, "Two-sided confidence intervals for the single proportion",
Statistics in Medicine 17 (1998) 857-872, table I, method 3 (score without continuity
correction), values from memory.
"""

import numpy as np
import pytest

from chatter.lab.evaluate.intervals import wilson
from chatter.lab.evaluate.logistic import fit_logistic


@pytest.mark.parametrize("ridge", [0.1, 1.0, 10.0])
def test_unbounded_fit_equals_scikit_learn(ridge):
    from sklearn.linear_model import LogisticRegression

    rng = np.random.default_rng(5)
    x = rng.normal(size=(300, 6))
    y = (rng.random(300) < 1 / (1 + np.exp(-(x[:, 0] - x[:, 1] + 0.4)))).astype(float)
    weights = rng.uniform(0.1, 1.0, 300)
    bias, w = fit_logistic(x, y, weights, np.zeros(6), ridge=ridge)
    other = LogisticRegression(C=1 / ridge, tol=1e-10, max_iter=10_000)
    other.fit(x, y, sample_weight=weights)
    # Both solve a convex problem: only the stopping rule differs.
    assert w == pytest.approx(other.coef_[0], abs=2e-4)
    assert bias == pytest.approx(other.intercept_[0], abs=2e-4)


@pytest.mark.parametrize(
    ("hits", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
     (1, 29, 0.0061, 0.1718)],
)  # fmt: skip
def test_score_interval_against_newcombe(hits, total, low, high):
    # Printed to four digits; z = 1.96 in place of 1.95996 moves the fifth.
    assert wilson(hits, total) == pytest.approx((low, high), abs=1e-4)
