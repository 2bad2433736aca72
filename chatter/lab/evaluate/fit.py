"""Fit: what the evidence is worth, from the outcomes of a development run.

One additive logistic model per cause over the pieces that ``pieces.toml`` allows it, each
cut into ramps.  "cutting" is asked of every found pass (was anything being cut?); the
three faults of the passes that are cuts and not marginal; "tone" of every line of such a
pass (is this the chatter vibration itself?).  Every recording counts once.  All figures
are cross-validated: no recording is judged by a model that has seen it.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from chatter.errors import ChatterError
from chatter.lab.evaluate.calibration import Reliability, reliability
from chatter.lab.evaluate.logistic import cross_validated, fit_logistic
from chatter.lab.evaluate.matching import match
from chatter.lab.evaluate.outcome import Outcome
from chatter.lab.evaluate.ramps import knots_of, ramps, worth_of
from chatter.lab.simulate import TruePass
from chatter.listening.evidence import pieces
from chatter.listening.model import Worth

#: Penalties tried; the cross-validated log loss chooses.
RIDGES = (0.1, 0.3, 1.0, 3.0, 10.0)
#: Fewest recordings in which a cause must hold, and must not hold.
FEWEST = 8
_SIGNS = {"+": 1, "-": -1, "0": 0}


class FitError(ChatterError):
    """The outcomes or the list of pieces do not allow a fit."""


@dataclass(frozen=True)
class Sample:
    """What one cause is fitted to; row i is one found pass."""

    cause: str
    names: tuple[str, ...]  # pieces
    knots: tuple[np.ndarray, ...]  # of each piece
    typical: tuple[float, ...]  # median of each piece
    owner: np.ndarray  # (k,) which piece a column is of
    signs: np.ndarray  # (k,)
    x: np.ndarray  # (n, k)
    y: np.ndarray  # (n,)
    weights: np.ndarray  # (n,)
    groups: np.ndarray  # (n,) recording


@dataclass(frozen=True)
class Quality:
    """Cross-validated figures of one cause."""

    passes: int
    recordings: int
    positive: float  # share of the recordings' weight
    log_loss: float
    brier: float
    recall: float  # at 0.5
    false_alarms: float  # at 0.5
    auc: float
    calibration: Reliability

    @property
    def balanced(self) -> float:
        """Balanced accuracy at 0.5."""
        return 0.5 * (self.recall + 1.0 - self.false_alarms)


@dataclass(frozen=True)
class Fitted:
    """The model of one cause."""

    cause: str
    bias: float
    worths: dict[str, Worth]
    ridge: float
    quality: Quality
    held: tuple[str, ...]  # pieces that are worth nothing


@cache
def allowed() -> dict[str, dict[str, str]]:
    """Cause -> piece -> sign, from ``pieces.toml``."""
    text = files("chatter.lab.evaluate").joinpath("pieces.toml").read_text("utf-8")
    table = tomllib.loads(text)
    known = {piece.name for piece in pieces()}
    for cause, signs in table.items():
        unknown = sorted(set(signs) - known)
        if unknown:
            raise FitError(
                f"pieces.toml names pieces for {cause} that evidence.py does not have "
                f"({', '.join(unknown)}): take them out or add them there."
            )
        wrong = sorted(name for name, sign in signs.items() if sign not in _SIGNS)
        if wrong:
            raise FitError(
                f"pieces.toml gives {', '.join(wrong)} ({cause}) a sign other than +, - or 0: "
                "use one of these."
            )
    return table


def unused() -> tuple[str, ...]:
    """Pieces of evidence that serve no cause."""
    used = {name for signs in allowed().values() for name in signs}
    return tuple(piece.name for piece in pieces() if piece.name not in used)


def sample_of(outcomes: Sequence[Outcome], cause: str) -> Sample:
    """Rows to fit one cause to.

    Parameters
    ----------
    outcomes : sequence of Outcome
    cause : str
        A table of ``pieces.toml``.
    """
    signs = allowed()[cause]
    rows: list[tuple[int, dict[str, float], bool]] = []
    for outcome in outcomes:
        rows += [(outcome.index, told, held) for told, held in _labelled(outcome, cause)]
    groups = np.array([r[0] for r in rows], int)
    _, at, times = np.unique(groups, return_inverse=True, return_counts=True)
    values = [np.array([r[1].get(name, math.nan) for r in rows], float) for name in signs]
    knots = tuple(knots_of(one) for one in values)
    typical = tuple(float(np.nanmedian(v)) if np.isfinite(v).any() else 0.0 for v in values)
    columns = [ramps(*one) for one in zip(values, knots, typical, strict=True)]
    widths = [len(k) - 1 for k in knots]
    return Sample(
        cause=cause,
        names=tuple(signs),
        knots=knots,
        typical=typical,
        owner=np.repeat(np.arange(len(signs)), widths),
        signs=np.repeat([_SIGNS[sign] for sign in signs.values()], widths),
        x=np.concatenate(columns, axis=1),
        y=np.array([r[2] for r in rows], float),
        weights=1.0 / times[at] if rows else np.zeros(0),
        groups=groups,
    )


def _labelled(outcome: Outcome, cause: str) -> list[tuple[dict[str, float], bool]]:
    found = match(outcome)
    pairs = [(t, f) for t, f in found.pairs if f.measures]
    if cause == "cutting":
        false = [(f.measures, False) for f in found.false if f.measures]
        return [(f.measures, True) for _, f in pairs] + false
    if cause == "tone":
        return [
            (tone, _is_chatter(tone["tone_hz"], t))
            for t, f in pairs if not t.marginal
            for tone in f.tones
        ]  # fmt: skip
    return [(f.measures, _holds(t, cause)) for t, f in pairs if not t.marginal]


def _is_chatter(tone_hz: float, true: TruePass) -> bool:
    """Whether a line is the chatter vibration itself, not another member of its family."""
    if true.chatter_hz is None:
        return False
    reach = max(2.0, 0.005 * true.chatter_hz, 0.5 * (true.chatter_width_hz or 0.0))
    return abs(tone_hz - true.chatter_hz) < reach


def _holds(true: TruePass, cause: str) -> bool:
    return cause == true.verdict or cause in true.also


def fit_cause(sample: Sample) -> Fitted:
    """Fit one cause; the penalty with the least cross-validated loss is used.

    Raises
    ------
    FitError
        Too few recordings with or without the cause.
    """
    for held in (True, False):
        count = len(np.unique(sample.groups[sample.y == held]))
        if count < FEWEST:
            raise FitError(
                f"Only {count} recordings where {sample.cause} is {str(held).lower()}; at least "
                f"{FEWEST} are needed: give a greater --count."
            )
    told = (sample.x, sample.y, sample.weights, sample.signs)
    tried = {ridge: cross_validated(*told, sample.groups, ridge=ridge) for ridge in RIDGES}
    ridge = min(tried, key=lambda r: log_loss(sample, tried[r]))
    bias, w = fit_logistic(*told, ridge=ridge)
    worths = {}
    for i, name in enumerate(sample.names):
        own = w[sample.owner == i]
        worths[name], level = worth_of(sample.knots[i], own, sample.typical[i])
        bias += level
    return Fitted(
        cause=sample.cause,
        bias=round(bias, 4),
        worths=worths,
        ridge=ridge,
        quality=quality_of(sample, tried[ridge]),
        held=tuple(name for name, worth in worths.items() if not any(worth.adds)),
    )


def log_loss(sample: Sample, p: np.ndarray) -> float:
    """Weighted mean log loss [nats]."""
    p = np.clip(p, 1e-9, 1 - 1e-9)
    loss = -np.where(sample.y > 0.5, np.log(p), np.log(1 - p))
    return float(np.average(loss, weights=sample.weights))


def quality_of(sample: Sample, p: np.ndarray) -> Quality:
    """Figures of cross-validated probabilities."""
    held = sample.y > 0.5
    w = sample.weights
    return Quality(
        passes=len(p),
        recordings=len(np.unique(sample.groups)),
        positive=float(np.average(held, weights=w)),
        log_loss=log_loss(sample, p),
        brier=float(np.average((p - held) ** 2, weights=w)),
        recall=float(np.average(p[held] > 0.5, weights=w[held])),
        false_alarms=float(np.average(p[~held] > 0.5, weights=w[~held])),
        auc=_auc(p, held, w),
        calibration=reliability(sample.cause, p, held, w, sample.groups),
    )


def _auc(p: np.ndarray, held: np.ndarray, w: np.ndarray) -> float:
    """Chance that a pass with the cause gets the higher probability; ties count half."""
    yes, no = p[held], p[~held]
    order = np.argsort(no)
    below = np.concatenate([[0.0], np.cumsum(w[~held][order])])
    left = below[np.searchsorted(no[order], yes, "left")]
    right = below[np.searchsorted(no[order], yes, "right")]
    return float(np.average(0.5 * (left + right), weights=w[held]) / below[-1])


def fit(outcomes: Sequence[Outcome]) -> dict[str, Fitted]:
    """Fit every cause."""
    return {cause: fit_cause(sample_of(outcomes, cause)) for cause in allowed()}
