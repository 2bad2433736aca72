"""The program's sureness, tuned to a shop by its own labels.

Each cause's log odds x become a + b x.  The offset a is that of the shop for the cause plus that
of the machine, the slope b one for all causes times one for the cause; all are held near none by
normal priors, so that few labels change little.  A correction is taken only while it improves the
score on *days* that were left out of its fit: cuts of one day share set-up, phone and ear.

What is learned is a function from probabilities to probabilities, the same for every cut; it
never sees the sound.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from chatter.findings import CAUSES

#: Labelled passes of a machine below which nothing is tuned.
FEWEST = 8
#: No probability goes beyond these, however tuned.
LEAST, MOST = 0.005, 0.97
#: Standard deviations of the priors: offset of the shop and of the machine [log odds], slope less
#: one of all causes and of one.
_OFFSET, _MACHINE, _SLOPE, _CAUSE_SLOPE = 1.0, 0.7, 0.4, 0.2
#: Corrections that are tried, each with how wide its priors are: none comes first.
_TRIED = (("offset", 0.5), ("offset", 1.0), ("offset and slope", 0.5), ("offset and slope", 1.0))
#: Evidence for a cause never counts against it, or for nothing.
_LEAST_SLOPE = 0.25
_FOLDS = 6
#: The gravest first: what a label says of graver causes it denies, of lesser ones nothing.
_GRAVITY = ("chatter", "side_rubbing", "uneven_teeth")


@dataclass(frozen=True)
class Tuning:
    """A correction of log odds, and what it rests on."""

    machine: str  # name, "" for cuts that name none
    kind: str  # "none", "offset" or "offset and slope"
    offset: dict[str, float] = field(default_factory=dict)  # cause -> log odds
    slope: dict[str, float] = field(default_factory=dict)  # cause -> factor
    labels: int = 0
    days: int = 0
    answered: int = 0  # of the labelled cuts
    right: int = 0  # of those answered
    gain: float = 0.0  # log score a label on left-out days, over none
    why: str = ""  # in words

    def probabilities(self, before: Mapping[str, float]) -> dict[str, float]:
        """Probabilities after tuning, of the same causes."""
        if self.kind == "none":
            return dict(before)
        return {
            cause: min(
                max(
                    _odds(self.offset.get(cause, 0.0) + self.slope.get(cause, 1.0) * _logit(p)),
                    LEAST,
                ),
                MOST,
            )
            for cause, p in before.items()
        }


@dataclass(frozen=True)
class Lesson:
    """One labelled pass, as the fit sees it."""

    machine: str
    day: str
    probabilities: Mapping[str, float]
    label: str
    error: float
    right: bool | None = None  # of the program's answer; None when it gave none


def said(label: str) -> dict[str, float]:
    """What a label says of each cause: 1, 0, or nothing (NaN)."""
    truth = dict.fromkeys(CAUSES, 0.0)
    truth[label] = 1.0
    if label in _GRAVITY:
        for lesser in _GRAVITY[_GRAVITY.index(label) + 1 :]:
            truth[lesser] = math.nan  # a grave fault drowns what else may hold
    return truth


def learn(lessons: Sequence[Lesson], machine: str, name: str = "") -> Tuning:
    """Fit the correction for one machine; other machines of the shop inform it.

    Parameters
    ----------
    lessons : sequence of Lesson
        Of the whole shop.
    machine : str
        uid of the machine in question, "" for cuts that name none.
    name : str
        Its name.

    Returns
    -------
    Tuning
        Of kind "none", with the reason, while nothing can or need be taken.
    """
    own = [one for one in lessons if one.machine == machine]
    days = sorted({one.day for one in own})
    known = [one.right for one in own if one.right is not None]
    none = Tuning(
        machine=name,
        kind="none",
        labels=len(own),
        days=len(days),
        answered=len(known),
        right=sum(known),
    )
    if len(own) < FEWEST:
        short = f"{len(own)} labelled passes, and {FEWEST} are needed"
        return replace(none, why=short)
    if len(days) < 2:
        return replace(none, why="all labels are of one day, and two are needed")
    data = _Data.of(lessons, machine)
    folds = [set(part) for part in np.array_split(np.array(days), min(_FOLDS, len(days)))]
    base = _left_out(data, folds, None)
    best, best_gain = None, 0.0
    for tried in _TRIED:
        gains = base - _left_out(data, folds, tried)
        # By chance alone a gain of its own standard error is common: less than half of it is
        # not believed, and a wider correction must beat a narrower one.
        if gains.mean() > best_gain and gains.mean() > 0.5 * _error(gains, data):
            best, best_gain = tried, float(gains.mean())
    if best is None:
        return replace(none, why="it did not score better on days that were left out")
    offset, slope = data.numbers(_fit(data, data.all, best), best)
    return replace(
        none,
        kind=best[0],
        offset={c: round(float(v), 4) for c, v in zip(CAUSES, offset, strict=True)},
        slope={c: round(float(v), 4) for c, v in zip(CAUSES, slope, strict=True)},
        gain=round(best_gain, 4),
        why="it scored better on days that were left out",
    )


@dataclass(frozen=True)
class _Data:
    """Lessons as arrays: log odds and truths (n, causes); errors, own, days (n,)."""

    x: np.ndarray
    y: np.ndarray
    error: np.ndarray
    own: np.ndarray
    day: np.ndarray

    @classmethod
    def of(cls, lessons: Sequence[Lesson], machine: str) -> _Data:
        return cls(
            np.array(
                [[_logit(one.probabilities.get(c, LEAST)) for c in CAUSES] for one in lessons]
            ),
            np.array([list(said(one.label).values()) for one in lessons]),
            np.array([one.error for one in lessons]),
            np.array([one.machine == machine for one in lessons]),
            np.array([one.day for one in lessons]),
        )

    @property
    def all(self) -> np.ndarray:
        return np.ones(len(self.x), bool)

    def numbers(self, theta: np.ndarray, tried: tuple[str, float]) -> tuple[np.ndarray, np.ndarray]:
        """Offset and slope of each cause on the own machine, from the fitted parameters."""
        n = len(CAUSES)
        slope = np.ones(n)
        if tried[0] != "offset":
            slope = np.maximum(1.0 + theta[2 * n] + theta[2 * n + 1 :], _LEAST_SLOPE)
        return theta[:n] + theta[n : 2 * n], slope


def _fit(
    data: _Data, use: np.ndarray, tried: tuple[str, float], start: np.ndarray | None = None
) -> np.ndarray:
    """Parameters at the greatest posterior: shop offsets, machine offsets, slope, slopes.

    Newton's steps with the expected curvature, which is never negative: some twenty from none,
    and four from where all the data lead.
    """
    n, sloped = len(CAUSES), tried[0] != "offset"
    width = np.concatenate(
        [np.full(n, _OFFSET), np.full(n, _MACHINE), [_SLOPE], np.full(n, _CAUSE_SLOPE)]
    )
    width = (width if sloped else width[: 2 * n]) * tried[1]
    x, y, own = data.x[use], data.y[use], data.own[use][:, None]
    error = data.error[use][:, None]
    theta = np.zeros(width.size) if start is None else start
    for _ in range(20 if start is None else 4):
        slope = 1.0 + theta[2 * n] + theta[2 * n + 1 :] if sloped else np.ones(n)
        z = theta[:n] + own * theta[n : 2 * n] + slope * x
        _, by_z, curve = _loss(z, y, error)
        ones = np.ones_like(z)
        parts = [ones, own * ones] + ([x] if sloped else [])  # d z / d parameter, by cause
        pull = [(by_z * part).sum(axis=0) for part in parts]
        # causes are tied by the common slope alone: one small block for each pair of parts
        bend = [[np.diag((curve * a * b).sum(axis=0)) for b in parts] for a in parts]
        gradient = np.concatenate(pull)
        hessian: np.ndarray = np.block(bend)
        if sloped:  # the common slope moves all causes' slopes at once
            spread = np.zeros((3 * n, 3 * n + 1))
            spread[:, [*range(2 * n), *range(2 * n + 1, 3 * n + 1)]] = np.eye(3 * n)
            spread[2 * n :, 2 * n] = 1.0
            gradient, hessian = spread.T @ gradient, spread.T @ hessian @ spread
        step = np.linalg.solve(hessian + np.diag(1.0 / width**2), gradient + theta / width**2)
        theta = theta - np.clip(step, -0.5, 0.5)
    return theta


def _loss(
    z: np.ndarray, y: np.ndarray, error: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Minus the log of what a label that may be wrong says, its slope over z, and the expected
    curvature; each (n, causes)."""
    p = 1.0 / (1.0 + np.exp(-np.clip(z, -30.0, 30.0)))
    known = ~np.isnan(y)
    truth = np.where(known, y, 0.0)
    holds = error + (1.0 - 2.0 * error) * p  # that the label says so
    seen = np.where(truth > 0.5, holds, 1.0 - holds)
    sign = np.where(truth > 0.5, 1.0, -1.0)
    by_p = (1.0 - 2.0 * error) * p * (1.0 - p)
    slope = -sign * by_p / seen
    curve = by_p**2 / (holds * (1.0 - holds))
    return (
        np.where(known, -np.log(seen), 0.0),
        np.where(known, slope, 0.0),
        np.where(known, curve, 0.0),
    )


