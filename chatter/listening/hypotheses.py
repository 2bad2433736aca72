"""Pairs of a speed and a tooth count as hypotheses, and how well the sound fits each.

Four questions are asked, each with weights of its own that were fitted by conditional logits on
several makers' recordings (``hypotheses.toml``): which of the speeds that the machine has
("speed"); which speed at all, where those are not known ("anywhere"); how many teeth, of counts
near the stated one ("near"); and whether of twice or half as many ("octave").
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from chatter.listening.rates import Rates
from chatter.listening.spindle import DIAL, SLIP
from chatter.listening.tooth_curves import TURN_NAMES, ToothCurves, tooth_curves, turn_scores

#: A score may lie so many places beside the likeliest one: windows of other lengths.
_NEAR = 3
#: Tooth rates are held against all others within this ratio of those that are asked.
REACH = 2.2
#: Counts beside the stated one: at least so many to each side, and within this share of it.
FEWEST_BESIDE, SHARE_BESIDE = 3, 0.17
#: Width of the stretch [log] that the turn is held against.
_TURN_REACH = 0.45


@dataclass(frozen=True)
class Pair:
    """A hypothesis."""

    rev_min: float
    teeth: int
    dialled: bool = True  # False: no dial says so, and any slip is as likely

    @property
    def tooth_hz(self) -> float:
        """Tooth-passing frequency without slip."""
        return self.rev_min * self.teeth / 60.0


@dataclass(frozen=True)
class Fitted:
    """Weights of one question."""

    tooth: np.ndarray  # of ``TOOTH_NAMES``
    turn: np.ndarray  # of ``TURN_NAMES``
    double: float  # of a count twice (minus: half) the first pair's
    doubt: float  # log odds of another pair from which the first is doubted


@dataclass(frozen=True)
class Scored:
    """A pair's scores at every slip.

    Attributes
    ----------
    pair : Pair
    slip : ndarray, shape (slips,)
        Log of the true speed over the pair's.
    tooth : ndarray, shape (len(TOOTH_NAMES), slips)
    turn : ndarray, shape (len(TURN_NAMES), slips)
    """

    pair: Pair
    slip: np.ndarray
    tooth: np.ndarray
    turn: np.ndarray


@dataclass(frozen=True)
class Fit:
    """How well a pair fits: what it scored, at the slip at which it fits best."""

    pair: Pair
    tooth: np.ndarray  # shape (len(TOOTH_NAMES),)
    turn: np.ndarray  # shape (len(TURN_NAMES),)
    slip: float  # log of the true speed over the pair's
    log_fit: float

    @property
    def rev_min(self) -> float:
        """The speed at which it fits best."""
        return self.pair.rev_min * float(np.exp(self.slip))


def counts_near(teeth: int) -> tuple[int, ...]:
    """Counts that are easily taken for each other, the stated one first."""
    reach = max(FEWEST_BESIDE, round(SHARE_BESIDE * teeth))
    beside = [teeth + off for off in range(-reach, reach + 1) if off and teeth + off >= 1]
    return (teeth, *beside)


def counts_octave(teeth: int) -> tuple[int, ...]:
    """A count with its double and its half: staggered teeth sound like half as many."""
    return (teeth, *((teeth // 2,) if teeth % 2 == 0 else ()), 2 * teeth)


def anywhere(rev_min: float, teeth: int) -> tuple[Pair, ...]:
    """A stated speed, and pairs that with their slips hold all others from half to twice it."""
    steps = range(1, round(np.log(2.0) / (2.0 * SLIP)) + 1)
    beside = (2.0 * SLIP * side * k for k in steps for side in (-1, 1))
    return (
        Pair(rev_min, teeth),
        *(Pair(rev_min * float(np.exp(away)), teeth, dialled=False) for away in beside),
    )


def span_of(pairs: Sequence[Pair]) -> tuple[float, float]:
    """Lowest and highest tooth rate [Hz] that the curves for some pairs have to hold."""
    rates = [pair.tooth_hz for pair in pairs]
    return min(rates) / REACH, max(rates) * REACH


def score_pairs(
    rates: Rates, curves: ToothCurves, pairs: Sequence[Pair], *, turns: bool = True
) -> list[Scored]:
    """Score some pairs at every slip.

    Parameters
    ----------
    rates : Rates
    curves : ToothCurves
        That hold all pairs: see :func:`span_of`.
    pairs : sequence of Pair
    turns : bool
        Whether the turn is asked too.
    """
    scored = []
    for pair in pairs:
        away = curves.log_hz - np.log(pair.tooth_hz)
        places = np.flatnonzero(np.abs(away) < SLIP)
        turn = np.zeros((len(TURN_NAMES), places.size))
        if turns:
            beside = np.exp(curves.log_hz[np.abs(away) < _TURN_REACH])
            turn = turn_scores(rates, np.exp(curves.log_hz[places]), beside, pair.teeth)
        scored.append(Scored(pair, away[places], curves.scores[:, places], turn))
    return scored


def fit_pairs(scored: Sequence[Scored], weights: Fitted) -> list[Fit]:
    """The log fit of each pair, one to the other; the first is the stated one."""
    first = scored[0].pair
    fits = []
    for candidate in scored:
        dial = -0.5 * (candidate.slip / DIAL) ** 2 * candidate.pair.dialled
        best = int(
            np.argmax(weights.tooth @ candidate.tooth + weights.turn @ candidate.turn + dial)
        )
        near = slice(max(0, best - _NEAR), best + _NEAR + 1)
        tooth, turn = candidate.tooth[:, near].max(axis=1), candidate.turn[:, near].max(axis=1)
        double = float(np.sign(candidate.pair.teeth - first.teeth)) * weights.double
        log_fit = float(weights.tooth @ tooth + weights.turn @ turn + dial[best] + double)
        fits.append(Fit(candidate.pair, tooth, turn, float(candidate.slip[best]), log_fit))
    return fits


def probabilities(fits: Sequence[Fit]) -> np.ndarray:
    """Of each pair, by the sound alone, if one of them is right; shape (pairs,)."""
    log_fit = np.array([fit.log_fit for fit in fits])
    p = np.exp(log_fit - log_fit.max())
    return p / p.sum()


@lru_cache(maxsize=1)
def fitted() -> dict[str, Fitted]:
    """The weights of each question, as they were fitted."""
    text = files("chatter.listening").joinpath("hypotheses.toml").read_text(encoding="utf-8")
    return {name: as_fitted(table) for name, table in tomllib.loads(text).items()}


def as_fitted(table: dict) -> Fitted:
    """Weights from their table."""
    return Fitted(
        np.array(list(table["tooth"].values())),
        np.array(list(table["turn"].values())),
        float(table["double"]),
        float(table["doubt"]),
    )


def curves_for(rates: Rates, pairs: Sequence[Pair]) -> ToothCurves:
    """The curves that hold some pairs."""
    return tooth_curves(rates, *span_of(pairs))


def curves_about(rates: Rates, stated: Pair) -> ToothCurves:
    """The curves that hold all that is asked beside one pair, but for the machine's own speeds."""
    return curves_for(rates, anywhere(stated.rev_min, stated.teeth))
