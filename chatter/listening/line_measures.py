"""Every narrow line of a segment, measured for what tells chatter from teeth, turn and machine.

A forced vibration sits on a multiple of the tooth-passing or revolution frequency; a machine's
tone is there while nothing is cut; a resonance that is struck flickers.  Regenerative chatter is
none of these: it is new in the cut, takes a large share of what the cut adds, is swollen by the
teeth that feed it, has members one tooth passing (or, with runout, one turn) apart, and lies off
the grid of the turn.  None of this is a gate: each is a number, missing (NaN) where it cannot be
had, and the model weighs them together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.listening.decibels import NAN, decibels, nan_decibels
from chatter.listening.line_swing import swing
from chatter.listening.line_turns import FEWEST_TURNS, TurnClocks, turn_grid
from chatter.listening.segment_sound import FineSound, SegmentSound, fine_sound
from chatter.listening.spindle import SpeedPosterior
from chatter.listening.track import Track
from chatter.sound.spectrum import row_median

LOWEST_HZ, HIGHEST_HZ = 90.0, 5500.0
#: Candidates of a segment: so many by newness and prominence together, so many by prominence.
_BY_NEWNESS, _BY_PROMINENCE = (6, 5.0), (6, 7.0)  # count, least dB
#: What scatters by less than this [dB] is steady but for rounding, and goes with nothing.
_STEADY_DB = 1e-3
#: From this length on a segment may stand for the machine without the line.
_LONG_S = 0.8


@dataclass(frozen=True)
class LineMeasures:
    """One line with its measures.

    Attributes
    ----------
    segment : int
        Number of the segment it was found in.
    frequency_hz : float
    levels_db, prominences_db : ndarray, shape (segments,)
        At its place in every segment of the recording.
    values : dict
        Name -> number; what cannot be had is left out or NaN.
    """

    segment: int
    frequency_hz: float
    levels_db: np.ndarray
    prominences_db: np.ndarray
    values: dict[str, float]


def measure_lines(
    track: Track,
    sounds: tuple[SegmentSound, ...],
    number: int,
    speed: SpeedPosterior,
    *,
    idle: SegmentSound | None = None,
) -> tuple[LineMeasures, ...]:
    """Measure the lines of one segment against the others.

    Parameters
    ----------
    track : Track
    sounds : tuple of SegmentSound
        All segments of the recording.
    number : int
        Which of them.
    speed : SpeedPosterior
    idle : SegmentSound, optional
        The same machine idling, from another recording on the same bins.
    """
    own = sounds[number]
    others = tuple(one for i, one in enumerate(sounds) if i != number)
    top = min(HIGHEST_HZ, 0.45 * own.rate_hz)
    quiet = min(others, key=lambda one: one.level(LOWEST_HZ, top), default=None)
    places, prominence = _candidates(own, quiet, top)
    if not len(places):
        return ()
    fine = fine_sound(track, own.span)
    turns = TurnClocks(fine, speed)
    strongest = float(_peaks(own, top)[1].max())
    lines = []
    for i, prom in zip(places, prominence, strict=True):
        coarse = i * own.step_hz
        f = _refined(fine, coarse, own.step_hz)
        values = {"prominence_db": float(prom), "gap_db": float(prom) - strongest}
        values |= _shares(own, quiet, i, top)
        if idle is not None:
            values["over_idle_db"] = float(prom) - decibels(idle.prominence(coarse))
        values |= _course(own, i, top)
        values |= _place(fine, f, speed)
        values |= _family(own, fine, f, speed)
        values |= _shape(fine, f)
        values |= swing(fine, f, speed)
        if fine.length_s * speed.spindle_hz >= FEWEST_TURNS:
            values |= turn_grid(f, turns)
        levels = np.array([decibels(one.near(coarse)) for one in sounds])
        stands = np.array([nan_decibels(one.prominence(coarse)) for one in sounds])
        lines.append(LineMeasures(number, f, levels, stands, values))
    return tuple(lines)


def _peaks(own: SegmentSound, top_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Bins of local maxima, and their prominence [dB]."""
    m = own.mean
    bins = np.flatnonzero((m[1:-1] >= m[:-2]) & (m[1:-1] > m[2:])) + 1
    bins = bins[(bins > 0.8 * LOWEST_HZ / own.step_hz) & (bins < top_hz / own.step_hz)]
    return bins, 10.0 * np.log10(np.maximum(m[bins] / np.maximum(own.floor[bins], 1e-20), 1e-20))


