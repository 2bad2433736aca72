"""Stability lobes of one mode by Tlusty's orthogonal form, and process damping.

With G(i w) = (1/k) / (1 - r^2 + 2 i z r), r = w / w_n, a cut is on the limit of stability
when (Tlusty; in the form of Schmitz & Smith, *Machining Dynamics*, 2009, ch. 6)

    b = -1 / (2 K_s Re G),      f_c / f_tp = j + eps / 2 pi,
    eps = 2 pi - 2 atan |Re G / Im G|,    j = 0, 1, 2 ...

so that depth is only known up to the stiffness ratio k / K_s.  Everything here is therefore
relative to the smallest limit of the same mode, b_min = 2 k z (1 + z) / K_s: the number 1
means "as deep as is stable at the worst speed".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Published critical wavelengths of process damping in milling are of order 0.1 to 0.8 mm,
#: depending on flank wear, clearance and edge (order of magnitude, from memory: Sisson & Kegg
#: 1969; Yusoff, Turner, Taylor & Sims, IJAMT 50, 2010).  The middle is their geometric mean.
CRITICAL_WAVELENGTH_M = (0.1e-3, 0.28e-3, 0.8e-3)

#: Relative depth at which process damping has grown to half of what it would without end.
_LEVELS_OFF = 10.0

#: Newton steps, guarded by a bracket: enough for ten figures from anywhere in it.
_ROUNDS = 12

#: Relative depths above this are not told apart: "no limit found".
CEILING = 20.0


def relative_limit_at(ratio: ArrayLike, damping_ratio: ArrayLike) -> NDArray[np.float64]:
    """Limiting depth over its minimum, at f_c = ``ratio`` * f_n (``ratio`` > 1)."""
    r2 = np.square(np.asarray(ratio, dtype=float))
    z = np.asarray(damping_ratio, dtype=float)
    minus_real = (r2 - 1.0) / ((1.0 - r2) ** 2 + 4.0 * z**2 * r2)  # -k Re G
    return 1.0 / (4.0 * z * (1.0 + z) * minus_real)


def phase(ratio: ArrayLike, damping_ratio: ArrayLike) -> NDArray[np.float64]:
    """Phase eps [rad] between successive waves, in (pi, 2 pi), at f_c = ``ratio`` * f_n."""
    r = np.asarray(ratio, dtype=float)
    return 2.0 * np.pi - 2.0 * np.arctan((r**2 - 1.0) / (2.0 * np.asarray(damping_ratio) * r))


def natural_frequency(
    chatter_hz: float, tooth_passing_hz: float, damping_ratio: float
) -> tuple[float, float]:
    """Natural frequency that explains a chatter frequency, and the phase it was read from.

    The fraction of waves per tooth fixes eps and so f_c / f_n.  When the fraction is below a
    half (no single mode can give that phase) the frequency of least stability is taken.

    Returns
    -------
    (float, float)
        Natural frequency [Hz] and eps [rad] (nan when it did not serve).
    """
    eps = 2.0 * np.pi * ((chatter_hz / tooth_passing_hz) % 1.0)
    if eps <= 1.02 * np.pi:
        return chatter_hz / np.sqrt(1.0 + 2.0 * damping_ratio), float("nan")
    t = damping_ratio * np.tan(np.pi - eps / 2.0)
    return float(chatter_hz / (t + np.sqrt(t * t + 1.0))), float(eps)


def relative_limit(
    tooth_passing_hz: ArrayLike,
    natural_hz: float,
    damping_ratio: float,
    *,
    wavelength_m: ArrayLike | None = None,
    critical_wavelength_m: float = 0.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Limiting depth over its minimum at given tooth-passing frequencies.

    Parameters
    ----------
    tooth_passing_hz : array_like, shape (n,)
    natural_hz, damping_ratio : float
        The mode.
    wavelength_m : array_like, shape (n,), optional
        Cutting speed / ``natural_hz``: length of a wave left on the work at each speed.
    critical_wavelength_m : float
        Strength of process damping; 0 leaves it out.  Damping of the usual form
        F = C (b / v) dy/dt is added, with C such that damping doubles at this wavelength and
        b_rel = 1: z_eff = z (1 + h critical / wavelength), h = b_rel / (1 + b_rel / 10).
        The usual h = b_rel has no limit at all below the critical wavelength; nothing real
        is so sharp, so its growth is made to level off (our own assumption, no source).

    Returns
    -------
    limit : ndarray, shape (n,)
        Relative limit, at most ``CEILING`` ("no limit found").
    chatter_hz : ndarray, shape (n,)
        Frequency at which the cut would chatter there.
    """
    f_tp = np.atleast_1d(np.asarray(tooth_passing_hz, dtype=float))
    damping = np.full_like(f_tp, damping_ratio)
    if critical_wavelength_m <= 0.0 or wavelength_m is None:
        limit, chatter = _undamped(f_tp, natural_hz, damping)
        return np.minimum(limit, CEILING), chatter
    pull = critical_wavelength_m / np.atleast_1d(np.asarray(wavelength_m, dtype=float))
    scale = damping_ratio * (1.0 + damping_ratio)

    def excess(b: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        eff = damping_ratio * (1.0 + b / (1.0 + b / _LEVELS_OFF) * pull)
        limit, chatter = _undamped(f_tp, natural_hz, eff)
        return limit * eff * (1.0 + eff) / scale - b, chatter

    low, high = np.zeros_like(f_tp), np.full_like(f_tp, CEILING)
    for _ in range(18):  # 20 / 2^18: far below any meaning
        middle = 0.5 * (low + high)
        stable = excess(middle)[0] > 0.0
        low, high = np.where(stable, middle, low), np.where(stable, high, middle)
    limit = 0.5 * (low + high)
    return limit, excess(limit)[1]


def _undamped(
    f_tp: NDArray[np.float64], natural_hz: float, damping: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest lobe at each tooth-passing frequency, without process damping.

    f_c / f_tp - eps(f_c) / 2 pi rises steadily with f_c, so each lobe number has one root;
    the limit has one minimum over f_c, so the two lobes either side of it bound the speed.
    """
    x = f_tp / natural_hz
    first = np.maximum(np.ceil(1.0 / x - 1.0 - 1e-12), 0.0)
    worst = np.sqrt(1.0 + 2.0 * damping)
    below = np.floor(worst / x - phase(worst, damping) / (2.0 * np.pi))
    lobe = np.maximum(np.stack([below, below + 1.0]), first)  # (lobes, n)
    z = np.broadcast_to(damping, lobe.shape)
    low = np.maximum(1.0 + 1e-9, (lobe + 0.5) * x)
    high = np.maximum((lobe + 1.0) * x, low)
    ratio = 0.5 * (low + high)
    for _ in range(_ROUNDS):
        t = (ratio**2 - 1.0) / (2.0 * z * ratio)
        short = ratio / x - (1.0 - np.arctan(t) / np.pi) - lobe
        low, high = np.where(short < 0.0, ratio, low), np.where(short < 0.0, high, ratio)
        slope = 1.0 / x + (1.0 + 1.0 / ratio**2) / (2.0 * np.pi * z * (1.0 + t**2))
        newton = ratio - short / slope
        # Newton's step where it stays inside the bracket, else half of the bracket.
        inside = (newton >= low) & (newton <= high)
        ratio = np.where(inside, newton, 0.5 * (low + high))
    limits = relative_limit_at(ratio, z)
    best = np.argmin(limits, axis=0)
    columns = np.arange(len(f_tp))
    return limits[best, columns], ratio[best, columns] * natural_hz
