"""Logistic regression with a ridge and with signs that weights may not cross."""

from __future__ import annotations

import numpy as np


def fit_logistic(
    x: np.ndarray,
    y: np.ndarray,
    weights: np.ndarray,
    signs: np.ndarray,
    *,
    ridge: float = 1.0,
) -> tuple[float, np.ndarray]:
    """Fit log odds = bias + x @ w.

    Minimises ``sum(weights * log loss) + ridge / 2 * sum(w**2)``; the bias is free.

    Parameters
    ----------
    x : ndarray, shape (n, k)
    y : ndarray of 0 or 1, shape (n,)
    weights : ndarray, shape (n,)
        Weight of every row.
    signs : ndarray, shape (k,)
        +1: weight at least 0; -1: at most 0; 0: free.
    ridge : float
        Strength of the penalty.

    Returns
    -------
    bias : float
    w : ndarray, shape (k,)
    """
    from scipy.optimize import minimize

    signed = np.where(y > 0.5, 1.0, -1.0)

    def loss(theta: np.ndarray) -> tuple[float, np.ndarray]:
        margin = signed * (theta[0] + x @ theta[1:])
        value = float((weights * np.logaddexp(0.0, -margin)).sum())
        slope = -weights * signed / (1.0 + np.exp(np.clip(margin, -500, 500)))
        grad = np.concatenate([[slope.sum()], x.T @ slope + ridge * theta[1:]])
        return value + 0.5 * ridge * float(theta[1:] @ theta[1:]), grad

    bounds = [(None, None)] + [
        (0.0 if s > 0 else None, 0.0 if s < 0 else None) for s in np.asarray(signs)
    ]
    found = minimize(
        loss,
        np.zeros(x.shape[1] + 1),
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"maxiter": 5000, "ftol": 1e-12, "gtol": 1e-7},
    )
    return float(found.x[0]), np.asarray(found.x[1:])


def probability(x: np.ndarray, bias: float, w: np.ndarray) -> np.ndarray:
    """Probability of every row, shape (n,)."""
    return 1.0 / (1.0 + np.exp(-np.clip(bias + x @ w, -30.0, 30.0)))


def folds_of(groups: np.ndarray, folds: int, seed: int = 0) -> np.ndarray:
    """Fold of every row, whole groups together, shape (n,)."""
    known, at = np.unique(groups, return_inverse=True)
    drawn = np.random.default_rng(seed).permutation(len(known)) % folds
    return drawn[at]


def cross_validated(
    x: np.ndarray,
    y: np.ndarray,
    weights: np.ndarray,
    signs: np.ndarray,
    groups: np.ndarray,
    *,
    ridge: float = 1.0,
    folds: int = 5,
) -> np.ndarray:
    """Probability of every row from a fit without its group, shape (n,)."""
    fold = folds_of(groups, folds)
    p = np.full(len(y), float(np.average(y, weights=weights)) if len(y) else 0.5)
    for k in range(folds):
        out = fold == k
        if out.any() and np.ptp(y[~out]) > 0:
            p[out] = probability(
                x[out], *fit_logistic(x[~out], y[~out], weights[~out], signs, ridge=ridge)
            )
    return p
