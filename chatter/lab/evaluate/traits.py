"""Traits: what the sound of one pass is like, measured alike on made and on real recordings.

True speed and times are given: nothing is searched for but the last per cent of the speed.
Levels are of mean spectra of Hann windows of one second.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

#: A line counts from this height over the floor about it [dB].
LINE_DB = 10.0
#: Orders of the turn that are looked at.
ORDERS = 59


@dataclass(frozen=True)
class Given:
    """One pass with what is true of it."""

    part: np.ndarray  # samples, shape (n,)
    rate_hz: int
    rev_min: float
    teeth: int
    rest: np.ndarray | None = None  # all samples outside passes; None where there is no rest
    chatter_hz: float | None = None


@dataclass(frozen=True)
class Traits:
    """Measures of one pass; NaN where it says nothing."""

    turn_orders: float  # non-tooth orders of the turn that are lines, of the first 59
    turn_median_db: float  # median of those orders over the floor
    turn_first_db: float  # 1 x the turn over the floor
    side_db: float  # side lines at the turn re the strongest tooth line
    once_share: float  # strokes rising and falling once a turn, share of the mean
    scatter_share: float  # strokes differing besides, share of the mean
    wander_hz: float  # strongest line, from frame to frame of 0.25 s
    wander_share: float
    low_floor_db: float  # floor at 60-125 Hz over that at 1 kHz
    tooth_db: float  # tooth fundamental over the floor
    contrast_db: float  # over the rest of the recording
    lines: float  # all lines, 60-8000 Hz
    off_grid_turns: float  # strongest line's distance from the grid of the turn [orders]
    off_grid_teeth: float  # ... and from that of the teeth
    family_db: float  # chatter: lines one and two tooth passings to its sides
    chatter_db: float  # chatter: its line over the floor


NAMES = tuple(one.name for one in fields(Traits))


def traits_of(given: Given) -> Traits:
    """Measure one pass.

    Parameters
    ----------
    given : Given
        With at least two seconds of sound, or eight turns.
    """
    x = given.part.astype(float)
    size = min(len(x), given.rate_hz)
    power = _spectrum(x, size)
    hz = np.fft.rfftfreq(2 * size, 1 / given.rate_hz)
    over = _over_floor(power, hz)
    turn_hz = _refined(over, hz, given.rev_min / 60)
    tooth_hz = turn_hz * given.teeth
    quick = tooth_hz > 60 and given.teeth > 1
    once, scatter = _strokes(x, given.rate_hz, turn_hz, given.teeth)
    strongest, wander = _wander(x, given.rate_hz, power, hz)
    turns, teeth = _off_grid(x, given.rate_hz, strongest, turn_hz, given.teeth)
    kept = [k for k in range(1, ORDERS + 1) if k % given.teeth] if given.teeth > 1 else []
    levels = np.array([_at(over, hz, k * turn_hz) for k in kept])
    nan = float("nan")
    family = nan
    if given.chatter_hz is not None:
        beside = [given.chatter_hz + k * tooth_hz for k in (-2, -1, 1, 2)]
        family = float(np.nanmedian([_at(over, hz, f) for f in beside if f > 60]))
    return Traits(
        turn_orders=float(np.sum(levels >= LINE_DB)) if quick else nan,
        turn_median_db=float(np.nanmedian(levels)) if quick else nan,
        turn_first_db=_at(over, hz, turn_hz) if quick and turn_hz > 12 else nan,
        side_db=_sides(power, hz, turn_hz, given.teeth) if quick else nan,
        once_share=once,
        scatter_share=scatter,
        wander_hz=wander,
        wander_share=wander / strongest,
        low_floor_db=_band(power, hz, 60, 125) - _band(power, hz, 900, 1100),
        tooth_db=_at(over, hz, tooth_hz) if quick else nan,
        contrast_db=_contrast(x, given.rest),
        lines=float(_count(over, hz)),
        off_grid_turns=turns,
        off_grid_teeth=teeth,
        family_db=family,
        chatter_db=nan if given.chatter_hz is None else _at(over, hz, given.chatter_hz, 0.005),
    )


def _spectrum(x: np.ndarray, size: int) -> np.ndarray:
    from scipy.fft import rfft

    window = np.hanning(size)
    starts = range(0, len(x) - size + 1, max(1, size // 2))
    return np.mean([np.abs(rfft(x[i : i + size] * window, 2 * size)) ** 2 for i in starts], axis=0)


def _over_floor(power: np.ndarray, hz: np.ndarray) -> np.ndarray:
    """Spectrum over its median within 60 Hz or 4 % to either side [dB]."""
    from scipy.ndimage import median_filter

    level = 10 * np.log10(power + 1e-20)
    step = hz[1]
    floor = median_filter(level, int(120 / step) | 1, mode="nearest")
    coarse = median_filter(level[::4], int(240 / step / 2) | 1, mode="nearest")
    wide = np.interp(hz, hz[::4], coarse)
    return level - np.where(hz > 1500, wide, floor)


def _at(over: np.ndarray, hz: np.ndarray, f: float, near: float = 0.0) -> float:
    """Greatest level within a hertz of ``f``, or within the share ``near`` of it."""
    if not 0 < f < hz[-1] * 0.95:
        return float("nan")
    reach = max(1.0, near * f)
    low, high = np.searchsorted(hz, (f - reach, f + reach))
    return float(over[low : high + 1].max())


def _refined(over: np.ndarray, hz: np.ndarray, turn_hz: float) -> float:
    """Turns per second within 0.5 %, where the first orders of it stand out most."""
    ratios = np.linspace(0.995, 1.005, 101)
    orders = np.arange(1, ORDERS + 1)
    sums = []
    for ratio in ratios:
        f = orders * turn_hz * ratio
        f = f[(f > 20) & (f < 0.9 * hz[-1])]
        sums.append(np.maximum(np.interp(f, hz, over), 0).sum() if len(f) else 0.0)
    sums = np.array(sums)
    return turn_hz * float(ratios[int(np.argmax(sums))]) if sums.max() > 0 else turn_hz


def _sides(power: np.ndarray, hz: np.ndarray, turn_hz: float, teeth: int) -> float:
    lines = [k * teeth * turn_hz for k in range(1, 11) if k * teeth * turn_hz < 0.4 * hz[-1] * 2]
    if not lines or turn_hz < 3:
        return float("nan")
    level = [_at(power, hz, f) for f in lines]
    f = lines[int(np.nanargmax(level))]
    beside = (_at(power, hz, f - turn_hz) + _at(power, hz, f + turn_hz)) / 2
    return float(10 * np.log10(beside / np.nanmax(level)))


def _strokes(x: np.ndarray, rate_hz: int, turn_hz: float, teeth: int) -> tuple[float, float]:
    """How the envelope of 200-8000 Hz differs from stroke to stroke, by whole orders of it.

    Taken in stretches of ten turns, each with a phase of its own; what stands half an order
    beside is chance and is taken off.
    """
    if teeth < 2:
        return float("nan"), float("nan")
    from scipy.signal import butter, sosfilt

    sos = butter(4, (200, min(8000, 0.45 * rate_hz)), "bandpass", fs=rate_hz, output="sos")
    envelope = np.abs(sosfilt(sos, x))
    size = int(10 * rate_hz / turn_hz)
    if len(envelope) < size:
        return float("nan"), float("nan")
    pieces = envelope[: len(envelope) // size * size].reshape(-1, size)
    lines = np.fft.rfft(pieces - pieces.mean(axis=1, keepdims=True), axis=1)
    power = np.mean(np.abs(lines / pieces.sum(axis=1, keepdims=True)) ** 2, axis=0)
    orders = np.arange(1, max(1, teeth // 2) + 1)
    chance = (power[10 * orders - 4] + power[10 * orders + 4]) / 2
    share = np.maximum(power[10 * orders] - chance, 0)
    # A rise and fall of share m gives a line of m / 2; the share of the others is r.m.s.
    return 2 * float(np.sqrt(share[0])), float(np.sqrt(2 * share[1:].sum()))


def _wander(x: np.ndarray, rate_hz: int, power: np.ndarray, hz: np.ndarray) -> tuple[float, float]:
    able = (hz > 60) & (hz < min(6000, 0.45 * rate_hz))
    strongest = float(hz[able][np.argmax(power[able])])
    size = rate_hz // 4
    frames = x[: len(x) // size * size].reshape(-1, size) * np.hanning(size)
    if len(frames) < 3:
        return strongest, float("nan")
    fine = np.abs(np.fft.rfft(frames, 8 * size, axis=1))
    bins = np.fft.rfftfreq(8 * size, 1 / rate_hz)
    near = np.abs(bins - strongest) < max(6.0, 0.015 * strongest)
    found = bins[near][np.argmax(fine[:, near], axis=1)]
    return strongest, float(np.std(found))


def _off_grid(
    x: np.ndarray, rate_hz: int, near_hz: float, turn_hz: float, teeth: int
) -> tuple[float, float]:
    """Distance of the strongest line from the grids, resolved by the whole pass."""
    from scipy.fft import next_fast_len, rfft

    size = next_fast_len(len(x), real=True)
    power = np.abs(rfft(x * np.hanning(len(x)), size)) ** 2
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    near = np.flatnonzero(np.abs(hz - near_hz) < 1.5)
    f = float(hz[near[np.argmax(power[near])]])
    turns, strokes = f / turn_hz, f / turn_hz / teeth
    return abs(turns - round(turns)), abs(strokes - round(strokes))


def _band(power: np.ndarray, hz: np.ndarray, low: float, high: float) -> float:
    return float(10 * np.log10(np.median(power[(hz >= low) & (hz < high)]) + 1e-20))


def _contrast(x: np.ndarray, rest: np.ndarray | None) -> float:
    if rest is None or not len(rest):
        return float("nan")
    return float(
        10 * np.log10((np.mean(x**2) + 1e-12) / (np.mean(rest.astype(float) ** 2) + 1e-12))
    )


def _count(over: np.ndarray, hz: np.ndarray) -> int:
    able = (hz > 60) & (hz < 8000)
    peak = (over >= np.roll(over, 1)) & (over > np.roll(over, -1)) & (over >= LINE_DB)
    at = hz[peak & able]
    return 0 if len(at) == 0 else 1 + int(np.sum(np.diff(at) > 2.0))
