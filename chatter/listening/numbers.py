"""Whether the stated speed and tooth count fit the sound, and which others fit far better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chatter.findings import CountCandidate, Numbers, SpeedCandidate
from chatter.listening.hypotheses import (
    Fit,
    Fitted,
    Pair,
    anywhere,
    counts_near,
    counts_octave,
    curves_about,
    curves_for,
    fit_pairs,
    fitted,
    probabilities,
    score_pairs,
)
from chatter.listening.rates import Rates
from chatter.listening.spindle import DIAL, SpeedPosterior, log_ratios
from chatter.listening.tooth_curves import TOOTH_NAMES, ToothCurves

_NEAR = 0.012

#: Fewer teeth than these are not counted: their strokes and the turn run into each other.
FEWEST_COUNTED = 13
#: Log odds of another pair from which no verdict is confident, and the most it then is.
_BETTER, HELD = 1.0, 0.75
#: Worth of a comb (its standard score squared, over ten) from which its teeth are heard, and which
#: scores are whole combs.
AUDIBLE = 2.0
_COMBS = [i for i, name in enumerate(TOOTH_NAMES) if "_all_" in name]
#: Tooth rates as near as this [log] are one.
_SAME_RATE = 0.01
#: Speeds of the card as near to the stated one as this [log] are that one.
_SAME = 0.05
#: Probability from which a number that was not stated is taken as found (of 405 recordings by three
#: makers 71 % were found right and 1.5 % wrong), and the most counts and the least share told.
FOUND, _TOLD, _LEAST = 0.8, 4, 0.02
#: No surer than this is it that nothing cuts, where a number was guessed: of 29 cuts with guessed
#: numbers 3 were taken for the machine alone.
GUESSED = 0.6
#: Counts that are tried where none is stated.
_COUNTS = range(FEWEST_COUNTED, 101)


@dataclass(frozen=True)
class Candidate:
    """A speed with the stated tooth count, and how likely it is among all that were tried."""

    rev_min: float
    probability: float


def candidates(speed: SpeedPosterior, most: int = 4) -> tuple[Candidate, ...]:
    """The likeliest speeds, each of its own neighbourhood, likeliest first."""
    grid, log_p = log_ratios(), speed.log_p.copy()
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    likeliest: list[Candidate] = []
    left = np.ones(grid.size, bool)
    for _ in range(most):
        if not left.any():
            break
        best = int(np.argmax(np.where(left, log_p, -np.inf)))
        near = np.abs(grid - grid[best]) < _NEAR
        share = float(p[near & left].sum())
        if share < 0.01 and likeliest:
            break
        rev_min = 60.0 * speed.stated_hz * float(np.exp(grid[best]))
        likeliest.append(Candidate(rev_min, share))
        left &= ~near
    return tuple(likeliest)


def weigh_numbers(
    rates: Rates,
    *,
    rev_min: float,
    teeth: int,
    speeds: Sequence[float],
    weights: dict[str, Fitted] | None = None,
) -> Numbers:
    """Whether the stated speed and tooth count fit, and which others fit far better.

    Parameters
    ----------
    rates : Rates
    rev_min : float
        As stated.
    teeth : int
    speeds : sequence of float
        All speeds of the machine [rev/min]; empty when they are not stated.
    weights : dict, optional
        Of each question, instead of the fitted ones.
    """
    known = weights or fitted()
    stated = Pair(rev_min, teeth)
    if not rates.sound:  # too short for a single window
        return Numbers()
    others = [speed for speed in speeds if abs(np.log(speed / rev_min)) > _SAME]
    listed: list[Fit] = []
    if others:
        listed = _asked(rates, [stated, *(Pair(speed, teeth) for speed in others)], known["speed"])
    curves = curves_about(rates, stated)
    counted: list[Fit] = []
    octave: list[Fit] = []
    if teeth >= FEWEST_COUNTED:
        pairs = [Pair(rev_min, count) for count in counts_near(teeth)]
        counted = _asked(rates, pairs, known["near"], curves)
        pairs = [Pair(rev_min, count) for count in counts_octave(teeth)]
        octave = _asked(rates, pairs, known["octave"], curves)
    asked = {"speed": listed, "near": counted, "octave": octave}
    # where no speed is known to be the machine's, or the stated one is not clearly the best of
    # them, it may be any other
    if not others or best_other(listed) > -_BETTER:
        asked["anywhere"] = _asked(rates, anywhere(rev_min, teeth), known["anywhere"], curves)
    over = {name: best_other(fits) for name, fits in asked.items()}
    # nothing is doubted for teeth that are not heard: idling fits some numbers by chance
    far = [
        name
        for name, odds in over.items()
        if odds > known[name].doubt and stand_out(_best(asked[name]))
    ]
    heard = None
    count = _best(octave).pair.teeth if "octave" in far else None
    if "speed" in far:
        heard = _best(listed).pair.rev_min
    elif "anywhere" in far:
        heard = float(f"{_best(asked['anywhere']).rev_min:.4g}")
        # the teeth pass faster or slower: as well a miscount, where there are many
        count = _count_at(heard, stated, _best(counted)) if counted else None
    elif "near" in far and count is None:
        # counts near the stated one are compared at the stated speed, which must be believed
        count = _best(counted).pair.teeth
    return Numbers(
        speed="stated",
        teeth="stated",
        rev_min=heard,
        count=count,
        held=bool(far) or any(odds > _BETTER for name, odds in over.items() if name != "anywhere"),
        speeds=_speeds_told(listed),
        counts=_counts_told(counted),
    )


def _count_at(heard_rev_min: float, stated: Pair, near: Fit) -> int:
    """The count that lets the teeth pass as often at the stated speed: the one counted by ear
    where its teeth pass so too, hardly off the dial, else the nearest."""
    rate = heard_rev_min * stated.teeth
    same = abs(np.log(near.rev_min * near.pair.teeth / rate)) < _SAME_RATE
    if same and abs(near.slip) < DIAL:
        return near.pair.teeth
    return round(rate / stated.rev_min)


def stand_out(fit: Fit) -> bool:
    """Whether the strokes of the teeth stand out at a pair's rate, in sound or envelope."""
    return float(fit.tooth[_COMBS].max()) >= AUDIBLE


