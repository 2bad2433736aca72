"""Trends: each item from date to date, and whether it is better, same, worse, or can't tell.

One series for each item at each stated speed.  The first dates are the machine's own
baseline; every later date is held against limits from it.  The chance of any false flag, over
all series and all dates together, is kept below ``FALSE_FLAGS``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from chatter.runin.charts import Judged, Scatter, judge, steadied
from chatter.runin.entries import Entry
from chatter.runin.items import LEVEL, RATIO, Item, Measured
from chatter.runin.ties import offsets

#: The first this many dates set centre and scatter.
BASELINE_DATES = 5
#: Chance of any false flag in a whole run-in.
FALSE_FLAGS = 0.03
#: A change that is surely smaller than this counts as "same".  Common practice, no source.
SAME_DB = 5.0
#: No line is believed to scatter by less: waves, temperature, where the phone stood.
_LEAST_SIGMA_DB = 0.6

#: Sidebands must have grown by this much more than their mesh fell.
_FELL_TOGETHER_DB = 2.0

VERDICTS = ("worse", "better", "same", "cannot_tell")


@dataclass(frozen=True)
class Recorded:
    """One recording of idling with what was measured in it."""

    entry: Entry
    measured: Measured


@dataclass(frozen=True)
class Point:
    """One date of a series."""

    day: date
    hours: float | None
    value_db: float  # re the baseline's mean, once there is one
    heard: bool
    judged: Judged | None = None  # None within the baseline


@dataclass(frozen=True)
class Trend:
    """One item at one speed over the dates.

    Attributes
    ----------
    item : Item
    rev_min : float
        As stated.
    verdict : str
        One of VERDICTS.
    change_db, low_db, high_db : float or None
        Latest date against the baseline, with its 95 % interval.
    points : tuple of Point
    since : date or None
        First date of the flagged stretch that is still on.
    reason : str
        Why it cannot tell, or how far what is told reaches; else "".
    tie : str
        What ties the levels: "hum", "stated", "" for ratios.
    """

    item: Item
    rev_min: float
    verdict: str
    change_db: float | None
    low_db: float | None
    high_db: float | None
    points: tuple[Point, ...]
    since: date | None = None
    reason: str = ""
    tie: str = ""


@dataclass(frozen=True)
class _Series:
    item: Item
    rev_min: float
    points: tuple[Point, ...]
    tie: str = ""
    reason: str = ""

    @property
    def ready(self) -> bool:
        """Long enough to be judged."""
        return len(self.points) > BASELINE_DATES


def trends(recorded: Sequence[Recorded], items: Sequence[Item]) -> tuple[Trend, ...]:
    """Every item at every speed that was recorded on more than one date.

    Parameters
    ----------
    recorded : sequence of Recorded
        In the order of time.
    items : sequence of Item
    """
    series: list[_Series] = []
    for speed in sorted({one.entry.rev_min for one in recorded if one.entry.rev_min}):
        own = [one for one in recorded if one.entry.rev_min == speed]
        if len({one.entry.day for one in own}) < 2:
            continue
        for item in items:
            made = _ratio(own, item, speed) if item.sort == RATIO else _level(own, item, speed)
            if made.points or made.reason:
                series.append(made)
    judged = [one for one in series if one.ready]
    scatters = _scatters(judged)
    alpha = FALSE_FLAGS / max(1, len(judged))
    found = [
        _judged(one, scatters[id(one)], alpha) if one.ready else _too_early(one) for one in series
    ]
    return tuple(_unless_mesh_fell(one, found) for one in found)


def _unless_mesh_fell(one: Trend, every: Sequence[Trend]) -> Trend:
    """Sidebands that stand out only because their mesh fell by as much have not grown."""
    if one.verdict != "worse" or not one.item.key.endswith(":sidebands"):
        return one
    for level in every:
        if level.item.part != one.item.part or level.item.sort != LEVEL:
            continue
        if level.rev_min != one.rev_min or level.change_db is None:
            continue
        if (one.change_db or 0.0) + min(level.change_db, 0.0) < _FELL_TOGETHER_DB:
            why = f"they stand out more because the mesh fell by {-level.change_db:.0f} dB"
            return replace(one, verdict="cannot_tell", since=None, reason=why)
    return one


def _scatters(series: Sequence[_Series]) -> dict[int, Scatter]:
    """Ratios and levels scatter unlike: each sort is steadied among its own."""
    found: dict[int, Scatter] = {}
    for sort in (RATIO, LEVEL):
        own = [one for one in series if one.item.sort == sort]
        baselines = [[p.value_db for p in one.points[:BASELINE_DATES]] for one in own]
        for one, scatter in zip(own, steadied(baselines, least=_LEAST_SIGMA_DB), strict=True):
            found[id(one)] = scatter
    return found


def _ratio(own: Sequence[Recorded], item: Item, speed: float) -> _Series:
    pairs = [
        (one.entry, one.measured.values[item.key].value_db, one.measured.values[item.key].heard)
        for one in own
        if item.key in one.measured.values
    ]
    return _Series(item, speed, _by_date(pairs), reason="" if pairs else _unheard(own))


def _unheard(own: Sequence[Recorded]) -> str:
    if not any(one.measured.turning.heard for one in own):
        return "the true speed is not heard: name more gears on the card, or record nearer"
    return "it cannot be parted from other lines at this speed"


def _level(own: Sequence[Recorded], item: Item, speed: float) -> _Series:
    """Levels counted from the hum, as long as phone and place are the same.

    After a change of either a new baseline is begun; until it is there, what the dates before
    the change said is all that can be said.
    """
    heard = [one for one in own if item.key in one.measured.values]
    if not heard:
        return _Series(item, speed, (), reason=_unheard(own))
    post = heard[-1].entry.listening_post
    if post is None:
        why = "phone and place are not stated: levels cannot be compared"
        return _Series(item, speed, (), reason=why)
    changed = max(
        (k + 1 for k, one in enumerate(heard) if one.entry.listening_post != post), default=0
    )
    since = heard[changed:]
    if not changed or _dates(since) > BASELINE_DATES:
        return _series(since, item, speed)
    before = heard[changed - 1].entry.listening_post
    what = "phone" if before is None or before[0] != post[0] else "place"
    why = f"the {what} changed on {since[0].entry.day.isoformat()}"
    earlier = heard[:changed]
    while earlier and before is not None and earlier[0].entry.listening_post != before:
        earlier = earlier[1:]
    if before is None or _dates(earlier) <= BASELINE_DATES:
        return _Series(item, speed, (), reason=why)
    return replace(_series(earlier, item, speed), reason=why)


def _dates(own: Sequence[Recorded]) -> int:
    return len({one.entry.day for one in own})


def _series(own: Sequence[Recorded], item: Item, speed: float) -> _Series:
    pairs, tie = _tied(own, item)
    return _Series(item, speed, _by_date(pairs), tie)


def _tied(own: Sequence[Recorded], item: Item) -> tuple[list[tuple[Entry, float, bool]], str]:
    gains = offsets([one.measured.references for one in own])
    if all(gain is not None for gain in gains):
        tie = "hum"
    else:
        gains, tie = [0.0] * len(own), "stated"
    pairs = []
    for one, gain in zip(own, gains, strict=True):
        value = one.measured.values[item.key]
        pairs.append((one.entry, value.value_db - float(gain or 0.0), value.heard))
    return pairs, tie


def _by_date(pairs: Sequence[tuple[Entry, float, bool]]) -> tuple[Point, ...]:
    """One point a date, the mean of its recordings; values re the baseline's mean."""
    days = sorted({entry.day for entry, _, _ in pairs})
    raw = []
    for day in days:
        own = [(entry, value, heard) for entry, value, heard in pairs if entry.day == day]
        mean = float(np.mean([value for _, value, _ in own]))
        raw.append(Point(day, own[-1][0].hours, mean, any(heard for *_, heard in own)))
    centre = float(np.mean([p.value_db for p in raw[:BASELINE_DATES]])) if raw else 0.0
    return tuple(Point(p.day, p.hours, p.value_db - centre, p.heard) for p in raw)


