"""Control charts: limits from a machine's own history, and whether a point lies beyond.

The charts are the textbook's, individuals with moving range and EWMA, as in the NIST/SEMATECH
e-Handbook of Statistical Methods, sections 6.3.2.2 and 6.3.2.4.  For a machine they are made
stricter: its history is short and many lines are watched at once, so the
scatter of one line is steadied by that of all, the limits allow for it being an estimate,
and the chance of any false flag in the whole history is kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

#: Mean range of two normal values over their standard deviation.
D2 = 1.128
#: Weight of the newest point in the moving average.
EWMA_WEIGHT = 0.3
#: A pooled scatter counts for at most this many degrees of freedom: lines of one recording
#: are not independent.
_MOST_PRIOR_DF = 16.0


@dataclass(frozen=True)
class ControlLimits:
    """Centre line and control limits."""

    centre: float
    low: float
    high: float

    @staticmethod
    def about(centre: float, half: float) -> ControlLimits:
        """Limits ``half`` away from the centre on both sides."""
        return ControlLimits(centre, centre - half, centre + half)


def moving_range_sigma(values: Sequence[float]) -> float:
    """Standard deviation of an individuals chart: mean moving range over 1.128.

    NIST/SEMATECH e-Handbook 6.3.2.2.

    Parameters
    ----------
    values : sequence of float, at least 2
        In the order of time.
    """
    if len(values) < 2:
        raise ValueError("an individuals chart needs at least two values")
    return float(np.mean(np.abs(np.diff(values)))) / D2


def ewma(values: Iterable[float], start: float, weight: float = EWMA_WEIGHT) -> np.ndarray:
    """Exponentially weighted moving average, shape (n,), of values after ``start``."""
    out, last = [], start
    for value in values:
        last = weight * value + (1.0 - weight) * last
        out.append(last)
    return np.array(out)


def ewma_spread(weight: float = EWMA_WEIGHT, steps: float = math.inf) -> float:
    """Standard deviation of the moving average after so many values, over that of one value.

    Without ``steps`` the one it comes to in the end, sqrt(w / (2 - w)): NIST/SEMATECH
    e-Handbook 6.3.2.4.
    """
    return math.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * steps)))


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of a line from date to date, and how well it is known."""

    sigma: float
    df: float


def steady_scatter(baselines: Sequence[Sequence[float]], *, least: float = 0.0) -> list[Scatter]:
    """The scatter of each line, steadied by that of all lines.

    A variance is taken from the steps from value to value, s^2 = sum d^2 / (2 (n - 1)), as in
    an individuals chart: a machine that changes slowly while its baseline is taken would
    widen its own limits otherwise.  It has about 2 (n - 1)^2 / (3 n - 4) degrees of freedom
    (J. von Neumann et al., Ann. Math. Stat. 12, 1941, 153-162; from memory, checked by
    simulation in the tests).

    Variances of a few values each are drawn towards their common mean by as much as
    they agree: with d degrees of freedom each, s'^2 = (d0 s0^2 + d s^2) / (d0 + d), where d0
    and s0 follow from mean and variance of log s^2 (G. K. Smyth, Stat. Appl. Genet. Mol.
    Biol. 3, 2004, article 3, section 6.2; from memory, checked by simulation in the tests).

    Parameters
    ----------
    baselines : sequence of sequences of float
        Values of each line, at least two each.
    least : float
        No scatter is believed to be below this.
    """
    counts = np.array([float(len(one)) for one in baselines])
    variances = np.array([np.mean(np.diff(one) ** 2) / 2.0 for one in baselines], float)
    df = 2.0 * (counts - 1.0) ** 2 / (3.0 * counts - 4.0)
    if len(variances) == 0:
        return []
    variances = np.maximum(variances, max(least, 1e-3) ** 2)
    if len(variances) < 3:
        alone = [moving_range_sigma(one) for one in baselines]
        return [Scatter(max(s, least, 1e-3), d) for s, d in zip(alone, df, strict=True)]
    from scipy.special import digamma, polygamma

    logs = np.log(variances) - digamma(df / 2) + np.log(df / 2)
    spread = float(np.var(logs, ddof=1) - np.mean(polygamma(1, df / 2)))
    prior_df = _MOST_PRIOR_DF
    if spread > 0:
        prior_df = min(_MOST_PRIOR_DF, 2.0 * _trigamma_inverse(spread))
    s0 = math.exp(float(np.mean(logs)) + float(digamma(prior_df / 2)) - math.log(prior_df / 2))
    pooled = (prior_df * s0 + df * variances) / (prior_df + df)
    return [
        Scatter(max(math.sqrt(v), least), float(d + prior_df))
        for v, d in zip(pooled, df, strict=True)
    ]


def _trigamma_inverse(value: float) -> float:
    """x with trigamma(x) = value, by bisection on a logarithmic scale."""
    from scipy.special import polygamma

    low, high = 1e-4, 1e6
    for _ in range(80):
        middle = math.sqrt(low * high)
        if float(polygamma(1, middle)) > value:
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)


def spent(alpha: float, look: int) -> float:
    """The part of ``alpha`` for the ``look``-th date looked at (1, 2 ...).

    alpha / (look (look + 1)) adds up to alpha over any number of dates, so that nobody
    needs to know beforehand how long a history will be.
    """
    return alpha / (look * (look + 1.0))


@dataclass(frozen=True)
class Judged:
    """One date of one line against its limits.

    Attributes
    ----------
    value, average : float
        The point, and the moving average up to it.
    limits, average_limits : ControlLimits
    beyond : int
        +1 above, -1 below, 0 inside both pairs of limits.
    """

    value: float
    average: float
    limits: ControlLimits
    average_limits: ControlLimits
    beyond: int


def judge_dates(
    values: Sequence[float],
    baseline: int,
    scatter: Scatter,
    *,
    alpha: float,
) -> list[Judged]:
    """Every date after the baseline against limits from it.

    Parameters
    ----------
    values : sequence of float
        One value a date, in the order of time.
    baseline : int
        How many of them, from the first, set the centre.
    scatter : Scatter
    alpha : float
        Chance of any flag in this line's whole history if nothing changes.

    Returns
    -------
    list of Judged
        One for each value after the baseline.  The limits of a single value are t quantiles
        times s sqrt(1 + 1/n), those of the average s sqrt(v + 1/n), v its variance so far:
        the centre is an estimate as well.  Half of alpha goes to each chart.
    """
    from scipy.special import stdtrit

    x = np.asarray(values, float)
    centre = float(x[:baseline].mean())
    later = x[baseline:]
    averages = ewma(later, centre)
    judged = []
    for at, (value, average) in enumerate(zip(later, averages, strict=True)):
        level = spent(alpha, at + 1) / 2.0
        t = float(stdtrit(scatter.df, 1.0 - level / 2.0))
        single = ControlLimits.about(centre, t * scatter.sigma * math.sqrt(1.0 + 1.0 / baseline))
        left = 1.0 - (1.0 - EWMA_WEIGHT) ** (at + 1)  # what of the centre's error it has taken up
        spread = math.hypot(ewma_spread(steps=at + 1), left / math.sqrt(baseline))
        moving = ControlLimits.about(centre, t * scatter.sigma * spread)
        up = value > single.high or average > moving.high
        down = value < single.low or average < moving.low
        judged.append(Judged(value, average, single, moving, int(up) - int(down)))
    return judged
