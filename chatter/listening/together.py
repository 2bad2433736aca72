"""Segments of one recording held against one another: what is like a sure cut is likelier one.

A pass is often heard in several segments, and a shop in many more; alone, a quiet second of a pass
says little.  What says more is whether it sounds like the segments that are surely cut, or like
those that are surely not.
"""

from __future__ import annotations

import numpy as np

from chatter.listening.observation import Observation
from chatter.listening.trees import probability_of

#: Two segments sound alike within about so many dB of difference, band by band.
_ALIKE_DB = 3.0
#: Log odds beyond which no first answer counts for more.
_SUREST = 4.0
#: So much sure cut, or sure rest, is enough to be held against [s].
_ENOUGH_S = 0.2


def together_cases(
    observation: Observation, cases: list[dict[str, float]], odds: np.ndarray
) -> list[dict[str, float]]:
    """What the second model of segments is asked about.

    Parameters
    ----------
    observation : Observation
    cases : list of dict
        What the first model was asked about.
    odds : ndarray, shape (segments,)
        Its answers: log odds of each being a cut.

    Returns
    -------
    list of dict
        The first model's cases with what the others lend; names are left out where there is no
        other segment, or none that is surely the one or the other.
    """
    odds = np.clip(odds, -_SUREST, _SUREST)
    cut = probability_of(odds)
    lengths = np.array([one.length_s for one in observation.spans])
    levels = observation.levels_db
    extended = []
    for i, case in enumerate(cases):
        beside = {
            "own_odds": odds[i],
            "cut_share": np.average(cut, weights=lengths),
            "cut_s": (cut * lengths).sum(),
        }
        other = np.flatnonzero(np.arange(odds.size) != i)
        if other.size:
            beside |= _among(levels[other] - levels[i], lengths[other], odds[other], cut[other])
            surer = lengths[other][odds[other] > odds[i]].sum() / lengths.sum()
            beside |= {"odds_under_most": odds[i] - odds[other].max(), "surer_share": surer}
        for name, j in (("before", i - 1), ("after", i + 1)):
            if 0 <= j < odds.size:
                beside[f"{name}_odds"] = odds[j]
                beside[f"{name}_far_db"] = np.sqrt(((levels[j] - levels[i]) ** 2).mean())
        extended.append(case | {name: float(value) for name, value in beside.items()})
    return extended


def _among(
    away_db: np.ndarray, lengths_s: np.ndarray, odds: np.ndarray, cut: np.ndarray
) -> dict[str, float]:
    """One segment among the others: how sure those like it are, and whether it is nearer to the
    cuts or to the rest; with its level, and by the shape of its spectrum alone.

    ``away_db`` is what each of the others is above it, shape (others, bands).
    """
    values = {}
    for name, away in (
        ("level", away_db),
        ("shape", away_db - away_db.mean(axis=1, keepdims=True)),
    ):
        distance = np.sqrt((away**2).mean(axis=1))
        weight = lengths_s * np.exp(-0.5 * (distance / _ALIKE_DB) ** 2) + 1e-9
        values[f"alike_{name}_odds"] = np.average(odds, weights=weight)
        for kind, p in (("cut", cut), ("rest", 1.0 - cut)):
            weight = lengths_s * p**2
            if weight.sum() > _ENOUGH_S:
                mean = np.average(away, axis=0, weights=weight)
                values[f"from_{kind}_{name}_db"] = np.sqrt((mean**2).mean())
        if f"from_cut_{name}_db" in values and f"from_rest_{name}_db" in values:
            values[f"nearer_cut_{name}_db"] = (
                values[f"from_rest_{name}_db"] - values[f"from_cut_{name}_db"]
            )
    return values
