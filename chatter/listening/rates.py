"""What a recording says of tooth and turn rates before any number is stated.

The log-likelihoods of a line at each frequency, in the sound and in its envelopes, are added up
over windows of a few lengths taken where the recording is loudest.  Combs are linear in them, so
that any speed and tooth count can be asked afterwards, however far from the dial.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from chatter.listening.clocks import Gains, envelope_gains, sound_gains
from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.frames import Frames
from chatter.sound.spectrum import next_good_size

#: Windows [s] and how many of each: short ones for fast teeth on a wandering shaft, long ones
#: for the turn of a slow arbor.
WINDOWS = {1.5: 10, 4.0: 6, 10.0: 4, 24.0: 2}
#: The longest windows are for the turn only: over them the lines of the sound are smeared.
_LONGEST_SOUND_S = 10.0
#: Tooth rates [Hz] for which the two envelopes are sampled, and turns [Hz] slower than which
#: count as level.
SLOW_TEETH_HZ, FAST_TEETH_HZ, _SLOWEST_TURN_HZ = 24.0, 160.0, 0.5
_FLOOR_HZ = 60.0
#: Louder than the loudest window less this [dB] may hold a cut.
_REACH_DB = 14.0
_LOWEST_HZ = 110.0
_HELD = 12.0


@dataclass(frozen=True)
class Rates:
    """Gains of lines summed over windows, by window length [s].

    Attributes
    ----------
    sound : dict of float -> Gains
        Lines of the sound.
    apart : dict of float -> Gains
        How often lines of the sound are so far apart: autocorrelations.
    slow, fast : dict of float -> Gains
        Lines of the envelopes, sampled for teeth slower and faster than ``SLOW_TEETH_HZ``.
    length_s : float
        Length of the stretch that was asked.
    """

    sound: dict[float, Gains]
    apart: dict[float, Gains]
    slow: dict[float, Gains]
    fast: dict[float, Gains]
    length_s: float


def measure_rates(track: Track, frames: Frames, within: Span | None = None) -> Rates:
    """Measure a recording; no stated number is needed.

    Parameters
    ----------
    track : Track
    frames : Frames
        Band levels of the whole track.
    within : Span, optional
        Only this stretch.
    """
    sums: dict[str, dict[float, list[Gains]]] = {
        name: {} for name in ("sound", "apart", "slow", "fast")
    }
    span = within or Span(0.0, track.n / track.rate_hz)
    for length, most in WINDOWS.items():
        for start, stop in loudest(frames, track, span, length, most):
            if (stop - start) < 0.5 * length * track.rate_hz and length > min(WINDOWS):
                continue
            x = track.read(start, stop)
            for name, gains in _window(x, track.rate_hz, length):
                sums[name].setdefault(length, []).append(gains)
    by_kind = {
        name: {length: _sum(parts) for length, parts in by.items()} for name, by in sums.items()
    }
    return Rates(**by_kind, length_s=span.length_s)


def loudest(
    frames: Frames, track: Track, span: Span, length_s: float, most: int
) -> list[tuple[int, int]]:
    """Samples of the loudest windows, half of one shared with the next at most."""
    start, stop = track.samples(span)
    stop = min(stop, track.n)
    n = int(min(length_s * track.rate_hz, stop - start))
    if n < 0.25 * track.rate_hz:
        return []
    count = max(1, int(np.ceil(2.0 * (stop - start) / n - 1.0)))
    places = np.linspace(start, stop - n, count).astype(int)
    bands = frames.edges_hz[:-1] >= _LOWEST_HZ
    power = np.cumsum(np.r_[0.0, frames.power[:, bands].sum(axis=1, dtype=np.float64)])
    at = np.searchsorted(frames.time_s, places / track.rate_hz)
    to = np.searchsorted(frames.time_s, (places + n) / track.rate_hz)
    mean = (power[to] - power[at]) / np.maximum(to - at, 1) + 1e-14
    level = 10.0 * np.log10(mean)
    order = [i for i in np.argsort(-level) if level[i] > level.max() - _REACH_DB][:most]
    return [(int(places[i]), int(places[i]) + n) for i in sorted(order)]


def _window(x: np.ndarray, rate: int, length: float) -> list[tuple[str, Gains]]:
    gains = []
    if length <= _LONGEST_SOUND_S:
        sound = sound_gains(x, rate, floor_hz=_FLOOR_HZ)
        gains += [("sound", sound), ("apart", _lags(sound))]
    for name, tooth_hz in (("slow", SLOW_TEETH_HZ), ("fast", FAST_TEETH_HZ)):
        swing = envelope_gains(x, rate, spindle_hz=_SLOWEST_TURN_HZ, tooth_hz=tooth_hz)
        if swing is not None:
            gains.append((name, swing))
    return gains


def _lags(sound: Gains) -> Gains:
    """Autocorrelation of the gains over frequency: lines that are so far apart."""
    held = np.minimum(sound.gain, _HELD)
    held = held - held.mean()
    spectrum = scipy.fft.rfft(held, next_good_size(2 * held.size))
    lagged = scipy.fft.irfft(spectrum.real**2 + spectrum.imag**2)[: held.size]
    return Gains(lagged / (float(held.var()) * held.size + 1e-9), sound.step_hz, 0.0)


def _sum(parts: list[Gains]) -> Gains:
    """Windows of one length together; those of another spacing of bins are left out."""
    first = parts[0]
    alike = [one for one in parts if one.gain.size == first.gain.size]
    gain = np.sum([one.gain for one in alike], axis=0)
    return Gains(gain, first.step_hz, float(gain.mean()) if first.mean else 0.0)
