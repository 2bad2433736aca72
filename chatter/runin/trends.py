"""Trends: each item from date to date, and whether it is better, same, worse, or can't tell.

The first dates are the machine's own baseline; every later date is held against limits from
it.  The chance of any false flag, over all items and all dates together, is kept below
``FALSE_FLAGS``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from chatter.runin.charts import Judged, Scatter, judge_dates, steady_scatter
from chatter.runin.items import LEVEL, RATIO, FollowedItem
from chatter.runin.series import BASELINE_DATES, Dated, Recorded, Series, series_of

#: Chance of any false flag in a whole run-in.
FALSE_FLAGS = 0.05
#: A change that is surely smaller than this counts as "same".  Common practice, no source.
SAME_DB = 5.0
#: No line is believed to scatter by less: waves, temperature, where the phone stood.
_LEAST_SIGMA_DB = 0.6
#: Sidebands must have grown by this much more than their mesh fell.
_FELL_TOGETHER_DB = 2.0
#: Levels that nothing ties must have moved by this much more than the others, ...
_MOVED_ALONE_DB = SAME_DB
#: ... of which there must be two at least: one alone may be a phone that stood farther off.
_OTHERS = 2

VERDICTS = ("worse", "better", "same", "cannot_tell")


@dataclass(frozen=True)
class Trend:
    """One item over the dates.

    Attributes
    ----------
    item : FollowedItem
    speeds : tuple of float
        Stated speeds that were averaged [rev/min].
    verdict : str
        One of VERDICTS.
    change_db, low_db, high_db : float or None
        Latest date against the baseline, with its 95 % interval.
    points : tuple of Dated
    judged : tuple of Judged
        One for each point after the baseline.
    since : date or None
        First date of the flagged stretch that is still on.
    reason : str
        Why it cannot tell, or how far what is told reaches; else "".
    tie : str
        What ties the levels: "hum", "stated", "" for ratios.
    """

    item: FollowedItem
    speeds: tuple[float, ...]
    verdict: str
    change_db: float | None
    low_db: float | None
    high_db: float | None
    points: tuple[Dated, ...]
    judged: tuple[Judged, ...] = ()
    since: date | None = None
    reason: str = ""
    tie: str = ""


def trends(recorded: Sequence[Recorded], items: Sequence[FollowedItem]) -> tuple[Trend, ...]:
    """Every item, once there is more than one date.

    Parameters
    ----------
    recorded : sequence of Recorded
        In the order of time.
    items : sequence of FollowedItem
    """
    series = series_of(recorded, items)
    ready = [one for one in series if one.ready]
    scatters = _scatters(ready)
    alpha = FALSE_FLAGS / max(1, len(ready))
    judged = [
        _judged(one, scatters[one.item.key], alpha) if one.ready else _untold(one) for one in series
    ]
    judged = [_unless_mesh_fell(one, judged) for one in judged]
    return tuple(_unless_all_moved(one, judged) for one in judged)


def _scatters(series: Sequence[Series]) -> dict[str, Scatter]:
    """Ratios and levels scatter unlike: each sort is steadied among its own."""
    scatters: dict[str, Scatter] = {}
    for sort in (RATIO, LEVEL):
        own = [followed for followed in series if followed.item.sort == sort]
        baselines = [[p.value_db for p in followed.points[:BASELINE_DATES]] for followed in own]
        for followed, scatter in zip(
            own, steady_scatter(baselines, least=_LEAST_SIGMA_DB), strict=True
        ):
            scatters[followed.item.key] = scatter
    return scatters


def _untold(series: Series) -> Trend:
    reason = series.reason
    if not reason and not series.points:
        reason = "it is not heard, or cannot be parted from other lines, at these speeds"
    if not reason:
        count = len(series.points)
        reason = (
            f"{count} {'date' if count == 1 else 'dates'} so far: the first {BASELINE_DATES} set "
            "the limits, the next is the first to be judged"
        )
    return Trend(
        series.item,
        series.speeds,
        "cannot_tell",
        None,
        None,
        None,
        series.points,
        (),
        None,
        reason,
        series.tie,
    )


def _judged(series: Series, scatter: Scatter, alpha: float) -> Trend:
    from scipy.special import stdtrit

    dates = judge_dates([p.value_db for p in series.points], BASELINE_DATES, scatter, alpha=alpha)
    signs = _signs(series, dates)
    change = series.points[-1].value_db
    t = float(stdtrit(scatter.df, 0.975))
    half = t * scatter.sigma * math.sqrt(1 + 1 / BASELINE_DATES)
    low, high = change - half, change + half
    verdict, since, reason = "cannot_tell", None, ""
    # Strikes are heard over a broad band.  A line may be raised once by where the phone
    # stood: it must lie beyond the limits on two dates in a row.
    sure = series.item.strikes or (len(signs) > 1 and signs[-2] == signs[-1])
    if signs[-1] and sure:
        verdict = "worse" if signs[-1] > 0 else "better"
        start = len(signs) - 1
        while start and signs[start - 1] == signs[-1]:
            start -= 1
        since = series.points[BASELINE_DATES + start].day
        before = series.reason.partition(": levels are not")[0]
        reason = before and f"{before}; this is of the dates before"
    elif series.reason:
        reason = series.reason
    elif signs[-1]:
        reason = "beyond its limits for the first time: record again before believing it"
    elif low > -SAME_DB and high < SAME_DB:
        verdict = "same"
    else:
        reason = f"inside its limits, but known no better than {low:+.0f} to {high:+.0f} dB"
    return Trend(
        series.item, series.speeds, verdict, change, low, high, series.points, tuple(dates),
        since, reason, series.tie,
    )  # fmt: skip


def _signs(series: Series, dates: Sequence[Judged]) -> list[int]:
    """Which dates lie beyond the limits and are more than noise.

    What rises must be heard, what falls must have been.  Strikes that fade may only be
    drowned: a bearing is never called better.
    """
    base = series.points[:BASELINE_DATES]
    may_fall = sum(p.heard for p in base) >= 0.5 * BASELINE_DATES and not series.item.strikes
    signs = []
    for point, judged in zip(series.points[BASELINE_DATES:], dates, strict=True):
        real = point.heard if judged.beyond > 0 else may_fall
        signs.append(judged.beyond if real else 0)
    return signs


def _unless_mesh_fell(trend: Trend, every: Sequence[Trend]) -> Trend:
    """Sidebands that stand out only because their mesh fell by as much have not grown."""
    if trend.verdict != "worse" or not trend.item.key.endswith(":sidebands"):
        return trend
    for level in every:
        if level.item.part != trend.item.part or level.item.sort != LEVEL:
            continue
        if level.change_db is None:
            continue
        if (trend.change_db or 0.0) + min(level.change_db, 0.0) < _FELL_TOGETHER_DB:
            why = f"they stand out more because the mesh fell by {-level.change_db:.0f} dB"
            return replace(trend, verdict="cannot_tell", since=None, reason=why)
    return trend


def _unless_all_moved(trend: Trend, every: Sequence[Trend]) -> Trend:
    """A level that moved with all the others, or that nothing is beside, is the phone's distance.

    Where hum ties the levels a phone farther off cancels; where only the word of the machinist
    does, it does not.
    """
    if (
        trend.item.sort != LEVEL
        or trend.tie != "stated"
        or trend.verdict not in ("better", "worse")
    ):
        return trend
    others = [
        other.change_db
        for other in every
        if other is not trend and other.item.sort == LEVEL and other.change_db is not None
    ]
    change = trend.change_db or 0.0
    if len(others) < _OTHERS:
        if trend.verdict == "worse":
            return trend
        why = f"one level alone fell by {-change:.0f} dB: was the phone at the same distance?"
        return replace(trend, verdict="cannot_tell", since=None, reason=why)
    together = float(np.median(others))
    if abs(together) < _FELL_TOGETHER_DB or together * change < 0.0:
        return trend
    if abs(change - together) >= _MOVED_ALONE_DB:
        return trend
    moved = "fell" if together < 0 else "rose"
    why = f"all levels {moved} by about {abs(together):.0f} dB: was the phone at the same distance?"
    return replace(trend, verdict="cannot_tell", since=None, reason=why)
