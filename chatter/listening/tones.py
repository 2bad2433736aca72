"""Steady tones in a pass, and whether the teeth can have made them.

A forced vibration sits on a multiple of the tooth-passing (or revolution) frequency.  A
resonance that teeth or noise merely excite is a hump whose level in a narrow band
flickers from frame to frame.  Regenerative chatter is neither: a narrow line, free of
the teeth, steady from tooth to tooth, often with members spaced by the tooth-passing
frequency around it.  Each of these is measured here for every line that stands out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import (
    Peak,
    Reader,
    chance_level,
    db,
    median_bias,
    near_good_size,
    peaks_above,
    power_frames,
    row_median,
    running_floor,
)

#: Chance that noise alone puts any line at all into one pass's spectrum.
FALSE_ALARM = 1e-3
_LOWEST_HZ = 70.0
_HIGHEST_HZ = 11000.0
_MOST_FRAMES = 2400


@dataclass(frozen=True)
class FrameSpectra:
    """Spectra of successive frames of a pass.

    Attributes
    ----------
    step_hz : float
        Bin spacing; bin i lies at i * step_hz.
    frame_s : float
        Length of a frame.
    time_s : ndarray, shape (frames,)
    power : ndarray, shape (frames, bins), float32
    mean, floor : ndarray, shape (bins,); mean over frames, and its noise floor (mean power)
    averages : float
        Independent frames in the mean.
    """

    step_hz: float
    frame_s: float
    time_s: np.ndarray
    power: np.ndarray
    mean: np.ndarray
    floor: np.ndarray
    averages: float


@dataclass(frozen=True)
class Tone:
    """One line of a pass with what tells its cause.

    Attributes
    ----------
    prominence_db : float
        Above the local floor, mean over the pass.
    dominance_db : float
        Above the stronger of the two nearest tooth-passing harmonics.
    share : float
        Its part, with its family, of all power from 70 Hz to 5 kHz.
    flicker_db : float
        Standard deviation of its level from frame to frame where it stands out; noise
        in a resonance gives 4 to 6, a steady tone 1 to 2.
    tooth_distance, tooth_error : float
        Distance to the nearest tooth-passing harmonic as a share of the tooth-passing
        frequency (0 .. 0.5), and the uncertainty of that distance.
    turn_distance, turn_error : float
        The same for revolution orders.
    freedom : float
        Log-likelihood ratio of "lies anywhere" against "lies on a harmonic".
    half : float
        Distance to the nearest odd multiple of half the tooth-passing frequency.
    family_hz : tuple of float
        Members at whole multiples of the tooth-passing frequency away.
    family_db : float
        Mean prominence of the four nearest places where members should be.
    rise_db : float
        Above the same line while idling; NaN when no idling was heard.
    time_share : float
        Share of the frames in which it stands out.
    onset_rise_db : float
        Level after it starts over the level before; NaN when it is there from the first.
    """

    frequency_hz: float
    prominence_db: float
    dominance_db: float
    share: float
    flicker_db: float
    tooth_distance: float
    tooth_error: float
    turn_distance: float
    turn_error: float
    freedom: float
    half: float
    family_hz: tuple[float, ...]
    family_db: float
    rise_db: float
    time_share: float
    onset_rise_db: float


@dataclass(frozen=True)
class Onset:
    """Course of one tone over a pass.

    Attributes
    ----------
    on : ndarray, shape (frames,), bool
        Frames in which the tone stands out.
    level_db : ndarray, shape (frames,)
        Above the surroundings in the same frame.
    start_s : float
        First frame of a stretch of at least three.
    share : float
        Share of the frames.
    rise_db : float
        Its level after the start over its level before; NaN when it is there from the
        first frames on.
    growth_per_s : float or None
        Exponential growth rate of the amplitude around the start.
    """

    on: np.ndarray
    level_db: np.ndarray
    start_s: float
    share: float
    rise_db: float
    growth_per_s: float | None


def frame_spectra(
    read: Reader, start: int, stop: int, rate_hz: int, *, spindle_hz: float, teeth: int
) -> FrameSpectra:
    """Spectra of frames long enough to part the tooth-passing harmonics.

    A frame spans 16 teeth, or 24 revolutions where 8 take less than a second; never less
    than 0.1 s, more than 1 s, or a quarter of the pass.
    """
    tooth_hz = teeth * spindle_hz
    frame = 16.0 / tooth_hz
    if 8.0 / spindle_hz <= 1.0:
        frame = max(frame, min(24.0 / spindle_hz, 1.0))
    length = (stop - start) / rate_hz
    # passes of one recording get the same few lengths, and what they are held against with them
    frame = max(0.04, min(float(np.clip(frame, 0.1, 1.0)), length / 4.0))
    n = near_good_size(frame * rate_hz)
    hop = max(n // 2, (stop - start) // _MOST_FRAMES)
    low, high = int(_LOWEST_HZ * n / rate_hz), int(min(_HIGHEST_HZ, 0.47 * rate_hz) * n / rate_hz)
    parts = []
    for _, block in power_frames(read, start, stop, n=n, hop=hop):
        block[:, :low] = 0.0
        parts.append(block[:, :high])
    power = np.concatenate(parts) if parts else np.zeros((1, high), np.float32)
    step = rate_hz / n
    mean = power.mean(axis=0)
    frames = power.shape[0]
    averages = max(1.0, 1.0 + (frames - 1) * (0.6 if hop < n else 1.0))
    floor = local_floor(mean, step, tooth_hz, first=low) / median_bias(averages)
    time = (start + np.arange(frames) * hop + n / 2) / rate_hz
    return FrameSpectra(step, n / rate_hz, time, power, mean, floor, averages)


def local_floor(power: np.ndarray, step_hz: float, tooth_hz: float, *, first: int) -> np.ndarray:
    """Running median over about one tooth-passing spacing, 60 to 250 Hz wide.

    Bins below ``first`` were left out: zeros there must not draw the floor down beside them.
    """
    width = int(max(15, np.clip(tooth_hz, 60.0, 250.0) / step_hz))
    if 0 < first < power.size:
        power = power.copy()
        power[:first] = np.median(power[first : first + width])
    return running_floor(power, width)


def find_tones(
    spectra: FrameSpectra,
    *,
    spindle_hz: float,
    speed_error: float,
    teeth: int,
    idle: np.ndarray | None = None,
    most: int = 30,
) -> tuple[Tone, ...]:
    """Every line of the mean spectrum that chance does not explain, strongest first.

    Parameters
    ----------
    spectra : FrameSpectra
    spindle_hz : float
    speed_error : float
        Relative standard error of the speed.
    teeth : int
    idle : ndarray, shape (bins or more,), optional
        Mean spectrum of the idling machine on the same bins.
    most : int
        Weakest lines beyond this many are dropped.
    """
    ratio = chance_level(spectra.mean.size, FALSE_ALARM, spectra.averages)
    peaks = peaks_above(spectra.mean, spectra.floor, ratio)[:most]
    return tuple(
        _describe(spectra, peak, idle, spindle_hz=spindle_hz, speed_error=speed_error, teeth=teeth)
        for peak in peaks
    )


def tone_at(
    spectra: FrameSpectra,
    frequency_hz: float,
    *,
    spindle_hz: float,
    speed_error: float,
    teeth: int,
) -> Tone:
    """The line at a frequency, whether chance explains it or not."""
    i = int(np.clip(round(frequency_hz / spectra.step_hz), 1, spectra.mean.size - 2))
    near = slice(max(1, i - 2), i + 3)
    top = near.start + int(np.argmax(spectra.mean[near]))
    ratio = float(spectra.mean[top] / max(float(spectra.floor[top]), 1e-20))
    peak = Peak(frequency_hz / spectra.step_hz, float(spectra.mean[top]), ratio)
    return _describe(
        spectra, peak, None, spindle_hz=spindle_hz, speed_error=speed_error, teeth=teeth
    )


def tone_track(spectra: FrameSpectra, frequency_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Power of a tone and of its surroundings in each frame, each of shape (frames,)."""
    i = round(frequency_hz / spectra.step_hz)
    line = spectra.power[:, max(0, i - 1) : i + 2].max(axis=1)
    reach = max(8, int(60.0 / spectra.step_hz))
    around = np.concatenate(
        [
            spectra.power[:, max(0, i - reach) : max(0, i - 3)],
            spectra.power[:, i + 4 : i + reach + 1],
        ],
        axis=1,
    )
    floor = row_median(around) / np.log(2.0) if around.shape[1] else np.full(len(line), 1e-20)
    return line, np.maximum(floor, 1e-20)


