"""The fitted numbers: one logistic model per cause, over the scores of the evidence."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from chatter.listening.evidence import pieces


@dataclass(frozen=True)
class Cause:
    """Logistic model of one cause: log odds = bias + sum of weight x score."""

    bias: float
    weights: dict[str, float]


@cache
def model() -> dict[str, Cause]:
    """The models by cause: "cutting", the three faults, and "tone" (is this line the chatter?)."""
    raw = json.loads(files("chatter.listening").joinpath("model.json").read_text("utf-8"))
    return {name: Cause(c["bias"], c["weights"]) for name, c in raw["causes"].items()}


def scores(measures: dict[str, float]) -> dict[str, float]:
    """Score of every piece."""
    return {piece.name: piece.score(measures) for piece in pieces()}


def log_odds(cause: Cause, score: dict[str, float]) -> float:
    """Log odds that a cause holds."""
    return cause.bias + sum(w * score[name] for name, w in cause.weights.items())


def probability(cause: Cause, score: dict[str, float]) -> float:
    """Probability that a cause holds."""
    return 1.0 / (1.0 + math.exp(-max(min(log_odds(cause, score), 30.0), -30.0)))
