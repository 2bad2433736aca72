"""Zero-order stability of milling: the cutting force averaged over a turn.

The averaged force of Altintas & Budak, CIRP Annals 44 (1995) 357-362, with one delay per tooth,
so that the pitch may be unequal; the limit is found where the loop
b K G(i w) mean(1 - exp(-i w T_j)) passes through -1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Oscillator:
    """One mode with its stiffness, as seen at the cutter in one direction."""

    frequency_hz: float
    damping_ratio: float
    stiffness_n_m: float

    def response(self, frequency_hz: ArrayLike) -> NDArray[np.complex128]:
        """Receptance [m/N] at given frequencies [Hz]."""
        r = np.asarray(frequency_hz, dtype=float) / self.frequency_hz
        ratio = (1.0 - r**2).astype(complex) + 2j * self.damping_ratio * r
        return 1.0 / (self.stiffness_n_m * ratio)


def averaged_limit(
    rev_min: float,
    mode: Oscillator,
    pitches: ArrayLike,
    mean_factor_n_m2: float,
    points: int = 6000,
) -> tuple[float, float]:
    """Limiting depth at one speed for any spacing of the teeth.

    Parameters
    ----------
    rev_min : float
    mode : Oscillator
    pitches : array_like, shape (teeth,)
        Angles from tooth to tooth as shares of a turn; they sum to one.
    mean_factor_n_m2 : float
        Force along the mode per width and chip thickness, summed over the teeth and averaged
        over a turn; negative values are allowed (chatter then lies below the mode).
    points : int
        Trial frequencies, spread over 0.3 to 3 times the mode's.

    Returns
    -------
    (float, float)
        Depth [m] (inf when there is no limit) and chatter frequency [Hz] (nan then).
    """
    share, count = np.unique(np.asarray(pitches, dtype=float), return_counts=True)
    f, response = _trial(mode, points)
    # Summed tooth by tooth, in sines and cosines: a matrix product of complex numbers wakes
    # threads that cost more than it does.
    angles = [2.0 * np.pi * 60.0 / rev_min * one * f for one in share]
    weights = count / count.sum()
    waves = np.zeros(f.shape, dtype=complex)
    waves.real = sum(w * np.cos(a) for w, a in zip(weights, angles, strict=True))
    waves.imag = -sum(w * np.sin(a) for w, a in zip(weights, angles, strict=True))
    loop = mean_factor_n_m2 * response * (1.0 - waves)
    cross = np.nonzero(np.diff(np.signbit(loop.imag)))[0]
    part = loop.imag[cross] / (loop.imag[cross] - loop.imag[cross + 1])
    real = loop.real[cross] + part * (loop.real[cross + 1] - loop.real[cross])
    at = f[cross] + part * (f[cross + 1] - f[cross])
    limiting = real < 0.0
    if not limiting.any():
        return float("inf"), float("nan")
    worst = np.argmin(np.where(limiting, real, 0.0))
    return float(-1.0 / real[worst]), float(at[worst])


@lru_cache(maxsize=4)
def _trial(mode: Oscillator, points: int) -> tuple[NDArray[np.float64], NDArray[np.complex128]]:
    """Trial frequencies [Hz] and the response at them, kept: many speeds ask the same mode."""
    # Denser near the mode, where the response turns quickly.
    bend = np.linspace(-1.0, 1.0, points)
    near = mode.frequency_hz * (1.0 + 3.0 * mode.damping_ratio * np.sinh(bend * 3.0))
    f = np.union1d(near, mode.frequency_hz * np.linspace(0.3, 3.0, points))
    f = f[f > 0.05 * mode.frequency_hz]
    response = mode.response(f)
    f.flags.writeable = response.flags.writeable = False
    return f, response