def _too_early(one: _Series) -> Trend:
    reason = one.reason or (
        f"{len(one.points)} {'date' if len(one.points) == 1 else 'dates'} so far: "
        f"the first {BASELINE_DATES} set the limits, the next is the first to be judged"
    )
    return Trend(
        one.item, one.rev_min, "cannot_tell", None, None, None, one.points, None, reason, one.tie
    )


def _judged(one: _Series, scatter: Scatter, alpha: float) -> Trend:
    from scipy.special import stdtrit

    values = [p.value_db for p in one.points]
    found = judge(values, BASELINE_DATES, scatter, alpha=alpha)
    points = list(one.points[:BASELINE_DATES])
    base_heard = sum(p.heard for p in points) >= 0.5 * BASELINE_DATES
    signs = []
    for point, judged in zip(one.points[BASELINE_DATES:], found, strict=True):
        points.append(Point(point.day, point.hours, point.value_db, point.heard, judged))
        # Noise is no line: what rises must be heard, what falls must have been.
        # Strikes that fade may only be drowned: a bearing is never called better.
        real = point.heard if judged.beyond > 0 else base_heard and not one.item.strikes
        signs.append(judged.beyond if real else 0)
    change = values[-1]
    t = float(stdtrit(scatter.df, 0.975))
    half = t * scatter.sigma * math.sqrt(1 + 1 / BASELINE_DATES)
    low, high = change - half, change + half
    verdict, since, reason = "cannot_tell", None, ""
    if signs[-1]:
        verdict = "worse" if signs[-1] > 0 else "better"
        start = len(signs) - 1
        while start and signs[start - 1] == signs[-1]:
            start -= 1
        since = points[BASELINE_DATES + start].day
        reason = one.reason and f"{one.reason}; told of the dates before"
    elif one.reason:
        reason = f"{one.reason}: levels are not tied across that"
    elif low > -SAME_DB and high < SAME_DB:
        verdict = "same"
    else:
        reason = f"inside its limits, but known no better than {low:+.0f} to {high:+.0f} dB"
    return Trend(
        one.item, one.rev_min, verdict, change, low, high, tuple(points), since, reason, one.tie
    )
