"""Zero-order stability of milling: the cutting force averaged over a turn.

Equal pitch: Altintas & Budak, CIRP Annals 44 (1995) 357-362, one or two directions.
Unequal pitch: the same averaged force with one delay per tooth; the limit is found where the
loop b K G(i w) mean(1 - exp(-i w T_j)) passes through -1.
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


def equal_pitch_limits(
    frequency_hz: ArrayLike,
    response_x: ArrayLike,
    response_y: ArrayLike,
    alpha: NDArray[np.float64],
    teeth: int,
    tangential_n_m2: float,
    lobes: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Limiting axial depth and spindle speed of each lobe, along chatter frequencies.

    Parameters
    ----------
    frequency_hz : array_like, shape (n,)
        Trial chatter frequencies.
    response_x, response_y : array_like, shape (n,), complex
        Receptances [m/N] along and across the feed (zeros for a rigid direction).
    alpha : ndarray, shape (2, 2)
        From ``directions.coefficients``.
    teeth, tangential_n_m2, lobes
        Tooth count, K_t [N/m^2], and how many lobes to return.

    Returns
    -------
    depth_m : ndarray, shape (n,)
        Smallest positive limit; nan where there is none.
    speed_rev_min : ndarray, shape (lobes, n)
    """
    f = np.asarray(frequency_hz, dtype=float)
    gx, gy = (np.asarray(g, dtype=complex) for g in (response_x, response_y))
    a0 = gx * gy * (alpha[0, 0] * alpha[1, 1] - alpha[0, 1] * alpha[1, 0])
    a1 = alpha[0, 0] * gx + alpha[1, 1] * gy
    # Roots of a0 L^2 + a1 L + 1, written so that a0 = 0 (one direction) needs no special case.
    root = np.sqrt(a1**2 - 4.0 * a0)
    big = np.where(np.abs(a1 + root) >= np.abs(a1 - root), a1 + root, a1 - root)
    with np.errstate(divide="ignore", invalid="ignore"):
        eigen = np.stack([-2.0 / big, np.where(a0 == 0.0, np.nan, -big / (2.0 * a0))])
        kappa = eigen.imag / eigen.real
        depth = -2.0 * np.pi * eigen.real / (teeth * tangential_n_m2) * (1.0 + kappa**2)
    depth = np.where(np.isfinite(depth) & (depth > 0.0), depth, np.inf)
    pick = np.argmin(depth, axis=0)[None]
    depth, kappa = (np.take_along_axis(a, pick, axis=0)[0] for a in (depth, kappa))
    eps = np.pi - 2.0 * np.arctan(kappa)
    turns = (eps + 2.0 * np.pi * np.arange(lobes)[:, None]) / (2.0 * np.pi)
    with np.errstate(divide="ignore"):  # where there is no limit the phase may vanish
        speed = 60.0 * f / (teeth * turns)
    return np.where(np.isinf(depth), np.nan, depth), speed


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