def _left_out(
    data: _Data, folds: Sequence[set[str]], tried: tuple[str, float] | None
) -> np.ndarray:
    """Loss of each own lesson by fits without its day, shape (own,); None tries no correction."""
    total = np.zeros(len(data.x))
    whole = None if tried is None else _fit(data, data.all, tried)
    for fold in folds:
        out = data.own & np.isin(data.day, list(fold))
        offset, slope = np.zeros(len(CAUSES)), np.ones(len(CAUSES))
        if tried is not None:
            offset, slope = data.numbers(_fit(data, ~out, tried, whole), tried)
        loss = _loss(offset + slope * data.x[out], data.y[out], data.error[out][:, None])[0]
        total[out] = loss.sum(axis=1)
    return total[data.own]


def _error(gains: np.ndarray, data: _Data) -> float:
    """Standard error of the mean gain, by days."""
    days = data.day[data.own]
    sums = np.array([gains[days == one].sum() - gains.mean() * np.sum(days == one)
                     for one in np.unique(days)])  # fmt: skip
    return float(np.sqrt(np.sum(sums**2)) / len(gains))


def _logit(p: float) -> float:
    p = min(max(float(p), LEAST), 1.0 - LEAST)
    return math.log(p / (1.0 - p))


def _odds(x: float) -> float:
    return 1.0 / (1.0 + math.exp(-min(max(x, -30.0), 30.0)))
