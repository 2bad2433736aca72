"""What is read of each segment once, for all that is measured in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from chatter.listening.clocks import PADDED, line_gains
from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.spectrum import (
    hann,
    middle_of,
    near_good_size,
    next_good_size,
    power_frames,
    running_floor,
)

#: Frames of a sixth of a second: lines 12 Hz apart are parted.
_FRAME_S = 4096 / 24000
_MOST_FRAMES = 160
#: Of a long segment this much, from the middle, is looked at as finely as its length allows.
FINE_S = 12.0
_FLOOR_HZ = (60.0, 250.0)
_LOWEST_HZ = 60.0


@dataclass(frozen=True)
class SegmentSound:
    """Spectra of one segment.

    Attributes
    ----------
    span : Span
    rate_hz : float
    step_hz : float
        Bin spacing of ``power``, ``mean`` and ``floor``; the same in all segments of a track.
    power : ndarray, shape (frames, bins), float32
    mean, floor : ndarray, shape (bins,)
        Mean over frames, and its running median.
    """

    span: Span
    rate_hz: float
    step_hz: float
    power: np.ndarray
    mean: np.ndarray
    floor: np.ndarray

    def level(self, low_hz: float, high_hz: float) -> float:
        """Mean power between two frequencies."""
        return float(self.mean[int(low_hz / self.step_hz) : int(high_hz / self.step_hz)].sum())

    def near(self, frequency_hz: float, reach: int = 1) -> float:
        """Largest mean power within ``reach`` bins of a frequency; 0 beyond the spectrum."""
        i = round(frequency_hz / self.step_hz)
        if not reach <= i < self.mean.size - reach:
            return 0.0
        return float(self.mean[i - reach : i + reach + 1].max())

    def prominence(self, frequency_hz: float) -> float:
        """``near`` over the floor; NaN beyond the spectrum."""
        i = round(frequency_hz / self.step_hz)
        if not int(_LOWEST_HZ / self.step_hz) < i < self.mean.size - 2:
            return float("nan")
        return self.near(frequency_hz) / max(float(self.floor[i]), 1e-20)


def segment_sound(track: Track, span: Span, *, tooth_hz: float) -> SegmentSound | None:
    """Spectra of a segment; None when it is shorter than a third of a second."""
    start, stop = track.samples(span)
    n = near_good_size(_FRAME_S * track.rate_hz)
    if stop - start < 2 * n:
        return None
    hop = max(n // 4, (stop - start - n) // _MOST_FRAMES)
    power = np.concatenate([b for _, b in power_frames(track.read, start, stop, n=n, hop=hop)])
    step = track.rate_hz / n
    mean = power.mean(axis=0)
    floor = running_floor(mean, int(max(15, np.clip(tooth_hz, *_FLOOR_HZ) / step)))
    return SegmentSound(span, track.rate_hz, step, power, mean, floor)


@dataclass(frozen=True)
class FineSound:
    """A segment's middle as finely resolved as its length allows.

    Attributes
    ----------
    x : ndarray, shape (n,)
        The samples.
    length_s : float
    rate_hz : float
    step_hz : float
        Bin spacing (zero-padded; lines are parted from 2 / length_s on).
    spectrum : ndarray, shape (bins,), complex
    power, floor : ndarray, shape (bins,)
        ``floor`` is the mean of noise.
    gain : ndarray, shape (bins,)
        Log-likelihood of a line.
    """

    x: np.ndarray
    length_s: float
    rate_hz: float
    step_hz: float
    spectrum: np.ndarray
    power: np.ndarray
    floor: np.ndarray
    gain: np.ndarray

    def level_db(self, frequency_hz: float) -> float:
        """Level over the floor within 0.6 of a resolved bin [dB]; NaN beyond the spectrum."""
        reach = max(1, round(0.6 / self.length_s / self.step_hz))
        i = round(frequency_hz / self.step_hz)
        if not _LOWEST_HZ / self.step_hz < i < self.power.size - reach - 1:
            return float("nan")
        top = float(self.power[i - reach : i + reach + 1].max())
        return 10.0 * np.log10(max(top / max(float(self.floor[i]), 1e-20), 1e-20))

    def levels_db(self, centre_hz: float, steps: np.ndarray) -> float:
        """Mean of ``level_db`` at ``centre_hz + steps``, those beyond the spectrum left out."""
        levels = [one for one in (self.level_db(centre_hz + d) for d in steps) if one == one]
        return float(np.mean(levels)) if levels else float("nan")


def fine_sound(track: Track, span: Span) -> FineSound:
    """The middle of a segment, at most ``FINE_S`` of it, in one spectrum."""
    start, stop = track.samples(span)
    start, stop = middle_of(start, stop, int(FINE_S * track.rate_hz))
    x = track.read(start, stop)
    size = next_good_size(int(x.size * PADDED))
    spectrum = scipy.fft.rfft((x - x.mean()) * hann(x.size), size)
    power = spectrum.real**2 + spectrum.imag**2
    step = track.rate_hz / size
    width = int(max(31 * PADDED, 80.0 / step))
    gain, ratio = line_gains(power, width)
    gain[: int(_LOWEST_HZ / step)] = 0.0
    floor = power / np.maximum(ratio, 1e-12)
    length_s = x.size / track.rate_hz
    return FineSound(x, length_s, track.rate_hz, step, spectrum, power, floor, gain)
