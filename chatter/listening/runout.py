"""Runout as a number: how far the strokes of the teeth differ, with an interval."""

from __future__ import annotations

import numpy as np

from chatter.findings import Runout
from chatter.listening.turning import Turning

_FEWEST_TURNS = 6


def runout_of(turning: Turning | None) -> Runout | None:
    """How far the teeth's strokes differ over the turn, as a share of their mean.

    Parameters
    ----------
    turning : Turning or None
        The pass in the shaft's angle.

    Returns
    -------
    Runout or None
        None where the strokes cannot be told apart: one tooth, few turns, or the angle could
        not be tracked.  The spread is (strongest - weakest) / mean of the teeth's mean strokes,
        freed of what their own scatter would give; the interval comes from drawing whole turns
        again (bootstrap, 200 draws, fixed numbers).
    """
    if turning is None or turning.teeth < 2 or not turning.tracked:
        return None
    strokes = turning.tooth_power
    turns, _ = strokes.shape
    if turns < _FEWEST_TURNS:
        return None
    rng = np.random.default_rng(1)
    drawn = rng.integers(0, turns, (200, turns))
    spreads = np.array([_spread(strokes[rows]) for rows in drawn])
    low, high = np.quantile(spreads, (0.025, 0.975))
    best = float(np.clip(_spread(strokes), low, high))
    return Runout(round(best, 3), round(float(low), 3), round(float(high), 3))


def _spread(strokes: np.ndarray) -> float:
    """(strongest - weakest) / mean, less what chance gives among so many teeth."""
    mean = strokes.mean(axis=0)
    error = float(np.mean(strokes.var(axis=0, ddof=1))) / strokes.shape[0]
    seen = float(mean.max() - mean.min()) / max(float(mean.mean()), 1e-12)
    chance = _expected_range(mean.size) * np.sqrt(error) / max(float(mean.mean()), 1e-12)
    return float(np.sqrt(max(seen**2 - chance**2, 0.0)))


def _expected_range(count: int) -> float:
    """Expected range of ``count`` standard normals (Blom's scores, 1958; from memory)."""
    from scipy.special import ndtri

    return 2.0 * float(ndtri((count - 0.375) / (count + 0.25)))
