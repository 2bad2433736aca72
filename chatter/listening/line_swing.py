"""How a line's own level swings with teeth and turn, and how it repeats: the teeth feed chatter."""

from __future__ import annotations

import math

import numpy as np
import scipy.fft

from chatter.listening.decibels import NAN, decibels, nan_decibels
from chatter.listening.segment_sound import FineSound
from chatter.listening.spindle import SpeedPosterior
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import hann


def swing(fine: FineSound, f: float, speed: SpeedPosterior) -> dict[str, float]:
    """How the line's own level swings with teeth and turn, and how it repeats."""
    tooth, turn = speed.tooth_hz, speed.spindle_hz
    half = float(np.clip(2.3 * tooth, 30.0, 400.0))
    low, high = int((f - half) / fine.step_hz), int((f + half) / fine.step_hz)
    if low <= 5 or high >= fine.spectrum.size:
        return {}
    bins = high - low
    band = fine.spectrum[low:high] * np.hanning(bins)
    wave = scipy.fft.ifft(scipy.fft.ifftshift(band))
    rate = bins * fine.step_hz
    wave = wave[: int(bins * fine.x.size / (fine.power.size - 1) / 2)]
    if wave.size < 40:
        return {}
    window = hann(wave.size) / float(hann(wave.size).max())
    inner = window > 0.15
    level = np.abs(wave[inner]) / window[inner]
    level = level / max(float(level.mean()), 1e-20) - 1.0
    values: dict[str, float] = {}
    if level.size > 32:
        level = level - moving_mean(level, max(3, int(2.5 / turn * rate)))
        size = 4 * level.size
        lines = np.abs(scipy.fft.rfft(level * np.hanning(level.size), size)) / (0.25 * level.size)
        values |= _swing_lines(lines, rate / size, tooth, turn, fine.length_s)
        values["swing_db"] = decibels(float(level.var()) + 1e-6)
    for name, lag in (("repeats_turn", 1.0 / turn), ("repeats_teeth", 4.0 / tooth)):
        values[name] = _repeats(wave, round(lag * rate))
    return values


def _swing_lines(
    lines: np.ndarray, step_hz: float, tooth_hz: float, turn_hz: float, length_s: float
) -> dict[str, float]:
    floor = float(np.median(lines)) + 1e-9

    def at(frequency: float) -> float:
        place = frequency / step_hz
        if not 2 < place < lines.size - 4:
            return NAN
        return float(lines[max(0, int(place) - 2) : int(place) + 4].max())

    once, twice = at(tooth_hz), at(2.0 * tooth_hz)
    values = {
        "tooth_swing_db": nan_decibels(once**2),
        "tooth_swing_stands_db": nan_decibels((once / floor) ** 2),
        "second_swing_stands_db": nan_decibels((twice / floor) ** 2),
    }
    if length_s * turn_hz > 4.0:
        turned = at(turn_hz)
        values["turn_swing_db"] = nan_decibels(turned**2)
        values["turn_swing_stands_db"] = nan_decibels((turned / floor) ** 2)
    return values


def _repeats(wave: np.ndarray, lag: int) -> float:
    """Coherence of the line with itself a lag later, 0 to 1; NaN where too short."""
    if not 1 <= lag <= 0.7 * wave.size:
        return NAN
    a, b = wave[:-lag], wave[lag:]
    norm = float((np.abs(a) ** 2).sum() * (np.abs(b) ** 2).sum())
    return float(abs(np.vdot(a, b)) / math.sqrt(norm + 1e-30))
