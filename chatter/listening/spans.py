"""Stretches of a recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Span:
    """A stretch of the recording."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Length of the stretch."""
        return self.end_s - self.start_s

    def shared_s(self, other: Span) -> float:
        """Seconds that lie in both; negative when they are apart."""
        return min(self.end_s, other.end_s) - max(self.start_s, other.start_s)


def close_gaps(on: np.ndarray, longest: int) -> np.ndarray:
    """Fill runs of False no longer than ``longest`` that lie between True."""
    out = on.copy()
    edges = np.flatnonzero(np.diff(np.r_[False, on, False].astype(np.int8)))
    for end, start in zip(edges[1:-1:2], edges[2::2], strict=True):
        if start - end <= longest:
            out[end:start] = True
    return out
