"""Humps: vibration too broad for a line but too strong for a resonance that is merely struck.

Where a tooth is in the work for a small part of the time, chatter starts anew at each
tooth and its phase is lost: its spectrum is then no line but a hump at f_c.  What tells
it from a struck resonance is its strength: it takes over the sound of the cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.listening.tones import FrameSpectra
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import db

_LOWEST_HZ = 90.0
_TOP_HZ = 5500.0
_SPREAD = 1.7  # the wide floor is the median from f / 1.7 to f * 1.7
_NARROW_HZ = 15.0
_NARROW_SHARE = 0.025


@dataclass(frozen=True)
class Hump:
    """The strongest hump off the teeth's own lines.

    Attributes
    ----------
    frequency_hz : float
    prominence_db : float
        Above the median spectrum from f / 1.7 to 1.7 f.
    rise_db : float
        Above the same band while idling; NaN when no idling was heard.
    free_db : float
        Power off the teeth's lines over all power in its band; 0 when nothing is locked.
    sharpness : float
        Frequency over half-power width.
    onset_rise_db : float
        Loudest over quietest fifth of the pass.
    turn_db : float
        Depth to which its level swells with the turn (first two orders); NaN where a
        frame is too long to follow the turn.  A squealing plate does, chatter hardly.
    harmonic_db : float
        How far twice or three times the frequency stands out of its wide floor: a
        vibration that throws the teeth out of the work has harmonics, a resonance that
        is merely excited has none.
    """

    frequency_hz: float
    prominence_db: float
    rise_db: float
    free_db: float
    sharpness: float
    onset_rise_db: float
    turn_db: float
    harmonic_db: float


def half_band_hz(frequency_hz: float | np.ndarray) -> np.ndarray:
    """Half the width [Hz] of the band that counts as a hump, for one frequency or many."""
    return np.maximum(_NARROW_HZ, _NARROW_SHARE * frequency_hz) / 2


def strongest_hump(
    spectra: FrameSpectra,
    idle: np.ndarray | None,
    *,
    spindle_hz: float,
    teeth: int,
    speed_error: float,
) -> Hump | None:
    """The strongest hump of a pass, None in silence or when the band is too narrow for any.

    Parameters
    ----------
    spectra : FrameSpectra
    idle : ndarray, shape (bins or more,), or None
    spindle_hz : float
    teeth : int
    speed_error : float
        Relative standard error of the speed.
    """
    step = spectra.step_hz
    first, last = int(_LOWEST_HZ / step), min(int(_TOP_HZ / step), spectra.mean.size - 1)
    if last - first < 40:
        return None
    mean = spectra.mean[: last + 1].astype(np.float64)
    cut = mean if idle is None else np.maximum(mean - idle[: last + 1], 0.05 * mean)
    free = _without_comb(cut, step, teeth * spindle_hz, speed_error)
    if step < spindle_hz / 12.0:  # revolution orders can be told apart too
        free = _without_comb(free, step, spindle_hz, speed_error)
    bins = np.arange(last + 1)
    half = half_band_hz(bins * step) / step
    smooth = _band_mean(free, bins - half, bins + half)
    whole = _band_mean(cut, bins - half, bins + half)
    # the wide floor on a coarse log grid, since a median over thousands of bins is slow
    grid = np.unique(np.geomspace(first, last, 90).astype(int))
    floor = np.array([np.median(smooth[int(g / _SPREAD) : int(g * _SPREAD) + 1]) for g in grid])
    wide = np.interp(bins, grid, floor)
    width = 2 * half + 1
    strength = smooth * width * (1.0 - np.minimum(wide / np.maximum(smooth, 1e-20), 1.0))
    strength[:first] = 0.0
    at = int(np.argmax(strength))
    if strength[at] <= 0.0:  # silence
        return None
    reach = slice(max(0, int(at - half[at])), int(at + half[at]) + 1)
    course = np.asarray(db(moving_mean(spectra.power[:, reach].sum(axis=1), 2)))
    rise = math.nan
    if idle is not None:
        rise = float(db(mean[reach].sum() / max(float(idle[reach].sum()), 1e-20)))
    edge = np.flatnonzero(smooth > 0.5 * smooth[at])
    run = edge[np.abs(edge - at) <= _run_length(edge, at)]
    fifth = max(1, course.size // 5)
    ordered = np.sort(course)
    return Hump(
        frequency_hz=at * step,
        prominence_db=float(db(smooth[at] / max(wide[at], 1e-20))),
        rise_db=rise,
        free_db=float(db(min(1.0, smooth[at] / max(whole[at], 1e-20)))),
        sharpness=float(at / max(1.0, float(np.ptp(run)) + 1.0)),
        onset_rise_db=float(ordered[-fifth:].mean() - ordered[:fifth].mean()),
        turn_db=_turn_depth(spectra, reach, spindle_hz),
        harmonic_db=_harmonics(smooth, wide, at),
    )


def _turn_depth(spectra: FrameSpectra, reach: slice, spindle_hz: float) -> float:
    """Depth [dB] to which the level of a few bins swells once and twice a turn."""
    count = spectra.time_s.size
    if count < 16 or spectra.frame_s * spindle_hz > 0.6:
        return math.nan
    hop = float(spectra.time_s[1] - spectra.time_s[0])
    amplitude = np.sqrt(spectra.power[:, reach].sum(axis=1))
    slow = moving_mean(amplitude, max(3, round(2.5 / spindle_hz / hop)))
    swing = amplitude / np.maximum(slow, 1e-12) - 1.0
    total = 0.0
    for order in (1, 2):
        if order * spindle_hz * hop < 0.45:
            turning = np.exp(-2j * np.pi * order * spindle_hz * spectra.time_s)
            total += abs(np.mean(swing * turning)) ** 2 * 4.0
    return float(db(max(total - 4.0 * float(swing.var()) / count, 1e-4)))


def _harmonics(smooth: np.ndarray, wide: np.ndarray, at: int) -> float:
    best = math.nan
    for times in (2, 3):
        low, high = int(0.985 * times * at), int(1.015 * times * at) + 1
        if high >= smooth.size:
            break
        here = low + int(np.argmax(smooth[low:high]))
        level = float(db(smooth[here] / max(wide[here], 1e-20)))
        best = level if math.isnan(best) else max(best, level)
    return best


def _without_comb(
    power: np.ndarray, step_hz: float, base_hz: float, speed_error: float
) -> np.ndarray:
    """Lines on multiples of ``base_hz`` replaced by what lies between them, as far as the
    speed is known well enough to place them."""
    if step_hz > 0.2 * base_hz:
        return power
    out = power.copy()
    bins = np.arange(power.size)
    order = bins * step_hz / base_hz
    reach = 2.0 * step_hz / base_hz + order * speed_error
    on = np.abs(order - np.round(order)) < reach
    on[reach > 0.3] = False
    if on.any() and not on.all():
        out[on] = np.interp(bins[on], bins[~on], power[~on])
    return out


def _band_mean(power: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Mean over bins [low, high] around each bin."""
    total = np.concatenate([[0.0], np.cumsum(power)])
    a = np.clip(np.round(low), 0, power.size - 1).astype(int)
    b = np.clip(np.round(high) + 1, 1, power.size).astype(int)
    return (total[b] - total[a]) / (b - a)


def _run_length(edge: np.ndarray, at: int) -> int:
    """How far the unbroken run of bins around ``at`` reaches."""
    inside = np.zeros(int(edge.max()) + 2, bool)
    inside[edge] = True
    left = at
    while left > 0 and inside[left - 1]:
        left -= 1
    right = at
    while inside[right + 1]:
        right += 1
    return max(at - left, right - at)
