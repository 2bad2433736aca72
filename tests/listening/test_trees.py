"""Trees are evaluated as the library that grew them does, and every step is accounted for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chatter.lab.fit.boosting import fit_forest
from chatter.listening.trees import forest, forest_from, model_data

lightgbm = pytest.importorskip("lightgbm")

SMALL = {"n_estimators": 40, "num_leaves": 6, "learning_rate": 0.1, "min_child_samples": 5}


@pytest.fixture
def grown(rng):
    x = rng.standard_normal((400, 4))
    x[rng.random((400, 4)) < 0.2] = math.nan
    y = (np.nan_to_num(x[:, 0]) + np.nan_to_num(x[:, 1] * x[:, 2]) > 0.2).astype(int)
    cases = [{f"m{j}": float(v) for j, v in enumerate(row) if v == v} for row in x]
    return cases, x, y, fit_forest(cases, y, np.ones(400), **SMALL)


def test_as_the_library_that_grew_them(grown):
    """The mean of LightGBM's own raw scores, on the same settings, data and draws of chance."""
    from chatter.lab.fit.boosting import _SHARED, DRAWS

    cases, x, y, plain = grown
    scores = []
    for draw in range(DRAWS):
        theirs = lightgbm.LGBMClassifier(**{**_SHARED, **SMALL, "random_state": draw})
        scores.append(theirs.fit(x, y, sample_weight=np.ones(400)).predict(x, raw_score=True))
    raw = np.mean(scores, axis=0)
    assert np.std(scores, axis=0).mean() > 0.02, "other draws, other trees"
    # five significant digits are kept of every step, of 40 trees
    assert forest_from(plain).log_odds(cases) == pytest.approx(raw, abs=2e-3)
    assert np.std(raw) > 0.5


def test_bias_and_contributions_sum_to_the_log_odds(grown):
    cases, _, _, plain = grown
    made = forest_from(plain)
    for case in cases[:25]:
        told = made.contributions(case)
        assert made.bias + sum(told.values()) == pytest.approx(made.log_odds([case])[0], abs=1e-9)
    assert any(abs(v) > 0.1 for v in made.contributions(cases[0]).values())


def test_a_measure_no_tree_asks_for_adds_nothing(grown):
    cases, x, y, _ = grown
    made = forest_from(fit_forest([c | {"flat": 1.0} for c in cases], y, np.ones(400), **SMALL))
    assert made.contributions(cases[0] | {"flat": 7.0})["flat"] == 0.0
    assert x.shape[0] == len(cases)


def test_the_shipped_models_are_there_and_finite():
    for name in (
        "segment",
        "together",
        "line",
        "cutting",
        "chatter",
        "side_rubbing",
        "uneven_teeth",
    ):
        made = forest(name)
        assert np.isfinite(made.log_odds([{}]))
        assert made.roots.size > 50
        assert (made.asked < len(made.names)).all()
    assert 0 < model_data()["limits"]["chatter_possible"] < model_data()["limits"]["chatter_named"]
