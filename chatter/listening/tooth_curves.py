"""How well each tooth rate and each turn fit a recording's lines, in standard scores.

A comb that fits is not enough: half of the true rate hits every line too, and twice the rate every
second one.  So the lines between a comb's teeth are asked as well: at its halves and its thirds,
and at its odd teeth alone.  What each answer is worth was fitted (``hypotheses.toml``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.clocks import Gains
from chatter.listening.rates import SLOW_TEETH_HZ, Rates

#: Equal steps of log frequency.
STEP = 2e-4
#: Window lengths [s] that are asked for the teeth, and for the turn.
TOOTH_WINDOWS, TURN_WINDOWS = (1.5, 4.0, 10.0), (10.0, 24.0)
_HALVES = np.arange(0.5, 16.0)
_THIRDS = np.array([k + part for k in range(11) for part in (1 / 3, 2 / 3)])
_SOUND = {
    "all": np.arange(1.0, 25.0),
    "odd": np.arange(1.0, 25.0, 2.0),
    "half": _HALVES,
    "third": _THIRDS,
}
_SWING = {
    "all": np.arange(1.0, 9.0),
    "one": np.array([1.0]),
    "odd": np.arange(1.0, 9.0, 2.0),
    "half": np.arange(0.5, 5.0),
    "third": np.array([1 / 3, 2 / 3, 4 / 3, 5 / 3]),
}
#: Names of the tooth scores, in their order.
TOOTH_NAMES = tuple(
    f"{where}_{kind}_{length:g}".replace(".", "_")
    for where, kinds in (("sound", (*_SOUND, "apart")), ("swing", tuple(_SWING)))
    for kind in kinds
    for length in TOOTH_WINDOWS
)
#: Names of the scores that tie the turn to the teeth.
TURN_NAMES = ("turn_10", "turn_24", "beside")
_TURN_ORDERS, _BESIDE_TEETH, _BESIDE_TURNS = 12, 12, 3
#: Turns faster than this [Hz] are looked for in the fast envelope.
_FAST_TURN_HZ = 8.0
#: A standard score is squared, as a log-likelihood is, and held below this.
_MOST, _SCALE = 12.0, 10.0
_FEWEST = 500  # places that make a standard deviation


@dataclass(frozen=True)
class ToothCurves:
    """Scores over a grid of tooth rates.

    Attributes
    ----------
    log_hz : ndarray, shape (places,)
        Equal steps of ``STEP``.
    scores : ndarray, shape (len(TOOTH_NAMES), places), float32
    """

    log_hz: np.ndarray
    scores: np.ndarray


def tooth_curves(rates: Rates, low_hz: float, high_hz: float) -> ToothCurves:
    """Score every tooth rate between two; the standard is what the others have."""
    log_hz = np.arange(np.log(low_hz), np.log(high_hz), STEP)
    f = np.exp(log_hz)
    scores = []
    for kind in (*_SOUND, "apart"):
        for length in TOOTH_WINDOWS:
            own = (rates.apart if kind == "apart" else rates.sound).get(length)
            orders = np.arange(1.0, 6.0) if kind == "apart" else _SOUND[kind]
            scores.append(_standard(_comb(own, f, orders)))
    slow = f < SLOW_TEETH_HZ
    for orders in _SWING.values():
        for length in TOOTH_WINDOWS:
            curve = np.zeros(f.size)
            for part, gains in ((slow, rates.slow), (~slow, rates.fast)):
                if part.sum() >= _FEWEST:
                    curve[part] = _standard(_comb(gains.get(length), f[part], orders))
            scores.append(curve)
    return ToothCurves(log_hz, worth(np.array(scores)).astype(np.float32))


def turn_scores(
    rates: Rates, tooth_hz: np.ndarray, beside_hz: np.ndarray, teeth: int
) -> np.ndarray:
    """How well the turn fits, if ``teeth`` pass at each rate, shape (len(TURN_NAMES), rates).

    ``beside_hz`` are the rates that they are held against.  A single tooth has no turn beside it:
    all nought.
    """
    scores = np.zeros((len(TURN_NAMES), tooth_hz.size))
    if teeth < 2:
        return scores
    both = np.concatenate([tooth_hz, beside_hz])
    orders = np.arange(1.0, _TURN_ORDERS + 1.0)
    orders = orders[orders % teeth != 0]
    by = rates.slow if beside_hz.mean() / teeth < _FAST_TURN_HZ else rates.fast
    for i, length in enumerate(TURN_WINDOWS):
        scores[i] = _held_against(_comb(by.get(length), both / teeth, orders), tooth_hz.size)
    sound = rates.sound.get(max(TOOTH_WINDOWS))
    if sound is not None:
        around = np.array(
            [
                k + side * m / teeth
                for k in range(1, _BESIDE_TEETH + 1)
                for m in range(1, min(_BESIDE_TURNS + 1, teeth))
                for side in (-1, 1)
            ]
        )
        scores[2] = _held_against(_comb(sound, both, np.sort(around)), tooth_hz.size)
    return worth(scores)


def _held_against(score: np.ndarray, count: int) -> np.ndarray:
    """The first ``count`` in standard deviations above the rest."""
    rest = score[count:]
    spread = float(rest.std())
    return (score[:count] - rest.mean()) / spread if spread > 1e-9 else np.zeros(count)


def worth(score: np.ndarray) -> np.ndarray:
    """The worth of a standard score: its square, none below the mean, held at the top."""
    return np.clip(score, 0.0, _MOST) ** 2 / _SCALE


def _comb(gains: Gains | None, f: np.ndarray, orders: np.ndarray) -> np.ndarray:
    return np.zeros(f.size) if gains is None else gains.comb(f, orders)


def _standard(score: np.ndarray) -> np.ndarray:
    """In standard deviations above all places; nought where they are alike."""
    spread = float(score.std())
    return (score - score.mean()) / spread if spread > 1e-9 else np.zeros(score.size)
