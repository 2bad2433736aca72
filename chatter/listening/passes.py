"""Where in the recording the cutter is in the work.

The level over time usually has two or three plateaus: quiet or idling, cutting, and
sometimes cutting with chatter on top of it.  The plateaus are found first; which of them
are cutting is then asked of the teeth (``listening.speed``), not of the level.  The same is
done with courses of the spectrum's shape (``listening.courses``), for where the level fails.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chatter.listening.courses import leading_courses
from chatter.sound.frames import Frames
from chatter.sound.modulation import moving_mean

_LOWEST_HZ = 150.0
_STEP_DB = 4.0  # plateaus closer than this are one
_SHAPE_STEP_DB = 1.5  # the same in courses of shape, where the teeth must confirm it
_SEPARATION = 0.74  # Otsu's between-class share; a single bell curve gives 0.64
_VALLEY = 0.4  # a valley this much lower than both its peaks parts two plateaus
_BIN_DB = 0.25
_MOST_LEVELS = 4


@dataclass(frozen=True)
class Span:
    """A stretch of the recording."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Length of the stretch."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Plateaus:
    """Level over time and the plateaus in it.

    Attributes
    ----------
    time_s, activity_db : ndarray, shape (n,)
        Level over the quietest part, bands weighted by how much they vary.
    thresholds_db : tuple of float
        Ascending limits between the plateaus; empty when there is only one.
    bands_db : ndarray, shape (bands, n), float32
        Band levels that the course was made of.
    others : tuple of Plateaus
        Plateaus of other courses than the level (``listening.courses``), for where a
        phone's gain has flattened the level.
    """

    time_s: np.ndarray
    activity_db: np.ndarray
    thresholds_db: tuple[float, ...]
    bands_db: np.ndarray
    others: tuple[Plateaus, ...] = ()

    def spans_above(self, level: int, *, spindle_hz: float) -> tuple[Span, ...]:
        """Stretches above the ``level``-th threshold (0: everything).

        Gaps under 1.3 revolutions are closed (a saw may touch with a few teeth only);
        what is shorter than two revolutions is dropped.
        """
        step = float(self.time_s[1] - self.time_s[0]) if self.time_s.size > 1 else 0.01
        if level == 0 or not self.thresholds_db:
            return (Span(float(self.time_s[0] - step), float(self.time_s[-1] + step)),)
        on = self.activity_db > self.thresholds_db[level - 1]
        on = close_gaps(on, int(max(0.15, 1.3 / spindle_hz) / step))
        shortest = max(0.3, 2.0 / spindle_hz)
        on = ~close_gaps(~on, int(shortest / step))
        edges = np.flatnonzero(np.diff(np.r_[False, on, False].astype(np.int8)))
        spans = (
            Span(float(self.time_s[a]), float(self.time_s[b - 1])) for a, b in edges.reshape(-1, 2)
        )
        # what the recording's own ends cut off is no gap to be closed, but may be as short
        return tuple(s for s in spans if s.length_s > 0.9 * shortest)

    def ways(self, *, spindle_hz: float) -> tuple[tuple[Span, ...], ...]:
        """The stretches above each threshold."""
        return tuple(
            self.spans_above(level, spindle_hz=spindle_hz)
            for level in range(1, len(self.thresholds_db) + 1)
        )


def find_plateaus(frames: Frames, *, spindle_hz: float) -> Plateaus:
    """Level course of a recording and the limits between its plateaus.

    Parameters
    ----------
    frames : Frames
    spindle_hz : float
        Stated spindle frequency: the level is averaged over one revolution.
    """
    width = max(1, round(max(0.08, 1.0 / spindle_hz) / frames.step_s))
    bands = frames.edges_hz[:-1] >= _LOWEST_HZ
    power = moving_mean(frames.power[:, bands].T, width)
    level = 10.0 * np.log10(power + 1e-14)
    low = np.quantile(level, 0.05, axis=1, keepdims=True)
    high = np.quantile(level, 0.95, axis=1, keepdims=True)
    weight = np.maximum(high - low, 0.5)
    activity = ((level - low) * weight).sum(axis=0) / weight.sum()
    least = max(0.3, 2.0 / spindle_hz) / frames.step_s
    level = level.astype(np.float32)

    def parted(course: np.ndarray, step_db: float) -> Plateaus:
        limits = tuple(sorted(_split(course, least, step_db)))
        return Plateaus(frames.time_s, course, limits, level)

    others = tuple(parted(course, _SHAPE_STEP_DB) for course in leading_courses(level))
    return replace(parted(activity, _STEP_DB), others=others)


