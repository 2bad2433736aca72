"""Whether the stated speed and tooth count fit the sound, and which others fit far better."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from chatter.listening.spindle import SLIP, SpeedPosterior, log_ratios

#: Log posterior by which another speed must beat every one within slip of the dial.
_FAR_BETTER = 20.0
#: A speed near the dial that beats its neighbours by so much is not contradicted.
_CLEARLY_HEARD = 15.0
#: Combs in these ratios share every second, third or fourth line: no contradiction.
_SIMPLE = tuple(
    sorted(
        {Fraction(a, b) for a in range(1, 6) for b in range(1, 6) if 0.45 < a / b < 2.2 and a != b}
    )
)
_NEAR = 0.012


@dataclass(frozen=True)
class Candidate:
    """A speed with the stated tooth count, and how likely it is among all that were tried."""

    rev_min: float
    probability: float


def candidates(speed: SpeedPosterior, most: int = 4) -> tuple[Candidate, ...]:
    """The likeliest speeds, each of its own neighbourhood, likeliest first."""
    grid, log_p = log_ratios(), speed.log_p.copy()
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    found: list[Candidate] = []
    left = np.ones(grid.size, bool)
    for _ in range(most):
        if not left.any():
            break
        best = int(np.argmax(np.where(left, log_p, -np.inf)))
        near = np.abs(grid - grid[best]) < _NEAR
        share = float(p[near & left].sum())
        if share < 0.01 and found:
            break
        rev_min = 60.0 * speed.stated_hz * float(np.exp(grid[best]))
        found.append(Candidate(rev_min, share))
        left &= ~near
    return tuple(found)


def contradiction(speed: SpeedPosterior) -> float | None:
    """The speed [rev/min] that fits far better than any within slip; None when none does.

    Ratios whose combs share their lines with the dial's are no contradiction, and neither is a
    comb one turn order beside the teeth's.
    """
    if speed.margin >= _CLEARLY_HEARD:
        return None
    grid, log_p = log_ratios(), speed.log_p
    away = np.abs(grid) > SLIP * 1.15
    for ratio in _SIMPLE:
        away &= np.abs(grid - np.log(float(ratio) * speed.ratio)) > _NEAR
    for turns in range(1, 2 * speed.teeth + 1):
        if speed.teeth <= 12:
            away &= np.abs(grid - np.log(turns / speed.teeth * speed.ratio)) > 0.5 * _NEAR
    if not away.any():
        return None
    best = int(np.argmax(np.where(away, log_p, -np.inf)))
    if log_p[best] < _FAR_BETTER:
        return None
    # the speed that fits may itself lie in a simple ratio to one within slip, and was left out
    # above; what was found beside it then is its half or its double
    fits = np.abs(grid - grid[best]) <= _NEAR
    for ratio in _SIMPLE:
        fits |= np.abs(grid - grid[best] - np.log(float(ratio))) <= _NEAR
    fits &= np.abs(grid) > SLIP * 1.15
    best = int(np.argmax(np.where(fits, log_p, -np.inf)))
    return 60.0 * speed.stated_hz * float(np.exp(grid[best]))
