"""Audible: how far a pass, and the chatter in it, stand out of the finished recording.

Told in the truth so that results can be split by what there was to hear; nothing is labelled
by it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chatter.lab.simulate.chatter_lines import mean_power
from chatter.lab.simulate.truth import TruePass


def with_audible(
    passes: tuple[TruePass, ...], signal: np.ndarray, rate_hz: int
) -> tuple[TruePass, ...]:
    """Add ``chatter_audible_db`` and ``contrast_db``; put the loudest line of chatter first.

    Parameters
    ----------
    passes : tuple of TruePass
    signal : ndarray, shape (n,) or (n, channels)
        As the phone hands it to its encoder.
    rate_hz : int
    """
    mono = signal if signal.ndim == 1 else signal[:, 0]
    inside = np.zeros(len(mono), bool)
    for one in passes:
        inside[int(one.start_s * rate_hz) : int(one.end_s * rate_hz)] = True
    rest = mono[~inside]
    # Less than half a second of it is no rest.
    quiet = float(np.mean(rest.astype(float) ** 2)) if len(rest) > rate_hz // 2 else None
    found = []
    for one in passes:
        part = mono[int(one.start_s * rate_hz) : int(one.end_s * rate_hz)]
        contrast = None
        if quiet is not None:
            loud = float(np.mean(part.astype(float) ** 2))
            contrast = round(float(10 * np.log10((loud + 1e-12) / (quiet + 1e-12))), 2)
        heard = [(stands_out(part, rate_hz, hz), hz) for hz in one.chatter_family_hz]
        heard = sorted((pair for pair in heard if pair[0] is not None), reverse=True)
        found.append(
            replace(
                one,
                chatter_family_hz=tuple(hz for _, hz in heard),
                chatter_audible_db=heard[0][0] if heard else None,
                contrast_db=contrast,
            )
        )
    return tuple(found)


def stands_out(part: np.ndarray, rate_hz: int, hz: float) -> float | None:
    """Strongest bin within 0.5 % of ``hz`` over the median within 15 % [dB].

    Mean spectrum of Hann windows of one second, or of the whole where it is shorter; None
    where the recording does not reach ``hz``.
    """
    size = min(len(part), rate_hz)
    if size < 256 or hz > 0.45 * rate_hz:
        return None
    power = mean_power(part, size)
    bins = np.fft.rfftfreq(size, 1 / rate_hz)
    off = np.abs(bins / hz - 1)
    near = off < max(0.005, 1.5 * bins[1] / hz)
    around = (off < 0.15) & ~near
    if not around.any():
        return None
    return round(float(10 * np.log10(power[near].max() / (np.median(power[around]) + 1e-30))), 2)
