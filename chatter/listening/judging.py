"""From what was measured of all passes to one opinion of each.

Nothing here is taken back later: lines are named and sentences chosen after this, by it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import CAUSES
from chatter.listening.trees import forest, model_data, probability_of

#: A verdict below this probability is not given.
TELL = 0.6
#: No verdict is surer than this: the recordings it was calibrated with cannot show more.
MOST = 0.97
#: Nor that nothing cuts, surer than this, where nothing else was heard to hold the sound against:
#: that is said for want of evidence.
UNCOMPARED = 0.75
#: Revolutions below which nothing tied to the turn can be said.
FEWEST_TURNS = 4.0
FAULTS = ("chatter", "side_rubbing", "uneven_teeth")  # the gravest first


@dataclass(frozen=True)
class Opinion:
    """What the evidence says of one pass.

    Attributes
    ----------
    verdict : str
    also : tuple of str
        Further causes that hold at once.
    confidence : float
    probabilities : dict
        One per cause.
    reason : str or None
        Why it cannot tell, and what to do.
    possible : str or None
        "chatter", where it is likelier than most passes but not likely enough to be named.
    """

    verdict: str
    also: tuple[str, ...]
    confidence: float
    probabilities: dict[str, float]
    reason: str | None
    possible: str | None = None


def chatter_limits() -> tuple[float, float]:
    """Probability from which chatter is named, and from which it is called possible: those that
    3 and 10 % of the recordings without chatter reach, by makers left out of the fit, the median
    of the makers, held between 0.3 and 0.5 and between 0.15 and 0.35."""
    limits = model_data()["limits"]
    return float(limits["chatter_named"]), float(limits["chatter_possible"])


def probabilities_of(cases: Sequence[Mapping[str, float]]) -> list[dict[str, float]]:
    """Probability of each cause in each pass.

    Parameters
    ----------
    cases : sequence of dict
        From :func:`chatter.listening.pass_case.pass_case`.
    """
    odds = {name: forest(name).log_odds(cases) for name in ("cutting", *FAULTS)}
    return probabilities_by(odds, model_data()["calibration"])


def probabilities_by(
    odds: Mapping[str, np.ndarray], calibration: Mapping[str, Mapping[str, float]]
) -> list[dict[str, float]]:
    """Probability of each cause in each pass, by log odds of "cutting" and of each fault.

    Parameters
    ----------
    odds : dict
        Statement -> ndarray, shape (passes,).
    calibration : dict
        Statement -> offset and slope, as fitted on makers left out.
    """
    likely = {name: calibrated(odds[name], calibration[name]) for name in ("cutting", *FAULTS)}
    by_pass = []
    for i, cutting in enumerate(likely["cutting"].tolist()):
        faults = {name: cutting * float(likely[name][i]) for name in FAULTS}
        normal = cutting * math.prod(1.0 - float(likely[name][i]) for name in FAULTS)
        every = {"normal": normal, **faults, "machine_only": 1.0 - cutting}
        by_pass.append({name: min(every[name], MOST) for name in CAUSES})
    return by_pass


def calibrated(odds: np.ndarray, scale: Mapping[str, float]) -> np.ndarray:
    """Probabilities of log odds, any shape, by the offset and slope of their statement."""
    return probability_of(scale["offset"] + scale["slope"] * odds)


def judge(
    probabilities: dict[str, float],
    *,
    revolutions: float,
    turn_s: float,
    contradiction: str | None,
    unfit: str | None,
    compared: bool = True,
) -> Opinion:
    """Verdict of one pass.

    Parameters
    ----------
    probabilities : dict
        From :func:`probabilities_of`.
    revolutions : float
    turn_s : float
        Time of one revolution, to say how long a recording should be.
    contradiction : str or None
        The sentence that the sound speaks against the stated speed or tooth count.
    unfit : str or None
        Why the recording cannot carry a verdict, if so.
    compared : bool
        Whether anything else was heard, in the recording or idling, to hold the pass against.
    """
    named, possible_from = chatter_limits()
    chatter = probabilities["chatter"]
    possible = "chatter" if possible_from <= chatter else None
    holding = [n for n in FAULTS[1:] if probabilities[n] >= TELL]
    verdict = max((n for n in CAUSES if n != "chatter"), key=lambda n: probabilities[n])
    if holding:
        verdict = max(holding, key=lambda n: probabilities[n])
    also = tuple(n for n in holding if n != verdict)
    if chatter >= named:
        also, verdict, possible = tuple(holding), "chatter", None
    confidence = probabilities[verdict]
    if verdict == "machine_only" and not compared:
        confidence = min(confidence, UNCOMPARED)
    reason = unfit or _too_short(revolutions, turn_s)
    if reason is None and contradiction is not None:
        reason = f"{contradiction} Listen again with the right numbers."
    divided = verdict != "chatter" and confidence < TELL
    if reason is None and divided and possible:
        reason = (
            f"Possible chatter (probability {chatter:.2f}), not enough to name it: record 10 s of "
            "idling, then the whole cut, then one cut with less depth, and listen again."
        )
    if reason is None and divided:
        rivals = sorted(probabilities, key=lambda name: -probabilities[name])[:2]
        names = " and ".join(name.replace("_", " ") for name in rivals)
        reason = (
            f"The evidence is divided between {names}; record a longer cut with 10 s of idling "
            "first and the phone closer to the work."
        )
    if reason is not None:
        shown = possible or ("chatter" if chatter >= named else None)
        return Opinion("cannot_tell", (), 0.0, probabilities, reason, shown)
    return Opinion(verdict, also, confidence, probabilities, None, possible)


def _too_short(revolutions: float, turn_s: float) -> str | None:
    if revolutions >= FEWEST_TURNS:
        return None
    return (
        f"Only {revolutions:.1f} revolutions were heard; at least {FEWEST_TURNS:.0f} are needed: "
        f"record {max(FEWEST_TURNS * 2.0 * turn_s, 3.0):.0f} s or more of cutting."
    )
