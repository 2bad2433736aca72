"""Intervals: whole recordings are drawn again, for passes of one recording are not independent."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from chatter.teaching.shares import wilson

#: A figure as a function of cases' weights, shape (n,) -> float (NaN when undefined).
Figure = Callable[[np.ndarray], float]


def by_recording(
    figure: Figure,
    weights: np.ndarray,
    recordings: Sequence[int],
    *,
    draws: int = 400,
    seed: int = 0,
) -> tuple[float, float]:
    """95 % interval of a figure by drawing recordings with replacement.

    Parameters
    ----------
    figure : callable
        From weights to the figure.
    weights : ndarray, shape (n,)
        Weight of every case.
    recordings : sequence of int, length n
        Recording of every case.
    draws, seed : int

    Returns
    -------
    low, high : float
        NaN when the figure is undefined.
    """
    if len(weights) == 0:
        return math.nan, math.nan
    _, group = np.unique(np.asarray(recordings), return_inverse=True)
    count = group.max() + 1
    rng = np.random.default_rng(seed)
    drawn = rng.multinomial(count, np.full(count, 1.0 / count), size=draws)
    values = np.array([figure(weights * times[group]) for times in drawn])
    values = values[np.isfinite(values)]
    if values.size < draws // 4:
        return math.nan, math.nan
    low, high = np.quantile(values, [0.025, 0.975])
    return float(low), float(high)


def union(
    figure: Figure, value: float, weights: np.ndarray, recordings: Sequence[int], **told: int
) -> tuple[float, float]:
    """The bootstrap interval, widened by Wilson's where the figure is a share at 0 or 1.

    A bootstrap of a share that is exactly 0 or 1 has no width; with n recordings the truth
    may still lie 3.8 / (n + 3.8) away.
    """
    low, high = by_recording(figure, weights, recordings, **told)
    if min(value, 1.0 - value) < 1e-9:
        group = len(np.unique(np.asarray(recordings)[weights > 0]))
        a, b = wilson(value * group, group)
        low, high = (
            min(a, value if math.isnan(low) else low),
            max(b, value if math.isnan(high) else high),
        )
    return low, high