def onset_of(spectra: FrameSpectra, frequency_hz: float) -> Onset:
    """When the tone stands out of its surroundings, frame by frame."""
    return _onset(spectra, *tone_track(spectra, frequency_hz))


def _onset(spectra: FrameSpectra, line: np.ndarray, floor: np.ndarray) -> Onset:
    """The same from the tone's track, which costs a median a frame."""
    level = np.asarray(db(line / floor))
    limit = max(8.0, 0.5 * float(np.quantile(level, 0.95)))
    smooth = moving_mean(level, 3)
    on = smooth > limit
    runs = np.flatnonzero(np.diff(np.r_[False, on, False].astype(np.int8))).reshape(-1, 2)
    long = [(a, b) for a, b in runs if b - a >= min(3, len(on))]
    if not long:
        return Onset(on, level, float(spectra.time_s[0]), float(on.mean()), math.nan, None)
    first = long[0][0]
    absolute = np.asarray(db(line))
    rise = growth = None
    if first >= 3:
        rise = float(np.median(absolute[long[0][0] : long[0][1]]) - np.median(absolute[:first]))
        around = slice(max(0, first - 3), first + 3)
        slope = np.polyfit(spectra.time_s[around], absolute[around], 1)[0]  # dB/s
        growth = float(max(slope, 0.0) * np.log(10.0) / 20.0)
    return Onset(
        on,
        level,
        float(spectra.time_s[first] - 0.5 * spectra.frame_s),
        float(on.mean()),
        math.nan if rise is None else rise,
        growth,
    )


