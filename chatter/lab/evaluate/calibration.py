"""Calibration: of the answers given at 0.8, are four in five right?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import CAUSES
from chatter.lab.evaluate.cases import JudgedCase
from chatter.lab.evaluate.intervals import by_recording

BINS = 10


@dataclass(frozen=True)
class Bin:
    """One bin of the reliability table."""

    low: float
    high: float
    stated: float  # mean probability
    held: float  # share that held
    held_low: float
    held_high: float
    recordings: float  # sum of weights
    cases: int


@dataclass(frozen=True)
class Reliability:
    """The reliability table of one probability."""

    name: str
    error: float  # expected calibration error
    error_low: float
    error_high: float
    chance_error: float  # what a perfectly calibrated forecaster would get with as many cases
    brier: float
    bins: tuple[Bin, ...]


def expected_error(p: np.ndarray, held: np.ndarray, weights: np.ndarray) -> float:
    """Expected calibration error: mean over ten even bins of abs(mean p - share held).

    Parameters
    ----------
    p, held, weights : ndarray, shape (n,)
    """
    total = float(weights.sum())
    if total <= 0:
        return math.nan
    bins = np.minimum((p * BINS).astype(int), BINS - 1)
    gap = np.bincount(bins, weights * (p - held), BINS)
    return float(np.abs(gap).sum() / total)


def reliability(
    name: str, p: np.ndarray, held: np.ndarray, weights: np.ndarray, recordings: np.ndarray
) -> Reliability:
    """Reliability table with intervals by recording."""
    bins = np.minimum((p * BINS).astype(int), BINS - 1)
    rows = []
    for k in range(BINS):
        inside = bins == k
        if not inside.any():
            continue
        pk, hk, wk = p[inside], held[inside].astype(float), weights[inside]
        low, high = by_recording(
            lambda w, hk=hk: float((w * hk).sum() / w.sum()) if w.sum() > 0 else math.nan,
            wk, recordings[inside], draws=200,
        )  # fmt: skip
        rows.append(
            Bin(
                k / BINS,
                (k + 1) / BINS,
                float(np.average(pk, weights=wk)),
                float(np.average(hk, weights=wk)),
                low,
                high,
                float(wk.sum()),
                int(inside.sum()),
            )
        )
    error = expected_error(p, held, weights)
    low, high = by_recording(lambda w: expected_error(p, held, w), weights, recordings, draws=200)
    return Reliability(
        name, error, low, high, _chance(p, weights, recordings),
        float(np.average((p - held) ** 2, weights=weights)) if len(p) else math.nan, tuple(rows),
    )  # fmt: skip


def _chance(p: np.ndarray, weights: np.ndarray, recordings: np.ndarray) -> float:
    """Mean error of a perfect forecaster: truths drawn from p, one draw per recording.

    Passes of a recording share their truth, so they share the random number.
    """
    if len(p) == 0:
        return math.nan
    _, group = np.unique(recordings, return_inverse=True)
    rng = np.random.default_rng(0)
    drawn = rng.random((100, group.max() + 1))
    return float(np.mean([expected_error(p, u[group] < p, weights) for u in drawn]))


def reliabilities(cases: Sequence[JudgedCase]) -> dict[str, Reliability]:
    """Tables of every cause's probability and of the verdict's confidence."""
    heard = [one for one in cases if one.probabilities]
    weights = np.array([c.weight for c in heard], float)
    recordings = np.array([c.recording for c in heard], int)
    made = {}
    for cause in CAUSES:
        p = np.array([c.probabilities[cause] for c in heard], float)
        held = np.array([cause in c.holds for c in heard], bool)
        made[cause] = reliability(cause, p, held, weights, recordings)
    told = [one for one in cases if one.answered]
    made["verdict"] = reliability(
        "verdict",
        np.array([c.confidence for c in told], float),
        np.array([c.defensible for c in told], bool),
        np.array([c.weight for c in told], float),
        np.array([c.recording for c in told], int),
    )
    return made
