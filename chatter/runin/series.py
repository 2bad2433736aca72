"""One series for each item: a value a date, the speeds taken together.

At each speed an item is counted from its own mean over the first dates, and the speeds are
then averaged: a room raises a line at one frequency and lowers it at the next, and two speeds
are two frequencies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from chatter.runin.entries import LogEntry
from chatter.runin.items import RATIO, FollowedItem, ItemReadings
from chatter.runin.ties import offsets

#: The first this many dates set centre and scatter.
BASELINE_DATES = 5
#: A speed takes part when it was recorded on this many of them.
_FEWEST_OF_BASELINE = 3


@dataclass(frozen=True)
class Recorded:
    """One recording of idling with what was measured in it."""

    entry: LogEntry
    measured: ItemReadings


@dataclass(frozen=True)
class Dated:
    """One date of a series: value re the mean of the first dates."""

    day: date
    hours: float | None
    value_db: float
    heard: bool


@dataclass(frozen=True)
class Series:
    """One item over the dates.

    Attributes
    ----------
    item : FollowedItem
    speeds : tuple of float
        Stated speeds that take part [rev/min].
    points : tuple of Dated
    tie : str
        What ties the levels: "hum", "stated", "" for ratios.
    reason : str
        Why there are no points, or why they end before the last date; else "".
    """

    item: FollowedItem
    speeds: tuple[float, ...]
    points: tuple[Dated, ...]
    tie: str = ""
    reason: str = ""

    @property
    def ready(self) -> bool:
        """Long enough to be judged."""
        return len(self.points) > BASELINE_DATES


def series_of(recorded: Sequence[Recorded], items: Sequence[FollowedItem]) -> list[Series]:
    """A series for each item; those that no speed gives hold their reason.

    Parameters
    ----------
    recorded : sequence of Recorded
        In the order of time.
    items : sequence of FollowedItem
    """
    if _dates(recorded) < 2:
        return []
    tied, why = _same_post(recorded)
    series = []
    for item in items:
        if item.sort == RATIO:
            series.append(_pooled(recorded, item))
        elif not tied:
            series.append(Series(item, (), (), reason=why))
        else:
            pooled = _pooled(tied, item)
            series.append(
                replace(pooled, reason=f"{why}: levels are not tied across that") if why else pooled
            )
    return series


def _same_post(recorded: Sequence[Recorded]) -> tuple[Sequence[Recorded], str]:
    """The recordings among which levels can be compared, and why not all of them.

    After a change of phone or place a new baseline is begun; until it is there, what the dates
    before the change said is all that can be said.
    """
    post = recorded[-1].entry.listening_post
    if post is None:
        return (), "phone and place are not stated: levels cannot be compared"
    changed = max(
        (k + 1 for k, one in enumerate(recorded) if one.entry.listening_post != post), default=0
    )
    since = recorded[changed:]
    if not changed or _dates(since) > BASELINE_DATES:
        return since, ""
    before = recorded[changed - 1].entry.listening_post
    what = "phone" if before is None or before[0] != post[0] else "place"
    why = f"the {what} changed on {since[0].entry.day.isoformat()}"
    if before is None:
        return (), why
    start = max(
        (k + 1 for k, one in enumerate(recorded[:changed]) if one.entry.listening_post != before),
        default=0,
    )
    return recorded[start:changed], why


def _dates(own: Sequence[Recorded]) -> int:
    return len({one.entry.day for one in own})


def _pooled(recorded: Sequence[Recorded], item: FollowedItem) -> Series:
    """Values of an item by date, averaged over the speeds that were recorded regularly."""
    by_speed: dict[float, dict[date, list[tuple[float, bool]]]] = {}
    ties = set()
    for speed in sorted({one.entry.rev_min for one in recorded if one.entry.rev_min}):
        own = [one for one in recorded if one.entry.rev_min == speed]
        pairs, tie = _tied([one for one in own if item.key in one.measured.values], item)
        ties.add(tie)
        for entry, value, heard in pairs:
            by_speed.setdefault(speed, {}).setdefault(entry.day, []).append((value, heard))
    first = sorted({one.entry.day for one in recorded})[:BASELINE_DATES]
    regular = {
        speed: values
        for speed, values in by_speed.items()
        if sum(day in values for day in first) >= min(_FEWEST_OF_BASELINE, len(first))
    }
    tie = "" if item.sort == RATIO else ("hum" if ties <= {"hum"} else "stated")
    points = _points(recorded, item, regular, first)
    return Series(item, tuple(regular), points, tie, _hidden_since(recorded, item, points))


def _hidden_since(recorded: Sequence[Recorded], item: FollowedItem, points: Sequence[Dated]) -> str:
    """Why a series ends before the last date; "" when it does not."""
    last = points[-1].day if points else date.min
    later = [one for one in recorded if item.key in one.measured.hidden and one.entry.day > last]
    if not later:
        return ""
    first = min(one.entry.day for one in later).isoformat()
    if any(item.key in one.measured.combed for one in later):
        return f"from {first} on it lies on the lines of something else that turns"
    return f"from {first} on a louder bearing hides it"


def _points(
    recorded: Sequence[Recorded],
    item: FollowedItem,
    regular: dict[float, dict[date, list[tuple[float, bool]]]],
    first: Sequence[date],
) -> tuple[Dated, ...]:
    hours = {one.entry.day: one.entry.hours for one in recorded}
    # What is hidden at one speed and seems to be there at another is the louder thing itself.
    hidden = {
        one.entry.day
        for one in recorded
        if item.key in one.measured.hidden and one.entry.rev_min in regular
    }
    centres = {
        speed: float(np.mean([np.mean([v for v, _ in values[d]]) for d in first if d in values]))
        for speed, values in regular.items()
    }
    points = []
    for day in sorted({day for values in regular.values() for day in values} - hidden):
        there = [
            (values[day], centres[speed]) for speed, values in regular.items() if day in values
        ]
        value = float(np.mean([np.mean([v for v, _ in own]) - centre for own, centre in there]))
        heard = any(flag for own, _ in there for _, flag in own)
        points.append(Dated(day, hours[day], value, heard))
    return tuple(points)


def _tied(
    own: Sequence[Recorded], item: FollowedItem
) -> tuple[list[tuple[LogEntry, float, bool]], str]:
    """Values of one speed; levels counted from the hum where all recordings hold it."""
    if item.sort == RATIO:
        gains, tie = [0.0] * len(own), ""
    else:
        gains_heard = offsets([recorded.measured.references for recorded in own])
        known = [gain for gain in gains_heard if gain is not None]
        tie = "hum" if len(known) == len(gains_heard) else "stated"
        gains = known if tie == "hum" else [0.0] * len(own)
    pairs = []
    for recorded, gain in zip(own, gains, strict=True):
        value = recorded.measured.values[item.key]
        pairs.append((recorded.entry, value.value_db - gain, value.heard))
    return pairs, tie
