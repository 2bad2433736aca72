"""What each score is worth: conditional logits, each maker left out in turn.

The question "which of these pairs is right" is answered by the softmax of weighted scores.  The
slip at which a pair is scored depends on the weights, so both are found in turns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chatter.lab.numbers.cases import NumbersCase
from chatter.listening.hypotheses import (
    Fit,
    Fitted,
    Pair,
    Scored,
    anywhere,
    counts_near,
    counts_octave,
    curves_about,
    curves_for,
    fit_pairs,
    score_pairs,
)
from chatter.listening.numbers import FEWEST_COUNTED, best_other
from chatter.listening.rates import Rates
from chatter.listening.spindle import DIAL
from chatter.listening.tooth_curves import TOOTH_NAMES, TURN_NAMES

#: Of recordings with the right numbers, so many may be doubted by each question.
DOUBTED = 0.01
#: Ridge, by recording, and turns between slips and weights.
_RIDGE, _TURNS = 0.1, 3
#: Where the first turn starts.
_FIRST = {"sound_all_4": 1.0, "sound_apart_4": 2.5, "swing_all_4": 4.0}
PATH = Path(__file__).resolve().parents[2] / "listening" / "hypotheses.toml"


@dataclass(frozen=True)
class QuestionPairs:
    """One recording, and the pairs of one question, the right one first."""

    maker: str
    scored: tuple[Scored, ...]


def pairs_for(name: str, case: NumbersCase) -> tuple[Pair, ...]:
    """The pairs that a question puts of a case, the right one first; none if it does not."""
    dial, teeth = case.dial_rev_min, case.teeth
    if name == "speed":
        others = (speed for speed in case.card if speed != dial)
        return (Pair(dial, teeth), *(Pair(speed, teeth) for speed in others))
    if name == "anywhere":
        return anywhere(dial, teeth)
    if teeth < FEWEST_COUNTED:
        return ()
    counts = counts_near(teeth) if name == "near" else counts_octave(teeth)
    return tuple(Pair(dial, count) for count in counts)


def fit_question(name: str, asked: Sequence[QuestionPairs], base: Fitted | None) -> Fitted:
    """Weights of one question.

    Parameters
    ----------
    name : str
        "speed", "anywhere", "near" or "octave".
    asked : sequence of QuestionPairs
    base : Fitted or None
        The weights of "speed", whose tooth scores the other questions take over, scaled.
    """
    from scipy.optimize import minimize

    now = _start(base)
    for _ in range(_TURNS):
        told = [_table(name, fit_pairs(one.scored, now), base) for one in asked]
        size = told[0][0].shape[1]
        bounds = None if base is None else [(0.0, None)] * (size - 1) + [(None, None)]
        v = minimize(
            _loss, np.zeros(size), args=(told,), jac=True, method="L-BFGS-B", bounds=bounds
        ).x
        now = _weights(v, base)
    return now


def _loss(v: np.ndarray, told: list[tuple[np.ndarray, np.ndarray]]) -> tuple[float, np.ndarray]:
    """Minus the log probability of the right pairs, with its slope."""
    ridge = _RIDGE * len(told)
    total, slope = 0.5 * ridge * float(v @ v), ridge * v
    for score, dial in told:
        log_fit = score @ v + dial
        p = np.exp(log_fit - log_fit.max())
        p /= p.sum()
        total -= float(np.log(p[0]))
        slope = slope - score[0] + p @ score
    return total, slope


def _start(base: Fitted | None) -> Fitted:
    if base is None:
        tooth = np.array([_FIRST.get(name, 0.0) for name in TOOTH_NAMES])
        return Fitted(tooth, np.array([5.0, 0.0, 0.0]), 0.0, 0.0)
    return Fitted(base.tooth, np.array([0.6, 0.6, 0.3]), 0.0, 0.0)


def _table(name: str, fits: list[Fit], base: Fitted | None) -> tuple[np.ndarray, np.ndarray]:
    dial = np.array([-0.5 * (one.slip / DIAL) ** 2 * one.pair.dialled for one in fits])
    turn = np.array([one.turn for one in fits])
    tooth = np.array([one.tooth for one in fits])
    if base is None:
        return np.c_[tooth, turn], dial
    first = fits[0].pair.teeth
    double = np.array([[np.sign(one.pair.teeth - first)] for one in fits], float)
    return np.c_[tooth @ base.tooth, turn, double * (name == "octave")], dial


def _weights(v: np.ndarray, base: Fitted | None) -> Fitted:
    if base is None:
        return Fitted(v[: len(TOOTH_NAMES)], v[len(TOOTH_NAMES) :], 0.0, 0.0)
    return Fitted(v[0] * base.tooth, v[1 : 1 + len(TURN_NAMES)], float(v[-1]), 0.0)


def fit_all(
    cases: Sequence[NumbersCase],
    rates: Sequence[Rates],
    tell: Callable[[str], None],
) -> tuple[dict[str, Fitted], dict[str, dict[str, Fitted]]]:
    """The weights of every question, and those with each maker left out.

    Returns
    -------
    (dict, dict)
        Question to weights; maker to the weights fitted on the others.  Limits of doubt are those
        that so many recordings with the right numbers reach whose makers were left out.
    """
    makers = sorted({one.maker for one in cases})
    whole: dict[str, Fitted] = {}
    without: dict[str, dict[str, Fitted]] = {maker: {} for maker in makers}
    for name in ("speed", "anywhere", "near", "octave"):
        asked = [
            QuestionPairs(case.maker, _scored(name, case, one))
            for case, one in zip(cases, rates, strict=True)
            if pairs_for(name, case)
        ]
        gains = []
        for maker in makers:
            base = without[maker].get("speed")
            others = [one for one in asked if one.maker != maker]
            found = fit_question(name, others or asked, base)
            without[maker][name] = found
            gains += [
                best_other(fit_pairs(one.scored, found)) for one in asked if one.maker == maker
            ]
        doubt = max(0.0, float(np.quantile(gains, 1.0 - DOUBTED)))  # a worse pair doubts nothing
        right = float(np.mean(np.array(gains) < 0.0))
        tell(f"{name}: {len(asked)} recordings, the right one first in {right:.3f} of makers left "
             f"out; doubted from {doubt:.2f}")  # fmt: skip
        for maker in makers:
            without[maker][name] = replace(without[maker][name], doubt=doubt)
        whole[name] = replace(fit_question(name, asked, whole.get("speed")), doubt=doubt)
    return whole, without


def _scored(name: str, case: NumbersCase, rates: Rates) -> tuple[Scored, ...]:
    pairs = pairs_for(name, case)
    curves = curves_for(rates, pairs) if name == "speed" else curves_about(rates, pairs[0])
    return tuple(score_pairs(rates, curves, pairs))


def weights_toml(found: dict[str, Fitted], makers: Sequence[str]) -> str:
    """The weights as ``hypotheses.toml`` holds them."""
    lines = [
        "# What each score is worth, fitted by conditional logits on recordings of",
        f"# {len(makers)} makers: python -m chatter.lab.numbers MAKER=FOLDER ... --fit --write",
    ]
    for name, one in found.items():
        lines += ["", f"[{name}]", f"double = {one.double:.4f}", f"doubt = {one.doubt:.3f}"]
        for part, names, values in (
            ("tooth", TOOTH_NAMES, one.tooth),
            ("turn", TURN_NAMES, one.turn),
        ):
            lines += ["", f"[{name}.{part}]"]
            lines += [f"{key} = {v:.4f}" for key, v in zip(names, values, strict=True)]
    return "\n".join(lines) + "\n"
