"""Contrast: two sides' features, their difference and how sure it is within the takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.comparing.features import NAMES, features
from chatter.comparing.resample import block_weights
from chatter.comparing.take import MeasuredTake
from chatter.comparing.turns import Turns

DRAWS = 400
#: Fewer rows than this say nothing of how a take varies.
LEAST_ROWS = 6
#: A band may reach this far beyond the top of what came into the file; above is coder's noise.
_EDGE = 1.02


@dataclass(frozen=True)
class SideFeatures:
    """Features of one side's takes.

    Attributes
    ----------
    value : ndarray, shape (takes, features)
    within : ndarray, shape (takes, features, features)
        Covariance over drawings of the rows.
    """

    value: np.ndarray
    within: np.ndarray

    @property
    def takes(self) -> int:
        """How many takes could be measured."""
        return len(self.value)

    def have(self, places: Sequence[int]) -> np.ndarray:
        """Which takes hold all of some features, shape (takes,), bool."""
        return np.isfinite(self.value[:, list(places)]).all(axis=1)


def usable(take: MeasuredTake) -> bool:
    """Whether a take has enough turns to be compared."""
    return _turns(take) is not None


def _turns(take: MeasuredTake) -> Turns | None:
    return take.turns if take.turns is not None and take.turns.rows >= LEAST_ROWS else None


def common_bands(takes: Sequence[MeasuredTake]) -> np.ndarray:
    """Carrier bands [Hz] that reached the file in all usable takes, shape (bands, 2)."""
    sets = [
        {tuple(b) for b in turns.bands_hz.tolist() if b[1] <= _EDGE * one.top_hz}
        for one in takes
        if (turns := _turns(one)) is not None
    ]
    return np.array(sorted(set.intersection(*sets)) if sets else []).reshape(-1, 2)


def side_features(
    takes: Sequence[MeasuredTake], bands_hz: np.ndarray, *, seed: int = 0
) -> SideFeatures:
    """Features of the usable takes of one side.

    Parameters
    ----------
    takes : sequence of MeasuredTake
    bands_hz : ndarray, shape (bands, 2)
        From :func:`common_bands` over all sides.
    seed : int
        Of the drawings; the same seed gives the same intervals.
    """
    rng = np.random.default_rng(seed)
    values, within = [], []
    for take in takes:
        turns = _turns(take)
        if turns is None:
            continue
        drawn = features(take, bands_hz, block_weights(turns.rows, DRAWS, rng))
        values.append(drawn[0])
        spread = drawn[1:] - drawn[1:].mean(axis=0)
        within.append(spread.T @ spread / (DRAWS - 1))
    count = len(NAMES)
    return SideFeatures(
        np.array(values).reshape(-1, count), np.array(within).reshape(-1, count, count)
    )
