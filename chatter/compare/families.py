"""Families of sound that are compared, and what takes of one and the same cut differ by.

The numbers in ``between.json`` were measured on simulated pairs of takes of the same cut;
``python -m chatter.pairs --fit --write`` measures them anew.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

#: Chance that any family is claimed to differ when nothing does.
FAMILY_WISE = 0.05
#: Share of that chance given to rubbing, what cutters are compared for most; the other
#: families share the rest evenly.
RUBBING_SHARE = 0.6


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
        ("swell_low", "swell_mid", "swell_high", "tooth_high"),
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
    scale, freedom : float
        Differences of identical pairs over their standard error follow Student's t with
        these.
    """

    direction: np.ndarray
    covariance: np.ndarray
    scale: float
    freedom: float


@cache
def between() -> dict[str, Between]:
    """The measured between-take terms, by family."""
    text = files("chatter.compare").joinpath("between.json").read_text("utf-8")
    return {
        name: Between(
            np.array(row["direction"]),
            np.array(row["covariance"]),
            float(row["scale"]),
            float(row["freedom"]),
        )
        for name, row in json.loads(text)["families"].items()
    }


def chance_of(name: str, tested: int, pairs: int = 1) -> float:
    """Chance of a false claim that one family of one pair may take (Bonferroni).

    Parameters
    ----------
    name : str
    tested : int
        Families that are tested, rubbing among them.
    pairs : int
        Pairs of cutters.
    """
    if tested <= 1:
        return FAMILY_WISE / pairs
    share = RUBBING_SHARE if name == "rubbing" else (1.0 - RUBBING_SHARE) / (tested - 1)
    return FAMILY_WISE * share / pairs
