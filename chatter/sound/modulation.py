"""Envelopes of carrier bands: how the noise swells and fades.

On slow machines the tooth-passing frequency itself lies below what a phone can hear,
but it still modulates the noise above, and there it can be measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.sound.spectrum import Reader, power_frames

#: Edges of the carrier bands [Hz]; bands above the recording's own limit are left out.
CARRIER_EDGES_HZ = (300.0, 800.0, 1600.0, 3200.0, 6400.0, 11500.0)


@dataclass(frozen=True)
class Envelopes:
    """Relative envelopes of carrier bands.

    Attributes
    ----------
    rate_hz : float
        Rate of the envelope samples.
    start_s : float
        Time of the first sample in the recording.
    edges_hz : ndarray, shape (bands + 1,)
    swing : ndarray, shape (bands, n), float32
        Amplitude over its local mean, minus one: free of gain and of slow changes.
    level : ndarray, shape (bands,)
        Mean power of each band.
    """

    rate_hz: float
    start_s: float
    edges_hz: np.ndarray
    swing: np.ndarray
    level: np.ndarray

    @property
    def time_s(self) -> np.ndarray:
        """Time of each sample, shape (n,)."""
        return self.start_s + np.arange(self.swing.shape[1]) / self.rate_hz


def band_envelopes(
    read: Reader,
    start: int,
    stop: int,
    rate_hz: int,
    *,
    fastest_hz: float,
    slow_s: float,
) -> Envelopes:
    """Envelopes of the carrier bands over samples [start, stop).

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields mono samples.
    start, stop : int [samples]
    rate_hz : int
    fastest_hz : float [Hz]
        Fastest modulation that matters (a little over the tooth-passing frequency).
    slow_s : float [s]
        Changes slower than this count as level, not as modulation.
    """
    wanted = 0.5 * rate_hz / max(fastest_hz, 1.0)  # frame no longer than half a swing
    n = int(2 ** np.clip(np.round(np.log2(wanted)), np.log2(rate_hz / 700), np.log2(rate_hz / 90)))
    hop = max(4, n // 2)
    bin_hz = rate_hz / n
    edges = np.array([e for e in CARRIER_EDGES_HZ if e < 0.47 * rate_hz])
    if rate_hz * 0.47 > 1.3 * edges[-1]:
        edges = np.append(edges, 0.47 * rate_hz)
    parts = []
    bounds = np.clip(np.round(edges / bin_hz).astype(int), 1, n // 2)
    keep = np.diff(bounds) > 0
    bounds = bounds[np.r_[keep, True]]
    edges = edges[np.r_[keep, True]]
    for _, power in power_frames(read, start, stop, n=n, hop=hop):
        parts.append(np.add.reduceat(power[:, : bounds[-1]], bounds[:-1], axis=1).T)
    total = np.concatenate(parts, axis=1) if parts else np.zeros((edges.size - 1, 0), np.float32)
    rate = rate_hz / hop
    amplitude = np.sqrt(np.maximum(total, 1e-20))
    return Envelopes(
        rate_hz=rate,
        start_s=(start + n / 2) / rate_hz,
        edges_hz=edges,
        swing=relative_swing(amplitude, max(3, round(slow_s * rate))),
        level=total.mean(axis=1) if total.size else np.zeros(edges.size - 1),
    )


def relative_swing(amplitude: np.ndarray, width: int) -> np.ndarray:
    """Amplitude over its moving mean, minus one, along the last axis.

    A thump of fifty times the local mean would swamp every average, so the ratio is held
    below five: a tooth's stroke seldom exceeds three times the mean.
    """
    mean = moving_mean(amplitude, width)
    ratio = np.minimum(amplitude / np.maximum(mean, 1e-12), 5.0)
    return (ratio - moving_mean(ratio, width)).astype(np.float32)


def moving_mean(x: np.ndarray, width: int) -> np.ndarray:
    """Centred moving mean along the last axis; the ends use what there is."""
    n = x.shape[-1]
    if n == 0:
        return x
    width = max(1, min(width, n))
    left, right = width // 2, (width + 1) // 2
    total = np.zeros((*x.shape[:-1], n + 1))
    np.cumsum(x, axis=-1, dtype=np.float64, out=total[..., 1:])
    mean = np.empty((*x.shape[:-1], n))
    whole = mean[..., left : n - right + 1]  # where the window lies inside
    np.subtract(total[..., width:], total[..., :-width], out=whole)
    whole /= width
    reach = np.arange(left) + right
    mean[..., :left] = total[..., reach] / reach
    reach = np.arange(n - right + 1, n) - left
    mean[..., n - right + 1 :] = (total[..., n:] - total[..., reach]) / (n - reach)
    return mean
