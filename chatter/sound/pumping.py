"""Did an automatic gain, or a noise gate, change the sound while it was recorded?

An automatic gain turns itself down in loud sound and creeps up again when it is over: the
background then *rises* slowly after a loud stretch ends, in all frequency bands by the
same number of decibels.  A room or a machine running down does the opposite, a fan that
starts does it in a step and in its own bands, a cut that starts and stops leaves the
background where it was.  Only that signature counts, so a gain that moves within one
unbroken cut goes unseen: shy of false alarms, by intent.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from chatter.sound.stats import SoundStats

#: A loud stretch ends where the level falls by this much within the ringing time.
_CONTRAST_DB = 8.0
#: A rise by this much from one spectrum to the next is the next loud stretch.
_ONSET_DB = 4.5
#: The loud stretch before a fall must last this long, and be this steady in that time.
_LOUD_S = 0.6
_STEADY_DB = 5.0
#: A stretch that falls by this much below what it had risen to is no background.
_FALL_DB = 5.0
_QUIET_S = 0.6
_LONGEST_S = 12.0
#: The room still rings for this long after the cutter has left.
_RINGING_S = 0.18
_LEAST_RISE_DB = 3.0
_LEAST_ALONE_DB = 5.0
#: Share of the stretches after a fall that must show the rise.
_LEAST_SHARE = 0.34
#: Bands may differ by this, or by this share of the rise.
_SPREAD_DB = 2.5
_SPREAD_SHARE = 0.35
#: A rise is slow when no half second of it holds more than this share of it.
_STEP_SHARE = 0.75
#: Windows that are sorted at a time.
_AT_ONCE = 1 << 15
#: Digital silence: no microphone is this quiet (-90 dBFS, one step of 16 bits).
_SILENCE = 3.2e-5


def gain_swing_db(heard: SoundStats) -> float:
    """How far an automatic gain is seen to swing.

    Parameters
    ----------
    heard : SoundStats

    Returns
    -------
    float [dB]
        Median rise of the background after loud stretches; 0 when none is seen.
    """
    bands = heard.band_db
    if len(bands) < round((_LOUD_S + _QUIET_S) / heard.band_s):
        return 0.0
    bands = bands[:, np.median(bands, axis=0) > -110.0]  # leave out bands with nothing in them
    if bands.shape[1] < 3:
        return 0.0
    stretches = _after_falls(bands, heard.band_s)
    tried = (_rise(bands[start:stop], heard.band_s) for start, stop in stretches)
    rises = [rise for rise in tried if rise is not None]
    if len(rises) < max(1.0, _LEAST_SHARE * len(stretches)):
        return 0.0
    by_band: np.ndarray = np.median(rises, axis=0)
    swing = float(np.median(by_band))
    least = _LEAST_RISE_DB if len(rises) >= 3 else _LEAST_ALONE_DB
    # One band of all may disagree: the machine's own hum has its band to itself.
    spread = float(np.sort(np.abs(by_band - swing))[-2])
    if swing < least or spread > max(_SPREAD_DB, _SPREAD_SHARE * swing):
        return 0.0
    return swing


def _after_falls(bands: np.ndarray, step_s: float) -> list[tuple[int, int]]:
    """Stretches that follow a sudden fall in level, up to the next onset or fall.

    Falls are sought, not a loud and a quiet level: a strong automatic gain leaves both
    equally loud but for the moments after a change.
    """
    level = 10.0 * np.log10(np.sum(10.0 ** (bands / 10.0), axis=1))
    before = round(_LOUD_S / step_s)
    ringing = round(_RINGING_S / step_s)
    # steady[i], median[i] cover level[i : i + before]
    median, steady = _running(level, before)
    stretches = []
    i = before
    while i < len(level) - ringing:
        fall = median[i - before] - level[i : i + ringing]
        if not steady[i - before] or fall[0] < _CONTRAST_DB / 2 or fall.max() < _CONTRAST_DB:
            i += 1
            continue
        first = i + ringing
        stop, fell = _next_change(level, first, step_s)
        if (stop - i) * step_s >= _QUIET_S:
            # What swells until it falls again is the sound's own beat, once a turn perhaps:
            # an empty stretch, which speaks against a gain.
            stretches.append((first, first if fell else stop))
        i = max(stop, i + 1)
    return stretches


def _running(level: np.ndarray, width: int) -> tuple[np.ndarray, np.ndarray]:
    """Median of each window, and whether it is steady; a part at a time, for windows are
    copied to be sorted."""
    windows = np.lib.stride_tricks.sliding_window_view(level, width)
    median, steady = np.empty(len(windows)), np.empty(len(windows), bool)
    for start in range(0, len(windows), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        low, middle = np.quantile(windows[part], (0.15, 0.5), axis=1)
        median[part], steady[part] = middle, low > middle - _STEADY_DB
    return median, steady


def _next_change(level: np.ndarray, first: int, step_s: float) -> tuple[int, bool]:
    """Where the next sudden rise or fall (or the end) limits a stretch, and whether it fell."""
    last = min(len(level), first + round(_LONGEST_S / step_s))
    stretch = level[first:last]
    if len(stretch) < 3:
        return last, False
    onset = stretch[2:] - np.maximum(stretch[1:-1], stretch[:-2]) >= _ONSET_DB
    smooth = np.convolve(stretch, np.ones(3) / 3.0, mode="valid")
    bottom = int(np.argmin(smooth[: round(_QUIET_S / step_s)]))
    fall = np.zeros(len(smooth), bool)
    fall[bottom:] = np.maximum.accumulate(smooth[bottom:]) - smooth[bottom:] >= _FALL_DB
    changes = np.flatnonzero(onset | fall)
    if not len(changes):
        return last, False
    return first + 1 + int(changes[0]), not onset[changes[0]]


def _rise(quiet: np.ndarray, step_s: float) -> np.ndarray | None:
    """Rise of each band from the bottom to the end of a quiet stretch; None if it is no rise."""
    if len(quiet) < 6:
        return None
    kernel = np.ones(3) / 3.0
    smooth = np.stack([np.convolve(band, kernel, mode="valid") for band in quiet.T], axis=1)
    # The room may ring on for longer than allowed for: begin at the bottom.
    smooth = smooth[int(np.argmin(np.median(smooth, axis=1)[: -(-len(smooth) // 2)])) :]
    late = np.mean(smooth[-max(1, len(smooth) // 4) :], axis=0)
    rise = late - smooth[0]
    common = float(np.median(rise))
    if common < _LEAST_RISE_DB:
        return None
    course = np.median(smooth - late, axis=1)  # from -common up to 0
    half_second = max(1, round(0.5 / step_s))
    if len(course) > 2 * half_second:
        steps = course[half_second:] - course[:-half_second]
        if steps.max() > _STEP_SHARE * common and np.argmax(steps) > half_second // 2:
            return None  # a step in the middle: something was switched on
    return rise


def gated_share(heard: SoundStats) -> float:
    """Share of the frames within the sound that are digital silence.

    Parameters
    ----------
    heard : SoundStats

    Returns
    -------
    float
        0..1; silence before the first and after the last sound is not counted, nor is
        a single gap.
    """
    silent = (heard.high - heard.low) < _SILENCE
    sounding = np.flatnonzero(~silent)
    if not len(sounding):
        return 0.0
    inner = silent[sounding[0] : sounding[-1] + 1]
    gaps = np.count_nonzero(np.diff(inner.astype(np.int8)) == 1)
    return float(inner.mean()) if gaps >= 2 else 0.0