def _split(activity: np.ndarray, least: float, step_db: float, depth: int = 0) -> list[float]:
    """Thresholds between plateaus: valleys of the level's distribution, or, where two
    plateaus are joined by long ramps, the best two-class split (Otsu 1979)."""
    if activity.size < 2 * least or depth >= _MOST_LEVELS - 1:
        return []
    cut = _valley(activity, least, step_db)
    if cut is None:
        cut = _two_classes(activity, least, step_db)
    if cut is None:
        return []
    return [
        cut,
        *_split(activity[activity <= cut], least, step_db, depth + 1),
        *_split(activity[activity > cut], least, step_db, depth + 1),
    ]


def _valley(activity: np.ndarray, least: float, step_db: float) -> float | None:
    """Deepest valley between two peaks of the distribution that lie a step apart."""
    low, high = float(activity.min()), float(activity.max())
    if high - low < step_db:
        return None
    edges = np.arange(low - 1.0, high + 1.0 + _BIN_DB, _BIN_DB)
    counts, _ = np.histogram(activity, bins=edges)
    kernel = np.hanning(int(2.5 / _BIN_DB))
    density = np.convolve(counts, kernel / kernel.sum(), mode="same")
    centres = 0.5 * (edges[1:] + edges[:-1])
    left_peak = np.maximum.accumulate(density)
    right_peak = np.maximum.accumulate(density[::-1])[::-1]
    left_at = centres[_argmax_so_far(density)]
    right_at = centres[density.size - 1 - _argmax_so_far(density[::-1])][::-1]
    depth = density / np.maximum(np.minimum(left_peak, right_peak), 1e-9)
    below = np.cumsum(counts)
    usable = (below >= least) & (activity.size - below >= least)
    usable &= right_at - left_at >= step_db
    depth = np.where(usable, depth, np.inf)
    if depth.min(initial=np.inf) > _VALLEY:
        return None
    flat = np.flatnonzero(depth <= depth.min() + 0.02)
    return float(centres[flat].mean())


def _argmax_so_far(values: np.ndarray) -> np.ndarray:
    """Index of the greatest value up to and including each place."""
    best = np.maximum.accumulate(values)
    fresh = np.r_[True, best[1:] > best[:-1]]
    return np.maximum.accumulate(np.where(fresh, np.arange(values.size), 0))


def _two_classes(activity: np.ndarray, least: float, step_db: float) -> float | None:
    counts, edges = np.histogram(activity, bins=120)
    centres = 0.5 * (edges[1:] + edges[:-1])
    below = np.cumsum(counts)
    above = counts.sum() - below
    sum_below = np.cumsum(counts * centres)
    mean_below = sum_below / np.maximum(below, 1)
    mean_above = (sum_below[-1] - sum_below) / np.maximum(above, 1)
    between = below * above * (mean_above - mean_below) ** 2
    between[(below < least) | (above < least)] = 0.0
    best = int(np.argmax(between))
    total = activity.size**2 * float(activity.var())
    if total <= 0 or between[best] / total < max(_SEPARATION, _line_share(activity)):
        return None
    if mean_above[best] - mean_below[best] < step_db:
        return None
    # anywhere in the empty middle serves as well as the best split: take its centre
    same = np.flatnonzero(between > 0.995 * between[best])
    return float(centres[same].mean())


def _line_share(activity: np.ndarray) -> float:
    """Share of the variance that a steady rise or fall explains: a level that only creeps
    fills its range evenly, which two classes explain by 0.75, yet it has no plateaus."""
    time = np.arange(activity.size) - 0.5 * (activity.size - 1)
    slope = float(time @ (activity - activity.mean()))
    return slope**2 / max(float(time @ time) * activity.size * float(activity.var()), 1e-12)