def find_speed(
    rates: Rates, teeth: int, speeds: Sequence[float], weights: dict[str, Fitted] | None = None
) -> tuple[SpeedCandidate, ...]:
    """How likely each speed of the machine is by the sound alone, likeliest first."""
    pairs = [Pair(speed, teeth) for speed in speeds]
    return _speeds_told(_asked(rates, pairs, (weights or fitted())["speed"]))


def find_teeth(
    rates: Rates, rev_min: float, weights: dict[str, Fitted] | None = None
) -> tuple[CountCandidate, ...]:
    """How likely each count of teeth from 13 to 100 is by the sound alone, likeliest first.

    What is left of the probability is that the cutter has fewer, which are not told apart: a
    multiple of them would pass for many.
    """
    known = weights or fitted()
    if not rates.sound:
        return ()
    pairs = [Pair(rev_min, count) for count in range(1, _COUNTS.stop)]
    scored = score_pairs(rates, curves_for(rates, pairs), pairs, turns=False)
    by_strokes = probabilities(fit_pairs(scored, known["speed"]))
    many = float(by_strokes[FEWEST_COUNTED - 1 :].sum())
    pairs = [Pair(rev_min, count) for count in _COUNTS]
    counts = _counts_told(_asked(rates, pairs, known["near"]))
    return tuple(replace(one, probability=round(many * one.probability, 4)) for one in counts)


def find_both(
    rates: Rates, speeds: Sequence[float]
) -> tuple[tuple[SpeedCandidate, ...], tuple[CountCandidate, ...]]:
    """Speeds of the machine and counts by the strokes alone, where neither is stated."""
    weights = fitted()["speed"]
    if not rates.sound:
        return (), ()
    pairs = [[Pair(speed, count) for count in range(1, _COUNTS.stop)] for speed in speeds]
    curves = curves_for(rates, [pair for of in pairs for pair in of])
    fits: list[Fit] = []
    for of in pairs:  # one speed at a time: all slips of all pairs are too much to hold
        fits += fit_pairs(score_pairs(rates, curves, of, turns=False), weights)
    p = probabilities(fits)
    by_speed = {speed: sum(q for q, f in zip(p, fits, strict=True) if f.pair.rev_min == speed)
                for speed in speeds}  # fmt: skip
    ranked = sorted(by_speed.items(), key=lambda one: -one[1])[:_TOLD]
    best = ranked[0][0]
    own = [(q, f.pair.teeth) for q, f in zip(p, fits, strict=True) if f.pair.rev_min == best]
    counts = sorted(own, reverse=True)[:_TOLD]
    return (
        tuple(SpeedCandidate(speed, round(float(q), 4)) for speed, q in ranked),
        tuple(CountCandidate(teeth, round(float(q), 4)) for q, teeth in counts),
    )


def _asked(
    rates: Rates, pairs: Sequence[Pair], weights: Fitted, curves: ToothCurves | None = None
) -> list[Fit]:
    if not rates.sound:  # too short for a single window
        return []
    turns = bool(weights.turn.any())
    by = curves or curves_for(rates, pairs)
    return fit_pairs(score_pairs(rates, by, pairs, turns=turns), weights)


def best_other(fits: Sequence[Fit]) -> float:
    """Log odds of the best other pair over the stated one."""
    if len(fits) < 2:
        return -np.inf
    return max(fit.log_fit for fit in fits[1:]) - fits[0].log_fit


def _best(fits: Sequence[Fit]) -> Fit:
    return max(fits, key=lambda fit: fit.log_fit)


def _speeds_told(fits: Sequence[Fit]) -> tuple[SpeedCandidate, ...]:
    return tuple(SpeedCandidate(pair.rev_min, p) for pair, p in _likeliest(fits))


def _counts_told(fits: Sequence[Fit]) -> tuple[CountCandidate, ...]:
    return tuple(CountCandidate(pair.teeth, p) for pair, p in _likeliest(fits))


def _likeliest(fits: Sequence[Fit]) -> list[tuple[Pair, float]]:
    """The pairs worth telling with their probabilities, likeliest first; none of a single one."""
    if len(fits) < 2:
        return []
    ranked = sorted(zip(probabilities(fits), fits, strict=True), key=lambda one: -one[0])
    return [(fit.pair, round(float(p), 4)) for p, fit in ranked if p >= _LEAST][:_TOLD]
