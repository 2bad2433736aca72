"""Boosted trees, evaluated by a few lines, with the exact share of every measure.

A tree's leaf is the sum of the steps taken on the way to it: at each fork the mean of what lies
below changes, and that change belongs to the measure asked there.  So a log odds is a bias plus
one contribution for each measure, exactly.  A measure that is missing takes the branch that the
fit chose for missing ones.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

_SHIPPED = files("chatter.listening").joinpath("model.json")
_place: Path | None = None


@dataclass(frozen=True)
class Forest:
    """One model: log odds of one statement.

    Attributes
    ----------
    names : tuple of str
        Measures, in the order of the columns.
    bias : float
        Log odds of a case of which nothing is known but the fit's mean.
    roots : ndarray of int, shape (trees,)
        First node of each tree; all nodes lie one after the other.
    asked : ndarray of int, shape (nodes,)
        Column asked at a fork; -1 at a leaf.
    limit : ndarray, shape (nodes,)
        Values up to it go left.
    right : ndarray of int, shape (nodes,)
        Where to go on to the right; to the left lies the next node.
    missing_left : ndarray of bool, shape (nodes,)
        Where a missing value goes.
    mean : ndarray, shape (nodes,)
        Mean of the leaves below, about the tree's own mean; a leaf's is its value.
    """

    names: tuple[str, ...]
    bias: float
    roots: np.ndarray
    asked: np.ndarray
    limit: np.ndarray
    right: np.ndarray
    missing_left: np.ndarray
    mean: np.ndarray

    def table(self, cases: Sequence[Mapping[str, float]]) -> np.ndarray:
        """Cases as rows of the model's columns, shape (cases, names)."""
        return np.array([[case.get(n, math.nan) for n in self.names] for case in cases], float)

    def log_odds(self, cases: Sequence[Mapping[str, float]]) -> np.ndarray:
        """Log odds of each case, shape (cases,)."""
        if not cases:
            return np.zeros(0)
        return self._walk(self.table(cases), None)

    def contributions(self, case: Mapping[str, float]) -> dict[str, float]:
        """What each measure adds to the log odds of one case; with ``bias`` they sum to it."""
        shares = np.zeros(len(self.names))
        self._walk(self.table([case]), shares)
        return dict(zip(self.names, shares.tolist(), strict=True))

    def _walk(self, x: np.ndarray, shares: np.ndarray | None) -> np.ndarray:
        """Go down all trees at once; ``shares`` of a single case are added up on the way."""
        cases = np.arange(x.shape[0])[:, None]
        node = np.repeat(self.roots[None, :], x.shape[0], axis=0)
        while True:
            column = self.asked[node]
            forks = column >= 0
            if not forks.any():
                return self.bias + self.mean[node].sum(axis=1)
            value = x[cases, np.maximum(column, 0)]
            missing = np.isnan(value)
            goes_left = np.where(missing, self.missing_left[node], value <= self.limit[node])
            following = np.where(goes_left, node + 1, self.right[node])
            following = np.where(forks, following, node)
            if shares is not None:
                steps = (self.mean[following] - self.mean[node])[0]
                np.add.at(shares, np.maximum(column[0], 0), np.where(forks[0], steps, 0.0))
            node = following


def probability_of(odds: np.ndarray) -> np.ndarray:
    """Probabilities of log odds, any shape; beyond 30 they are as good as certain."""
    return 1.0 / (1.0 + np.exp(-np.clip(odds, -30.0, 30.0)))


def forest_from(plain: Mapping[str, Any]) -> Forest:
    """The model from its plain form, as ``model.json`` holds it."""
    return Forest(
        names=tuple(plain["names"]),
        bias=float(plain["bias"]),
        roots=np.array(plain["roots"], int),
        asked=np.array(plain["asked"], int),
        limit=np.array(plain["limit"], float),
        right=np.array(plain["right"], int),
        missing_left=np.array(plain["missing_left"], bool),
        mean=np.array(plain["mean"], float),
    )


@cache
def _model_bytes() -> bytes:
    return (_place or _SHIPPED).read_bytes()


@cache
def model_data() -> dict[str, Any]:
    """The fitted numbers with what made them: ``model.json`` beside this file."""
    return json.loads(_model_bytes())


def model_digest() -> str:
    """SHA-256 of the fitted numbers that are in use, hexadecimal."""
    return hashlib.sha256(_model_bytes()).hexdigest()


def use_model(place: Path | None) -> None:
    """Judge by another file of fitted numbers from here on, in this process; None: the shipped
    one.  For figures on makers that a model has not met."""
    global _place
    if place != _place:
        _place = place
        _model_bytes.cache_clear()
        model_data.cache_clear()
        forest.cache_clear()


@cache
def forest(name: str) -> Forest:
    """One of the fitted models, by name."""
    return forest_from(model_data()["forests"][name])
