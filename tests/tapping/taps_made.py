"""Recordings of taps with known truth, for the tests of this room only."""

from __future__ import annotations

import numpy as np


def make_taps(
    modes,
    *,
    taps=5,
    rate_hz=48000,
    gap_s=1.5,
    noise=2e-4,
    room_s=None,
    room_level=0.3,
    gain=None,
    double=(),
    rng,
):
    """Sum of damped sinusoids (f, z, amplitude) per tap, with click, noise, room and gain.

    Undamped natural frequency f: the ring is at f sqrt(1 - z^2).
    """
    n = int((1.0 + taps * gap_s) * rate_hz)
    x = np.zeros(n)
    t = np.arange(int(1.2 * rate_hz)) / rate_hz
    for i in range(taps):
        at = int((0.8 + i * gap_s + 0.05 * rng.uniform()) * rate_hz)
        blows = [(at, 1.0)] + ([(at + int(0.06 * rate_hz), 0.5)] if i in double else [])
        for start, size in blows:
            strength = size * rng.uniform(0.5, 1.0)
            ring = np.zeros(len(t))
            for f, z, a in modes:
                w = 2 * np.pi * f
                phase = rng.uniform(-0.4, 0.4)
                part = np.exp(-z * w * t) * np.sin(w * np.sqrt(1 - z * z) * t + phase)
                ring += a * rng.uniform(0.7, 1.3) * part
            click = rng.standard_normal(len(t)) * np.exp(-t / 2e-4) * 0.5
            m = min(len(t), n - start)
            x[start : start + m] += strength * (ring + click)[:m]
    if room_s is not None:
        tail = np.arange(int(1.5 * room_s * rate_hz)) / rate_hz
        impulse = rng.standard_normal(len(tail)) * np.exp(-np.log(1000) * tail / room_s)
        impulse *= room_level / np.sqrt((impulse**2).sum())
        impulse[0] += 1.0
        x = np.fft.irfft(np.fft.rfft(x, 2 * n) * np.fft.rfft(impulse[:n], 2 * n), 2 * n)[:n]
    x = 0.3 * x / np.abs(x).max()
    x = x + noise * rng.standard_normal(n)
    if gain is not None:
        drop_db, recover_s = gain
        level = np.zeros(n)
        now = 0.0
        step = 1.0 / (recover_s * rate_hz)
        loud = np.abs(x) > 0.05
        for k in range(n):
            now = drop_db if loud[k] else now * (1 - step)
            level[k] = now
        x = x * 10 ** (-level / 20)
    return x
