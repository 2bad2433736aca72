"""Boosted trees: LightGBM trains them, our own few lines evaluate them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

#: Few trees, whose limits are drawn by chance and only the best of the draws taken (extremely
#: randomized trees: Geurts, Ernst and Wehenkel, 2006): limits fitted sharply fit one maker's
#: habits, and cost a tenth of the chatter of makers left out.
SEGMENT = {"n_estimators": 260, "num_leaves": 10, "learning_rate": 0.06, "min_child_samples": 15}
LINE = {"n_estimators": 240, "num_leaves": 16, "learning_rate": 0.06, "min_child_samples": 15}
PASS = {"n_estimators": 170, "num_leaves": 10, "learning_rate": 0.05, "min_child_samples": 12}
#: Fits by other draws of chance, whose mean is taken: by a single one the log odds of one recording
#: may stand anywhere within 1 of the mean.
DRAWS = 4
_SHARED = {
    "extra_trees": True, "subsample": 0.8, "subsample_freq": 1, "colsample_bytree": 0.5,
    "reg_lambda": 5.0,
    "random_state": 0, "verbose": -1, "n_jobs": 2, "deterministic": True, "force_row_wise": True,
}  # fmt: skip


def fit_forest(
    cases: Sequence[Mapping[str, float]], y: np.ndarray, weight: np.ndarray, **settings: Any
) -> dict[str, Any]:
    """Fit one model and return it as ``model.json`` holds it.

    Parameters
    ----------
    cases : sequence of dict
        Measures by name; what is missing is missing.
    y : ndarray of int, shape (n,)
    weight : ndarray, shape (n,)
    settings
        Of the booster.
    """
    import lightgbm

    names = sorted({name for case in cases for name in case})
    x = np.array([[case.get(name, math.nan) for name in names] for case in cases], np.float64)
    made = [
        lightgbm.LGBMClassifier(**{**_SHARED, **settings, "random_state": draw})
        .fit(x, y, sample_weight=weight)
        .booster_.dump_model()
        for draw in range(DRAWS)
    ]
    return _plain(made, names)


def _plain(models: Sequence[dict[str, Any]], names: list[str]) -> dict[str, Any]:
    """The mean of some fits: LightGBM's trees laid one after the other, each with its share of
    the log odds, means about each tree's own."""
    flat: dict[str, list] = {key: [] for key in ("asked", "limit", "right", "missing_left", "mean")}
    roots, bias = [], 0.0
    for tree in (tree for model in models for tree in model["tree_info"]):
        root = len(flat["asked"])
        mean, _ = _lay(tree["tree_structure"], flat)
        roots.append(root)
        bias += mean / len(models)
        for i in range(root, len(flat["asked"])):
            flat["mean"][i] = float(f"{(flat['mean'][i] - mean) / len(models):.5g}")
    return {"names": names, "bias": round(bias, 6), "roots": roots, **flat}


def _lay(node: dict[str, Any], flat: dict[str, list]) -> tuple[float, float]:
    """Append a node and what lies below, the left side first; its mean, and how many cases."""
    at = len(flat["asked"])
    for column in flat.values():
        column.append(0)
    flat["asked"][at] = -1
    if "split_feature" not in node:
        value = float(node["leaf_value"])
        flat["mean"][at] = value
        return value, float(node.get("leaf_count", 1) or 1)
    flat["asked"][at] = int(node["split_feature"])
    flat["limit"][at] = float(f"{node['threshold']:.7g}")
    flat["missing_left"][at] = int(bool(node["default_left"]))
    left, left_count = _lay(node["left_child"], flat)
    flat["right"][at] = len(flat["asked"])
    right, right_count = _lay(node["right_child"], flat)
    count = left_count + right_count
    mean = (left * left_count + right * right_count) / count
    flat["mean"][at] = mean
    return mean, count
