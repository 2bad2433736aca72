"""Shares of small numbers, with their interval."""

from __future__ import annotations

import math
from dataclasses import dataclass


def wilson(hits: float, total: float, z: float = 1.96) -> tuple[float, float]:
    """Wilson score interval of a share (E. B. Wilson, J. Amer. Stat. Assoc. 22, 1927, 209-212).

    Parameters
    ----------
    hits, total : float
        Counts; need not be whole (effective counts).
    z : float
        Normal quantile; 1.96 for 95 %.
    """
    if total <= 0:
        return math.nan, math.nan
    share = hits / total
    middle = (share + z * z / (2 * total)) / (1 + z * z / total)
    half = (
        z
        / (1 + z * z / total)
        * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    )
    return max(0.0, middle - half), min(1.0, middle + half)


@dataclass(frozen=True)
class Share:
    """So many of so many."""

    hits: float
    total: float

    @property
    def value(self) -> float:
        """The share, NaN of nothing."""
        return self.hits / self.total if self.total else math.nan

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's 95 % interval."""
        return wilson(self.hits, self.total)

    @property
    def words(self) -> str:
        """For people: "20 of 23, 68 to 96 %"."""
        if not self.total:
            return "none of none"
        low, high = self.interval
        return f"{self.hits:g} of {self.total:g}, {100 * low:.0f} to {100 * high:.0f} %"
