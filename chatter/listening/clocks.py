"""Clocks: how well equally spaced lines fit the sound, for thousands of spacings at once.

Lines of teeth and turn are looked for in the sound's own spectrum and in that of the logarithm
of its envelopes, where even strokes at 8 Hz can be measured.  Each bin adds its log-likelihood
ratio of "a line" against "noise", capped so that no single line decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import frame_power, hann, next_good_size, running_floor

#: Log-likelihood that a single bin may add.
LINE_CAP = 16.0
_LOWEST_HZ, _HIGHEST_HZ = 60.0, 5000.0
_MAINS_HZ = (50.0, 60.0)
_MAINS_TOP_HZ = 900.0
_EDGES_HZ = np.geomspace(200.0, 8000.0, 7)
#: Zero-padding, so that straight lines between bins miss no line.
PADDED = 1.5
_BANDS_WORTH = 1.5  # independent averages that the envelope bands are worth together
_STRAY = 5.0  # robust deviations beyond which an envelope is clipped


@dataclass(frozen=True)
class Gains:
    """Log-likelihood of a line at each bin of one window's spectrum.

    Attributes
    ----------
    gain : ndarray, shape (bins,)
    step_hz : float
        Bin spacing; bin i lies at i * step_hz.
    mean : float
        Of the gains: what a place without a line has.
    """

    gain: np.ndarray
    step_hz: float
    mean: float

    def at(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Gains less their mean at any frequencies, straight lines between bins; 0 beyond."""
        # thousands of calls a recording: as few passes over as few new arrays as may be
        place = frequency_hz / self.step_hz
        last = self.gain.size - 2
        below = np.floor(place)
        i = below.astype(np.int64)
        beyond = place.size and place.max() >= last + 1
        if beyond:
            outside = place >= last + 1
            np.minimum(i, last, out=i)
        place -= below  # from here on the share of the way to the next bin
        above = self.gain[1:].take(i) * place
        np.subtract(1.0, place, out=place)
        place *= self.gain.take(i)
        place += above
        place -= self.mean
        if beyond:
            place[outside] = 0.0
        return place

    def comb(self, spacing_hz: np.ndarray, orders: np.ndarray) -> np.ndarray:
        """Sum over the orders of combs of many spacings, shape (spacings,)."""
        total = np.zeros(spacing_hz.size)
        lowest = float(spacing_hz.min(initial=np.inf))
        for order in orders:
            if order * lowest >= (self.gain.size - 2) * self.step_hz:
                break
            total += self.at(order * spacing_hz)
        return total

    def differences(self, spacing_hz: np.ndarray, count: int = 5) -> np.ndarray:
        """How often lines are whole spacings apart: autocorrelation of the gains.

        This needs no line on the comb itself: a chatter family is spaced by the teeth too.
        """
        held = np.minimum(self.gain, 12.0)
        held = held - held.mean()
        spectrum = scipy.fft.rfft(held, next_good_size(2 * held.size))
        lagged = scipy.fft.irfft(spectrum.real**2 + spectrum.imag**2)[: held.size]
        lagged = lagged / (float(held.var()) * held.size + 1e-9)
        return Gains(lagged, self.step_hz, 0.0).comb(spacing_hz, np.arange(1, count + 1))


def line_gains(
    power: np.ndarray, floor_bins: int, *, cap: float = LINE_CAP
) -> tuple[np.ndarray, np.ndarray]:
    """Log-likelihood of a line against noise at each bin, and power over the local floor."""
    ratio = power / np.maximum(running_floor(power, floor_bins) / np.log(2.0), 1e-30)
    gain = np.maximum(ratio, 1.0)  # below the floor there is no line: ratio - 1 - log(ratio) is 0
    log = np.log(gain)
    gain -= 1.0
    gain -= log
    return np.minimum(gain, cap, out=gain), ratio


def sound_gains(x: np.ndarray, rate_hz: float, *, floor_hz: float) -> Gains:
    """Lines of a window of sound, mains hum left out.

    Parameters
    ----------
    x : ndarray, shape (n,)
    rate_hz : float
    floor_hz : float
        Width over which the floor is taken.
    """
    size = next_good_size(int(x.size * PADDED))
    step = rate_hz / size
    top = int(min(_HIGHEST_HZ, 0.47 * rate_hz) / step) + 1
    spectrum = scipy.fft.rfft((x - x.mean()) * hann(x.size), size)[:top]
    power = spectrum.real**2 + spectrum.imag**2
    gain, _ = line_gains(power, int(max(31 * PADDED, floor_hz / step)))
    gain[: int(_LOWEST_HZ / step)] = 0.0
    for mains in _MAINS_HZ:  # hum is a comb too, but not of teeth
        lines = np.arange(mains, min(_MAINS_TOP_HZ, power.size * step), mains)
        for line in lines:
            reach = max(2.5 * rate_hz / x.size, 0.0008 * line)
            gain[max(0, int((line - reach) / step)) : int((line + reach) / step) + 2] = 0.0
    return Gains(gain, step, float(gain.mean()))


def envelope_gains(
    x: np.ndarray, rate_hz: float, *, spindle_hz: float, tooth_hz: float
) -> Gains | None:
    """Lines in the logarithm of the sound's envelopes, its bands together.

    The logarithm keeps a single thump from swamping the strokes.

    Parameters
    ----------
    x : ndarray, shape (n,)
    rate_hz : float
    spindle_hz, tooth_hz : float
        As stated; they set how finely the envelope is sampled and what counts as slow.

    Returns
    -------
    Gains or None
        None where the window is too short.
    """
    wanted = 2.0 * rate_hz / max(2.2 * 8 * tooth_hz, 1.0)
    low, high = np.log2(rate_hz / 700.0), np.log2(rate_hz / 90.0)
    n = int(2 ** np.clip(np.round(np.log2(wanted)), low, high))
    fine = rate_hz / (n // 2) < 2.4 * 4 * tooth_hz
    hop = max(4, n // 4 if fine else n // 2)
    if x.size < 4 * n:
        return None
    power = frame_power(x, n=n, hop=hop)
    edges = _EDGES_HZ[0.47 * rate_hz > _EDGES_HZ]
    edges = np.r_[edges, min(0.47 * rate_hz, 1.85 * edges[-1])]
    bounds = np.unique(np.clip(np.round(edges * n / rate_hz).astype(int), 1, n // 2))
    bands = np.add.reduceat(power[:, : bounds[-1]], bounds[:-1], axis=1)
    level = np.log(np.ascontiguousarray(bands.T) + 1e-12)
    rate = rate_hz / hop
    slow = max(3, int(2.5 / spindle_hz * rate))
    level = level - moving_mean(level, min(slow, level.shape[1]))
    spread = 1.4826 * np.median(np.abs(level), axis=1, keepdims=True) + 1e-9
    level = np.clip(level, -_STRAY * spread, _STRAY * spread)
    count = level.shape[1]
    size = next_good_size(int(count * PADDED))
    spectra = scipy.fft.rfft(level * hann(count), size, axis=1)[:, : int(0.47 * size)]
    power = spectra.real**2 + spectra.imag**2
    step = rate / size
    floor_bins = int(max(31 * PADDED, 2.5 * spindle_hz / step))
    gain = np.mean([line_gains(one, floor_bins)[0] for one in power], axis=0) * _BANDS_WORTH
    return Gains(gain, step, float(gain.mean()))
