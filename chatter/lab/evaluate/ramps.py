"""Ramps: a measure cut at knots, so that a linear fit can bend where the data does.

Between two knots a ramp climbs from 0 to 1.  A sum of ramps with weights of one sign rises
(or falls) everywhere: the sign that physics gives a piece holds over its whole range.
"""

from __future__ import annotations

import numpy as np

from chatter.listening.model import Worth

#: Quantiles of the measure at which the knots stand; level beyond the outer ones.
QUANTILES = (0.02, 0.25, 0.5, 0.75, 0.98)
_DIGITS = 4


def knots_of(values: np.ndarray) -> np.ndarray:
    """Knots of a measure: its quantiles, without doubles; at least two.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where the measure cannot be had.
    """
    known = values[np.isfinite(values)]
    if not known.size:
        return np.array([0.0, 1.0])
    knots = np.unique(np.round(np.quantile(known, QUANTILES), _DIGITS))
    if knots.size < 2:  # nearly always the same: all it can tell is in the exceptions
        knots = np.unique(np.round([known.min(), known.max()], _DIGITS))
    return knots if knots.size > 1 else np.array([knots[0], knots[0] + 1.0])


def ramps(values: np.ndarray, knots: np.ndarray, typical: float) -> np.ndarray:
    """Columns of the fit, shape (n, knots - 1); ``typical`` stands for what is missing."""
    known = np.where(np.isfinite(values), values, typical)[:, None]
    return np.clip((known - knots[:-1]) / np.diff(knots), 0.0, 1.0)


def worth_of(knots: np.ndarray, weights: np.ndarray, typical: float) -> tuple[Worth, float]:
    """What the weights of a measure's ramps make of it.

    Returns
    -------
    worth : Worth
        Adds nothing at ``typical``.
    level : float
        What was taken off, to be put into the bias.
    """
    total = np.concatenate([[0.0], np.cumsum(weights)])
    level = float(np.interp(typical, knots, total))
    adds = tuple(round(float(one - level), _DIGITS) for one in total)
    return Worth(tuple(float(k) for k in knots), adds), level
