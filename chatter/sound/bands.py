"""Power of the carrier bands over time, from short frames."""

from __future__ import annotations

import numpy as np

from chatter.sound.spectrum import Reader, power_frames

#: Edges of the carrier bands [Hz], half an octave each, as far up as the recording goes.
EDGES_HZ = (300.0, 430.0, 600.0, 850.0, 1200.0, 1700.0, 2400.0, 3400.0, 4800.0, 6800.0, 9600.0)


def band_power(
    read: Reader, start: int, stop: int, rate_hz: int, *, fastest_hz: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Power of the carrier bands over time.

    Returns
    -------
    time_s : ndarray, shape (n,)
    bands_hz : ndarray, shape (bands, 2)
    power : ndarray, shape (bands, n)
    """
    wanted = 0.5 * rate_hz / max(fastest_hz, 1.0)  # a frame no longer than half a stroke
    n = int(2 ** np.clip(np.round(np.log2(wanted)), 6, 9))
    hop = n // 2
    edges = np.array([e for e in EDGES_HZ if e < 0.47 * rate_hz])
    bounds = np.round(edges * n / rate_hz).astype(int)
    keep = np.r_[np.diff(bounds) > 0, True]
    bounds, edges = bounds[keep], edges[keep]
    parts = [
        np.add.reduceat(block[:, : bounds[-1]], bounds[:-1], axis=1).T
        for _, block in power_frames(read, start, stop, n=n, hop=hop)
    ]
    power = np.concatenate(parts, axis=1) if parts else np.zeros((edges.size - 1, 0))
    time_s = (start + n / 2 + hop * np.arange(power.shape[1])) / rate_hz
    return time_s, np.stack([edges[:-1], edges[1:]], axis=1), power.astype(np.float64)