def _describe(
    spectra: FrameSpectra,
    peak: Peak,
    idle: np.ndarray | None,
    *,
    spindle_hz: float,
    speed_error: float,
    teeth: int,
) -> Tone:
    step = spectra.step_hz
    tooth_hz = teeth * spindle_hz
    frequency = peak.bin * step
    line, floor = tone_track(spectra, frequency)
    flicker = _flicker(line, floor)
    place_hz = 0.2 * step if peak.ratio > 10 else 0.4 * step
    tooth_distance, tooth_error = _distance(frequency, tooth_hz, place_hz, speed_error)
    turn_distance, turn_error = _distance(frequency, spindle_hz, place_hz, speed_error)
    resolved = turn_error < 0.12 and step < 0.3 * spindle_hz
    freedom = (
        _freedom(turn_distance, turn_error) if resolved else _freedom(tooth_distance, tooth_error)
    )
    family, family_db, family_power = _family(spectra, frequency, tooth_hz)
    band = spectra.mean[: int(5000.0 / step)].sum()
    onset = _onset(spectra, line, floor)
    rise = math.nan
    if idle is not None:
        rise = float(db(_around(spectra.mean, peak.bin) / _around(idle, peak.bin)))
    return Tone(
        frequency_hz=frequency,
        prominence_db=float(db(peak.ratio)),
        dominance_db=float(
            db(_around(spectra.mean, peak.bin))
            - db(
                max(
                    _around(spectra.mean, np.floor(frequency / tooth_hz) * tooth_hz / step),
                    _around(spectra.mean, np.ceil(frequency / tooth_hz) * tooth_hz / step),
                    float(spectra.floor[int(peak.bin)]),
                )
            )
        ),
        share=float(min(1.0, (line.mean() * 1.5 + family_power) / max(band, 1e-20))),
        flicker_db=flicker,
        tooth_distance=tooth_distance,
        tooth_error=tooth_error,
        turn_distance=turn_distance,
        turn_error=turn_error,
        freedom=freedom,
        half=_distance(frequency - 0.5 * tooth_hz, tooth_hz, place_hz, speed_error)[0],
        family_hz=family,
        family_db=family_db,
        rise_db=rise,
        time_share=onset.share,
        onset_rise_db=onset.rise_db,
    )


def _flicker(line: np.ndarray, floor: np.ndarray) -> float:
    """Robust scatter of the level from frame to frame [dB], slow changes left out.

    Frames overlap by half, so every second one is taken; 1.4826 turns the median
    absolute deviation into a standard deviation.
    """
    level = np.asarray(db(line))[::2]
    loud = (line > 4.0 * floor)[::2]
    steps = np.diff(level)[loud[1:] & loud[:-1]]
    if steps.size < 3:
        return math.nan
    return float(1.4826 * np.median(np.abs(steps)) / np.sqrt(2.0))


def _distance(
    frequency: float, base_hz: float, place_hz: float, speed_error: float
) -> tuple[float, float]:
    order = frequency / base_hz
    return abs(order - round(order)), float(np.hypot(place_hz / base_hz, order * speed_error))


def _freedom(distance: float, error: float) -> float:
    """Log-likelihood ratio: uniform over 0 .. 0.5 against half a normal of width error."""
    error = max(error, 1e-4)
    if error > 0.2:
        return 0.0  # the comb covers the axis: position proves nothing
    on_comb = np.log(2.0 / (error * np.sqrt(2.0 * np.pi))) - 0.5 * (distance / error) ** 2
    return float(np.clip(np.log(2.0) - on_comb, -4.0, 6.0))


def _around(power: np.ndarray, place: float) -> float:
    i = round(place)
    return float(power[max(0, i - 1) : i + 2].max(initial=1e-20)) if i < power.size else 1e-20


def _family(
    spectra: FrameSpectra, frequency: float, tooth_hz: float
) -> tuple[tuple[float, ...], float, float]:
    """Members f_c + k f_tp, k = -4 .. 4 without 0: places, mean prominence, power."""
    members, levels, power = [], [], 0.0
    threshold = chance_level(8, 0.05, spectra.averages)
    for k in (-4, -3, -2, -1, 1, 2, 3, 4):
        f = frequency + k * tooth_hz
        i = f / spectra.step_hz
        if f < 1.5 * _LOWEST_HZ or i >= spectra.mean.size - 2:
            continue
        at = _around(spectra.mean, i)
        ratio = at / max(float(spectra.floor[round(i)]), 1e-20)
        if abs(k) <= 2:
            levels.append(max(0.0, float(db(ratio))))
        if ratio > threshold:
            members.append(f)
            power += at
    return tuple(members), float(np.mean(levels)) if levels else 0.0, power
