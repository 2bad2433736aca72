"""Families of sound that are compared, and what takes of one and the same cut differ by.

The numbers in ``between.json`` were measured on simulated pairs of takes of the same cut;
``python -m chatter.lab.pairs --fit --write`` measures them anew.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

#: Chance that any family is claimed to differ when nothing does.
FAMILY_WISE = 0.05


@dataclass(frozen=True)
class Family:
    """One family.

    Attributes
    ----------
    name, title : str
    features : tuple of str
        Which numbers it rests on.
    more, less : str
        What is said of a cutter that has more, or less, of it.
    """

    name: str
    title: str
    features: tuple[str, ...]
    more: str
    less: str


FAMILIES = (
    Family(
        "rubbing",
        "swelling once a turn (rubbing)",
        ("swell_mid", "swell_high", "tooth_high"),
        "rubs more",
        "rubs less",
    ),
    Family(
        "teeth",
        "teeth against the noise",
        ("tooth_low", "tooth_mid", "tooth_high"),
        "lets the teeth stand out more",
        "lets the teeth stand out less",
    ),
    Family(
        "unevenness",
        "unevenness from tooth to tooth",
        ("side",),
        "strikes less evenly",
        "strikes more evenly",
    ),
    Family("chatter", "chatter tone", ("chatter",), "chatters more", "chatters less"),
    Family("squeal", "squeal", ("squeal",), "squeals more", "squeals less"),
    Family(
        "machine",
        "the machine's own tones while idling",
        ("machine",),
        "has louder machine tones",
        "has fainter machine tones",
    ),
    Family(
        "level",
        "loudness against the idling machine",
        ("level",),
        "cuts louder",
        "cuts quieter",
    ),
)


@dataclass(frozen=True)
class Between:
    """What takes of the same cut differ by, in one family.

    Attributes
    ----------
    direction : ndarray, shape (features,)
        Change of each feature per dB of the family's own scale.
    covariance : ndarray, shape (features, features)
        Between takes, of one take [dB2]; what varies within a take comes on top.
    reach : float
        Half the interval over the standard error.  With the reaches of all families together,
        any difference was claimed in fewer than one of twenty pairs of the same cut.
    freedom : float
        Of the Student's t that differences of the same cut, over their standard error, follow.
    scale : float
        Relative standard error of the family's scale: by how much plates differ in what their
        features change per dB.  It cannot turn the sign of a difference.
    """

    direction: np.ndarray
    covariance: np.ndarray
    reach: float
    freedom: float
    scale: float = 0.0


@cache
def between_terms(alike: bool) -> dict[str, Between]:
    """The measured between-take terms, by family.

    Parameters
    ----------
    alike : bool
        All recordings are of one sort (rate, coder, container), as one phone makes them;
        else of different phones.
    """
    text = files("chatter.comparing").joinpath("between.json").read_text("utf-8")
    return {
        name: Between(
            np.array(row["direction"]),
            np.array(row["covariance"]),
            float(row["reach"]),
            float(row["freedom"]),
            float(row["scale"]),
        )
        for name, row in json.loads(text)["terms"]["alike" if alike else "other"].items()
    }


def widening(freedom: float, pairs: int) -> float:
    """How much wider intervals must be for several pairs of cutters at once (Bonferroni).

    Parameters
    ----------
    freedom : float
    pairs : int
    """
    from scipy.special import stdtrit

    alone, together = (stdtrit(freedom, 1.0 - FAMILY_WISE / (2 * n)) for n in (1, pairs))
    return float(together / alone)