def _candidates(
    own: SegmentSound, quiet: SegmentSound | None, top_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    bins, prominence = _peaks(own, top_hz)
    if not len(bins):
        return bins, prominence
    new = prominence
    if quiet is not None:
        there = np.maximum.reduce([quiet.mean[bins + d] for d in (-1, 0, 1)])
        rise = 10.0 * np.log10(np.maximum(own.mean[bins] / np.maximum(there, 1e-20), 1e-20))
        new = np.minimum(prominence, rise)
    picked: set[int] = set()
    for score, (count, least) in ((new, _BY_NEWNESS), (prominence, _BY_PROMINENCE)):
        best = np.argsort(-score)[:count]
        picked |= set(best[score[best] > least].tolist())
    chosen = np.array(sorted(picked), int)
    return bins[chosen], prominence[chosen]


def _refined(fine: FineSound, coarse_hz: float, reach_hz: float) -> float:
    low = int((coarse_hz - 1.2 * reach_hz) / fine.step_hz)
    high = int((coarse_hz + 1.2 * reach_hz) / fine.step_hz) + 1
    return (low + int(np.argmax(fine.power[low:high]))) * fine.step_hz


def _shares(
    own: SegmentSound, quiet: SegmentSound | None, i: int, top_hz: float
) -> dict[str, float]:
    """The line's part of the sound, of what the segment adds, and of its own surroundings."""
    step = own.step_hz
    low, high = int(LOWEST_HZ / step), int(top_hz / step)
    mean = own.mean
    line = float(mean[i - 2 : i + 3].sum())
    band = int(120.0 / step)
    near = float(mean[max(0, i - band) : i + band + 1].sum())
    excess = mean[low:high]
    if quiet is not None and quiet.level(LOWEST_HZ, top_hz) < 0.8 * own.level(LOWEST_HZ, top_hz):
        excess = np.maximum(excess - quiet.mean[low:high], 0.0)
    added = float(excess[max(0, i - low - 2) : i - low + 3].sum())
    return {
        "share_db": decibels(line / max(float(mean[low:high].sum()), 1e-20)),
        "added_share_db": decibels(added / max(float(excess.sum()), 1e-20)),
        "near_share_db": decibels(line / max(near, 1e-20)),
    }


def held_against_others(
    line: LineMeasures, lengths_s: np.ndarray, segments_db: np.ndarray
) -> dict[str, float]:
    """The line against the same place in the other segments, as level and as prominence.

    Parameters
    ----------
    line : LineMeasures
    lengths_s : ndarray, shape (segments,)
    segments_db : ndarray, shape (segments,)
        Level of each segment.

    Returns
    -------
    dict
        Empty where there is no other segment: that is no evidence that the line is old.
    """
    others = np.flatnonzero(np.arange(lengths_s.size) != line.segment)
    if not others.size:
        return {}
    levels, stands = line.levels_db, line.prominences_db
    here, prominent = float(levels[line.segment]), float(stands[line.segment])
    quiet = int(others[np.argmin(segments_db[others])])
    long = others[lengths_s[others] >= _LONG_S]
    return {
        "over_quietest_db": here - float(levels[quiet]),
        "over_all_loudest_db": here - float(levels[others].max()),
        "over_all_mean_db": here - float(levels[others].mean()),
        "over_all_least_db": here - float(levels[long].min()) if long.size else NAN,
        "stands_over_quietest_db": prominent - float(stands[quiet]),
        "stands_over_middle_db": prominent - float(np.nanmedian(stands[others])),
    }


def _course(own: SegmentSound, i: int, top_hz: float) -> dict[str, float]:
    """The line's level from frame to frame."""
    power = own.power
    frames = power.shape[0]
    level = 10.0 * np.log10(np.maximum(power[:, i - 1 : i + 2].max(axis=1), 1e-20))
    beside = np.concatenate([power[:, max(0, i - 12) : i - 3], power[:, i + 4 : i + 13]], axis=1)
    floor = 10.0 * np.log10(np.maximum(row_median(beside), 1e-20))
    values = {"stands_share": float(np.mean(level - floor > 6.0))}
    if frames < 8:
        return values
    low, high = int(LOWEST_HZ / own.step_hz), int(top_hz / own.step_hz)
    whole = 10.0 * np.log10(np.maximum(power[:, low:high].sum(axis=1), 1e-20))
    values["flicker_db"] = float(np.median(np.abs(np.diff(level[::3]))) * 1.4826 / np.sqrt(2.0))
    values["late_over_early_db"] = float(
        level[frames // 2 :].mean() - level[: max(1, frames // 4)].mean()
    )
    if min(level.std(), whole.std()) > _STEADY_DB:
        values["with_whole"] = float(np.corrcoef(level, whole)[0, 1])
    return values


def _place(fine: FineSound, f: float, speed: SpeedPosterior) -> dict[str, float]:
    """Where the line lies between multiples of tooth and turn, and how likely by chance."""
    error = math.hypot(0.25 / fine.length_s, f * max(speed.spread, 1e-4))
    values = {}
    for name, spacing, offset in (
        ("tooth", speed.tooth_hz, 0.0),
        ("turn", speed.spindle_hz, 0.0),
        ("half_tooth", speed.tooth_hz, 0.5),
    ):
        order = f / spacing - offset
        away = abs(order - round(order))
        known = error < 0.15 * spacing
        values[f"off_{name}"] = away if known else NAN
        values[f"off_{name}_odds"] = _off_odds(away * spacing, spacing, error)
    return values


def _off_odds(away_hz: float, spacing_hz: float, error_hz: float) -> float:
    """Log-likelihood ratio of "anywhere" against "on a multiple", 0 when the grid is covered."""
    if error_hz > 0.25 * spacing_hz:
        return 0.0
    anywhere = math.log(2.0 / spacing_hz)
    on = -math.log(error_hz * math.sqrt(2.0 * math.pi)) - 0.5 * (away_hz / error_hz) ** 2
    on = float(np.logaddexp(on + math.log(0.98), anywhere + math.log(0.02)))
    return float(np.clip(anywhere - on, -6.0, 4.0))


def _family(
    own: SegmentSound, fine: FineSound, f: float, speed: SpeedPosterior
) -> dict[str, float]:
    """Members one tooth passing, or one turn, apart; harmonics; the teeth's lines beside it."""
    tooth, turn = speed.tooth_hz, speed.spindle_hz
    whole, half = np.array([-3, -2, -1, 1, 2, 3]), np.array([-2.5, -1.5, -0.5, 0.5, 1.5, 2.5])

    def coarse(steps: tuple[float, ...]) -> float:
        levels = [decibels(p) for p in (own.prominence(f + k * tooth) for k in steps) if p == p]
        return float(np.mean(levels)) if levels else NAN

    values = {}
    if tooth > 3.0 * own.step_hz:
        values["family_db"] = coarse((-2, -1, 1, 2))
    if tooth > 6.0 * own.step_hz:
        values["family_over_half_db"] = values["family_db"] - coarse((-1.5, -0.5, 0.5, 1.5))
    if tooth * fine.length_s > 6.0:
        values["fine_family_db"] = fine.levels_db(f, whole * tooth) - fine.levels_db(
            f, half * tooth
        )
    if turn * fine.length_s > 6.0:
        values["turn_family_db"] = fine.levels_db(f, whole * turn) - fine.levels_db(f, half * turn)
    nearest = round(f / tooth)
    beside = [
        own.near(k * tooth)
        for k in (nearest - 1, nearest, nearest + 1)
        if k > 0 and abs(k * tooth - f) > max(2.0 * own.step_hz, 0.1 * tooth)
    ]
    floor = float(own.floor[round(f / own.step_hz)])
    values["over_teeth_db"] = decibels(own.near(f) / max(*beside, floor, 1e-20) if beside else 1.0)
    for name, times in (("second_db", 2.0), ("third_db", 3.0), ("half_db", 0.5)):
        values[name] = nan_decibels(own.prominence(times * f))
    second = own.near(2.0 * f, reach=2)
    if second > 0.0:
        values["second_under_first_db"] = decibels(second / max(own.near(f), 1e-20))
    return values


def _shape(fine: FineSound, f: float) -> dict[str, float]:
    """Width 10 dB below its top, log Hz."""
    top = round(f / fine.step_hz)
    reach = int(30.0 / fine.step_hz)
    low, high = max(0, top - reach), min(fine.power.size, top + reach + 1)
    loud = np.flatnonzero(fine.power[low:high] > 0.1 * fine.power[top]) + low
    gaps = np.flatnonzero(np.diff(loud) > 3)
    at = int(np.searchsorted(loud, top))
    first = loud[gaps[gaps < at][-1] + 1] if (gaps < at).any() else loud[0]
    last = loud[gaps[gaps >= at][0]] if (gaps >= at).any() else loud[-1]
    return {"width_log_hz": math.log((last - first) * fine.step_hz + 1.0 / fine.length_s)}