def close_gaps(on: np.ndarray, longest: int) -> np.ndarray:
    """Fill runs of False no longer than ``longest`` that lie between True."""
    out = on.copy()
    edges = np.flatnonzero(np.diff(np.r_[False, on, False].astype(np.int8)))
    for end, start in zip(edges[1:-1:2], edges[2::2], strict=True):
        if start - end <= longest:
            out[end:start] = True
    return out


def cutting_level(
    plateaus: Plateaus,
    *,
    spindle_hz: float,
    tooth_score: Callable[[Span], float],
    heard_score: float,
) -> int:
    """The lowest plateau of cutting (0: the whole recording).

    Parameters
    ----------
    plateaus : Plateaus
    spindle_hz : float
    tooth_score : callable
        How far the tooth comb stands out of a stretch (``speed.comb_score``).
    heard_score : float
        The score that counts as heard.
    """
    tops = len(plateaus.thresholds_db)
    if tops == 0:
        return 0
    best = {}
    for level in range(tops + 1):
        spans = _only(plateaus, level, spindle_hz)
        best[level] = max((tooth_score(s) for s in spans[:2]), default=math.nan)
    # quiet, idling and cutting make three plateaus: climb while teeth are only heard higher up
    level = 1
    while level < tops:
        here = best[level]
        above = max(
            (best[j] for j in range(level + 1, tops + 1) if best[j] == best[j]),
            default=0.0,
        )
        if math.isnan(here) or here >= heard_score or above < heard_score:
            break
        level += 1
    # Chatter that starts within a cut splits it in two plateaus and leaves no idling below.
    # A gear may mesh at the tooth-passing frequency, so this takes strong evidence.
    if level == 1 and len(plateaus.spans_above(1, spindle_hz=spindle_hz)) <= 2:
        top = max((best[j] for j in range(1, tops + 1) if best[j] == best[j]), default=0.0)
        if best[0] >= max(1.4 * heard_score, 0.8 * top):
            level = 0
    return level


def _only(plateaus: Plateaus, level: int, spindle_hz: float) -> list[Span]:
    """Longest stretches that lie in just this plateau."""
    low = plateaus.thresholds_db[level - 1] if level > 0 else -np.inf
    high = plateaus.thresholds_db[level] if level < len(plateaus.thresholds_db) else np.inf
    inside = (plateaus.activity_db > low) & (plateaus.activity_db <= high)
    edges = np.flatnonzero(np.diff(np.r_[False, inside, False].astype(np.int8)))
    spans = [
        Span(float(plateaus.time_s[a]), float(plateaus.time_s[b - 1]))
        for a, b in edges.reshape(-1, 2)
    ]
    shortest = max(0.3, 3.0 / spindle_hz)
    return sorted((s for s in spans if s.length_s >= shortest), key=lambda s: -s.length_s)


def rest_of(plateaus: Plateaus, passes: tuple[Span, ...]) -> tuple[Span, ...]:
    """What lies before, between and after the passes."""
    edges = [
        float(plateaus.time_s[0]),
        *(e for p in passes for e in (p.start_s, p.end_s)),
        float(plateaus.time_s[-1]),
    ]
    spans = (Span(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True))
    return tuple(s for s in spans if s.length_s > 0.1)


def busy(plateaus: Plateaus, passes: tuple[Span, ...], *, spindle_hz: float) -> tuple[Span, ...]:
    """The passes, and every other stretch above the lowest plateau: where a time span was
    stated, what lies outside it may be cutting too and is no idling.  Passes found by
    another course than the level leave nothing else that cuts."""
    if any(passes == way for one in plateaus.others for way in one.ways(spindle_hz=spindle_hz)):
        return passes
    level = min(1, len(plateaus.thresholds_db))
    spans = sorted(
        {*passes, *plateaus.spans_above(level, spindle_hz=spindle_hz)},
        key=lambda s: s.start_s,
    )
    merged: list[Span] = []
    for span in spans:
        if merged and span.start_s <= merged[-1].end_s:
            merged[-1] = Span(merged[-1].start_s, max(merged[-1].end_s, span.end_s))
        else:
            merged.append(span)
    return tuple(merged)
