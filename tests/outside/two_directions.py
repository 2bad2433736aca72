"""Another route to the stable depth: two directions, equal pitch, in closed form.

Altintas & Budak, CIRP Annals 44 (1995) 357-362. The program takes one direction and any
pitch; where both apply they must agree.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray


def coefficients(entry: float, leave: float, radial_ratio: float) -> NDArray[np.float64]:
    """Averaged directional coefficients [[xx, xy], [yx, yy]], x along the feed.

    Altintas & Budak, CIRP Annals 44 (1995) 357-362; ``radial_ratio`` is K_r, the radial over
    the tangential cutting-force coefficient.
    """

    def antiderivative(a: float) -> NDArray[np.float64]:
        s, c, k = math.sin(2.0 * a), math.cos(2.0 * a), radial_ratio
        return 0.5 * np.array(
            [
                [c - 2.0 * k * a + k * s, -s - 2.0 * a + k * c],
                [-s + 2.0 * a + k * c, -c - 2.0 * k * a - k * s],
            ]
        )

    return antiderivative(leave) - antiderivative(entry)


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
        From :func:`coefficients`.
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
