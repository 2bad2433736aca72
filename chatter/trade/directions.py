"""How the teeth in the cut push: immersion angles and directional factors in milling.

Angles are measured from the direction square to the feed, as the tooth turns: 0 to pi is a
full slot, conventional (up) milling starts at 0, climb (down) milling ends at pi.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray


def immersion(depth_ratio: float, direction: str) -> tuple[float, float]:
    """Entry and exit angle [rad] for radial depth / diameter and "conventional" or "climb".

    Raises
    ------
    ValueError
        ``depth_ratio`` is not in (0, 1].
    """
    if not 0.0 < depth_ratio <= 1.0:
        raise ValueError(f"radial depth / diameter is {depth_ratio}, not in (0, 1]")
    swept = math.acos(1.0 - 2.0 * depth_ratio)
    return (math.pi - swept, math.pi) if direction == "climb" else (0.0, swept)


def feed_factor_integral(
    angle: ArrayLike, entry: float, leave: float, tangential: float, radial: float
) -> NDArray[np.float64]:
    """Integral over the angle of one tooth's factor along the feed, from 0 to ``angle``.

    The factor is sin(a) (K_t cos a + K_n sin a) [N/m^2] while the tooth is in the cut: the
    force against the feed per chip thickness and width that a motion along the feed makes.
    Whole turns count: the integral grows by the same amount each turn.
    """
    a = np.asarray(angle, dtype=float)
    turns = np.floor(a / (2.0 * np.pi))

    def inside(b: ArrayLike) -> NDArray[np.float64]:
        c = np.clip(b, entry, leave)
        return tangential * np.sin(c) ** 2 / 2.0 + radial * (c / 2.0 - np.sin(2.0 * c) / 4.0)

    start = inside(0.0)
    whole = inside(2.0 * np.pi) - start
    return turns * whole + inside(a - 2.0 * np.pi * turns) - start


def mean_feed_factor(
    teeth: int, entry: float, leave: float, tangential: float, radial: float
) -> float:
    """Sum over the teeth of the factor along the feed, averaged over a turn [N/m^2]."""
    turn = feed_factor_integral(2.0 * np.pi, entry, leave, tangential, radial)
    return float(teeth * turn / (2.0 * np.pi))
